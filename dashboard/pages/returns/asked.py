"""What every view of the Returns page is given."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.page import Desk
from dashboard.components.text import paragraphs, read_text
from dashboard.figures.theme import number
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings

PATH: Final = "returns"
TEXT: Final = read_text(Path(__file__).with_name("text.md"))


@dataclass(frozen=True)
class Asked:
    """What is to be shown: the selection, the theme, and the words of the page."""

    desk: Desk
    selection: Selection
    theme: str | None

    @classmethod
    def of(cls, desk: Desk, view: View, theme: str | None, *, by_group: bool = False) -> "Asked":
        """`by_group`: the split of the view is kept; elsewhere the page tells all fits together."""
        return cls(desk, view.selection if by_group else replace(view.selection, split=None), theme)

    @property
    def level(self) -> str:
        return number(self.desk.level, "share")

    @property
    def settings(self) -> Settings:
        return self.desk.asker.settings

    @property
    def days(self) -> dict[str, int]:
        window = self.settings.follow_up
        return {
            "days": window.returned_within_days,
            "booked": window.booked_within_days,
            "called": window.called_for_days,
            "again": window.called_again_days,
        }

    def returns(self) -> Returns:
        return cast(Returns, self.desk.asker.ask("returns", self.selection))

    def calls(self) -> Calls:
        return cast(Calls, self.desk.asker.ask("calls", self.selection))

    def address(self, view: str) -> str:
        """The address of another view of the page with the same selection."""
        return self.desk.addresses.page(f"{PATH}/{view}" if view else PATH, self.selection.query())

    def words(self, passage: str, **values: object) -> list[html.P]:
        return paragraphs(TEXT[passage], **values)
