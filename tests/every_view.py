"""Every view of every page by its address, for tests of all of them: a new view is covered by its line in its page."""

from dataclasses import dataclass

from dashboard.components.page import Page, PageView
from dashboard.pages import PAGES


@dataclass(frozen=True)
class Shown:
    """One view: its page, and what an address leads to."""

    page: Page
    view: PageView

    @property
    def path(self) -> str:
        return self.page.path_of(self.view)

    @property
    def name(self) -> str:
        """The name that its document has."""
        return f"{self.view.name} · {self.page.name}" if self.view.path else self.page.name

    @property
    def question(self) -> str:
        return self.page.question

    @property
    def splits(self) -> bool:
        return self.view.splits


EVERY_VIEW = tuple(Shown(page, view) for page in PAGES for view in page.views)
