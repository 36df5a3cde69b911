"""What the views of the Symmetry page share: what is asked, which quantity is shown, and how it is chosen."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, cast

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.choices import choice, choices
from dashboard.components.page import Desk
from dashboard.components.text import paragraphs, read_text
from dashboard.figures import symmetry
from dashboard.figures.names import OUTCOMES
from dashboard.figures.theme import number
from dashboard.questions.selection.selection import Selection
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry, ChangeRow, PrevalenceRow
from shared.errors import NotRecordedError, UsageError
from shared.settings import Settings

NAME = "Symmetry"
QUESTION = "How common is a side difference, and do we resolve it?"
PATH = "symmetry"
# The quantities that have a limit beyond which a side difference counts.
QUANTITIES: Final = ("tilt", "offset")
TEXT = read_text(Path(__file__).with_name("text.md"))
# The lists of the answer that the head and the first views show: asked for together, they are computed once.
FIRST = ("prevalence", "change", "repeats")


@dataclass(frozen=True)
class Asked:
    """What is to be shown: the view's own selection, the one with its split, one quantity, the theme."""

    desk: Desk
    view: Selection
    selection: Selection
    quantity: str
    theme: str | None

    @property
    def level(self) -> str:
        return number(self.desk.level, "share")

    @property
    def settings(self) -> Settings:
        return self.desk.asker.settings

    def csv(self, rows: str) -> str:
        return self.desk.csv("asymmetry", rows, self.selection)

    def words(self, passage: str, **values: object) -> list[html.P]:
        return paragraphs(TEXT[passage], **values)

    def limits(self) -> dict[str, str]:
        """The limits of both quantities as printed."""
        knee = self.settings.knee
        return {
            "tilt": symmetry.short(knee.side_difference_deg, "deg"),
            "offset": symmetry.short(knee.offset_difference_mm, "mm"),
        }


def ask(desk: Desk, view: View, theme: str | None, parts: tuple[str, ...] = FIRST) -> tuple[Asked, Asymmetry]:
    """The answer by the split, foot type unless another is chosen; each place asks for what it shows. Where no exam is recorded
    and no split is chosen, all riders together."""
    quantity, selection = chosen_quantity(view), replace(view.selection, split=view.selection.split or "foot_type")
    try:
        answer = desk.asker.ask("asymmetry", selection, parts=parts)
    except NotRecordedError as refusal:
        if view.selection.split or "knee_captures" in refusal.absent:
            raise
        selection = view.selection
        answer = desk.asker.ask("asymmetry", selection, parts=parts)
    asked = Asked(desk, view.selection, selection, quantity, theme)
    return asked, _if_recorded(asked, cast(Asymmetry, answer))


def _if_recorded(asked: Asked, answer: Asymmetry) -> Asymmetry:
    """The answer; NotRecordedError where nothing of the chosen quantity is recorded, in the answer's own words."""
    words = next((row.words for row in answer.prevalence if row.quantity == asked.quantity), "")
    if "not recorded here" in words:
        raise NotRecordedError(words, (asked.quantity,))
    return answer


def chosen_quantity(view: View) -> str:
    """The quantity named in the address, tilt without one. Raises UsageError for one without a limit of its own."""
    quantity = view.page_words.get("outcome", QUANTITIES[0])
    if quantity not in QUANTITIES:
        raise UsageError(f"outcome: found {quantity!r}, expected one of {', '.join(QUANTITIES)}.")
    return quantity


def overall(asked: Asked, answer: Asymmetry) -> PrevalenceRow:
    """All riders at arrival."""
    return next(row for row in answer.prevalence if row.quantity == asked.quantity and row.level is None)


def change_of(asked: Asked, answer: Asymmetry) -> ChangeRow:
    """What became of the side difference of all riders."""
    return next(row for row in answer.change if row.finding.endswith(asked.quantity) and row.level is None)


def is_split(answer: Asymmetry) -> bool:
    """Whether the answer has levels; a split by side makes none, since a side difference takes both knees."""
    return any(row.level for row in answer.prevalence)


def quantities(asked: Asked, path: str = "") -> html.Nav:
    """The choice of a quantity as links, so that it is part of the address; `path`: of the view."""

    def link(quantity: str) -> dcc.Link:
        words = None if quantity == QUANTITIES[0] else {"outcome": quantity}
        href = asked.desk.addresses.page(f"{PATH}/{path}" if path else PATH, asked.view.query(), words)
        return choice(OUTCOMES[quantity].name, href, is_shown=quantity == asked.quantity)

    return choices("Quantity", "outcome", map(link, QUANTITIES))
