"""The Supports page: asks `effects`, overall by foot type and by dose, and shows what stands beside the effects."""

from pathlib import Path
from typing import Any, cast

from dash import Dash

from dashboard.components.address import View
from dashboard.components.page import Desk, Page
from dashboard.components.places import fill, fill_beside
from dashboard.components.text import read_text
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES
from dashboard.pages.supports import ids
from dashboard.pages.supports.choices import PATH
from dashboard.pages.supports.doses import doses
from dashboard.pages.supports.further import further
from dashboard.pages.supports.grid import Ground, grid
from dashboard.pages.supports.layout import NAME, QUESTION, answered, layout
from dashboard.questions.answers import Effects
from dashboard.questions.selection import Selection
from shared.errors import UsageError

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    # Each place asks for what it shows, so that the first picture does not wait for the others.
    def effects(selection: Selection, *parts: str, outcomes: tuple[str, ...]) -> Effects:
        return cast(Effects, desk.asker.ask("effects", selection, parts=parts, outcomes=outcomes))

    def show(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view)
        answer = effects(view.selection, "overall", outcomes=shown_outcomes(outcome))
        return answered(desk, view.selection, answer, outcome, TEXT, theme)

    def show_grid(view: View, _: str | None) -> Any:
        ground = Ground(desk, view.selection, chosen_outcome(view), view.selection.split or "foot_type")
        return grid(effects(ground.asked, "split", outcomes=(ground.outcome,)), ground, TEXT)

    def show_doses(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view) or MAIN_OUTCOMES[0]
        return doses(desk, view.selection, effects(view.selection, "dose", outcomes=(outcome,)), outcome, TEXT, theme)

    def show_further(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view)
        parts = ("overall", "directions", "responders", "influence")
        answer = effects(view.selection, *parts, outcomes=shown_outcomes(outcome))
        return further(desk, view.selection, answer, outcome, TEXT, theme)

    fill(app, desk, ids.ANSWER, PATH, show)
    fill_beside(app, ids.GRID, show_grid)
    fill_beside(app, ids.DOSE, show_doses)
    fill_beside(app, ids.FURTHER, show_further)


def chosen_outcome(view: View) -> str | None:
    """The outcome named in the address, or None for the main ones. Raises UsageError for an unknown one."""
    outcome = view.page_words.get("outcome")
    if outcome is not None and outcome not in OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(OUTCOMES)}.")
    return outcome


def shown_outcomes(outcome: str | None) -> tuple[str, ...]:
    """The outcomes that stand on the page."""
    return (outcome,) if outcome else MAIN_OUTCOMES


PAGE = Page(PATH, NAME, QUESTION, layout, register, splits=True)
