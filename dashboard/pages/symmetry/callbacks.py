"""The Symmetry page: asks `asymmetry` by the split, foot type unless another is chosen, and `sides` for the scatter."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dash import Dash

from dashboard.components.address import View
from dashboard.components.page import Desk, Page
from dashboard.components.places import fill
from dashboard.components.text import read_text
from dashboard.pages.symmetry import ids
from dashboard.pages.symmetry.layout import NAME, PATH, QUANTITIES, QUESTION, Asked, answered, layout
from dashboard.questions.answers_asymmetry import Asymmetry
from dashboard.questions.answers_sides import Sides
from shared.errors import UsageError

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    def show(view: View, theme: str | None) -> Any:
        selection = replace(view.selection, split=view.selection.split or "foot_type")
        asymmetry = cast(Asymmetry, desk.asker.ask("asymmetry", selection))
        sides = cast(Sides, desk.asker.ask("sides", replace(selection, split=None)))
        asked = Asked(desk, view.selection, selection, chosen_quantity(view), TEXT, theme)
        return answered(asked, asymmetry, sides)

    fill(app, desk, ids.ANSWER, PATH, show)


def chosen_quantity(view: View) -> str:
    """The quantity named in the address, tilt without one. Raises UsageError for one without a limit of its own."""
    quantity = view.page_words.get("outcome", QUANTITIES[0])
    if quantity not in QUANTITIES:
        raise UsageError(f"outcome: found {quantity!r}, expected one of {', '.join(QUANTITIES)}.")
    return quantity


PAGE = Page(PATH, NAME, QUESTION, layout, register, splits=True)
