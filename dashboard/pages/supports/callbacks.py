"""The Supports page: asks `effects`, overall and by foot type, and shows both answers."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dash import Dash

from dashboard.components.address import View
from dashboard.components.page import Desk, Page
from dashboard.components.places import fill, fill_beside
from dashboard.components.text import read_text
from dashboard.figures.names import OUTCOMES
from dashboard.pages.supports import ids
from dashboard.pages.supports.layout import NAME, PATH, QUESTION, answered, by_type, layout
from dashboard.questions.answers import Effects
from dashboard.questions.selection import Selection
from shared.errors import UsageError

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    def effects(selection: Selection) -> Effects:
        return cast(Effects, desk.asker.ask("effects", selection))

    def show(view: View, theme: str | None) -> Any:
        return answered(desk, view.selection, effects(view.selection), chosen_outcome(view), TEXT, theme)

    def show_grid(view: View, _: str | None) -> Any:
        split = replace(view.selection, split=view.selection.split or "foot_type")
        return by_type(desk, view.selection, effects(split), chosen_outcome(view), TEXT)

    fill(app, desk, ids.ANSWER, PATH, show)
    fill_beside(app, ids.GRID, show_grid)


def chosen_outcome(view: View) -> str | None:
    """The outcome named in the address, or None for the main ones. Raises UsageError for an unknown one."""
    outcome = view.page_words.get("outcome")
    if outcome is not None and outcome not in OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(OUTCOMES)}.")
    return outcome


PAGE = Page(PATH, NAME, QUESTION, layout, register, splits=True)
