"""The Symmetry page: asks `asymmetry` by the split, foot type unless another is chosen, and `sides` for the scatter."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dashboard.components.address import View
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import read_text
from dashboard.pages.symmetry import ids
from dashboard.pages.symmetry.layout import NAME, PATH, QUANTITIES, QUESTION, Asked, answered, beside, further, layout
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry
from dashboard.questions.symmetry.answers_sides import Sides
from shared.errors import UsageError

TEXT = read_text(Path(__file__).with_name("text.md"))
# The lists of the answer that the first places and the last one show.
FIRST = ("prevalence", "change", "repeats")
FURTHER = ("patterns", "flow", "differences", "curve", "repeats")


def places(desk: Desk) -> dict[str, Show]:
    # Each place asks for what it shows, so that the first picture does not wait for the others.
    def ask(view: View, theme: str | None, parts: tuple[str, ...] = FIRST) -> tuple[Asked, Asymmetry]:
        selection = replace(view.selection, split=view.selection.split or "foot_type")
        asked = Asked(desk, view.selection, selection, chosen_quantity(view), TEXT, theme)
        return asked, cast(Asymmetry, desk.asker.ask("asymmetry", selection, parts=parts))

    def show(view: View, theme: str | None) -> Any:
        return answered(*ask(view, theme))

    def show_sides(view: View, theme: str | None) -> Any:
        asked, asymmetry = ask(view, theme)
        sides = cast(Sides, desk.asker.ask("sides", replace(asked.selection, split=None)))
        return beside(asked, asymmetry, sides)

    def show_further(view: View, theme: str | None) -> Any:
        return further(*ask(view, theme, FURTHER))

    return {ids.ANSWER: show, ids.SIDES: show_sides, ids.FURTHER: show_further}


def chosen_quantity(view: View) -> str:
    """The quantity named in the address, tilt without one. Raises UsageError for one without a limit of its own."""
    quantity = view.page_words.get("outcome", QUANTITIES[0])
    if quantity not in QUANTITIES:
        raise UsageError(f"outcome: found {quantity!r}, expected one of {', '.join(QUANTITIES)}.")
    return quantity


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page(PATH, NAME, QUESTION, head, (PageView("", "Answer", layout, shows, splits=True),))
