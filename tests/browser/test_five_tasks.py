"""Five tasks as a new reader would do them: by what is seen and by its name alone, with the number of actions that each takes.

An action is a click on a link that is in sight, a text typed into a field that has a label, or a key. Each begins on the first
page, and no address is known.
"""

import re
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser


@dataclass
class Reader:
    """A reader who knows no address; counts what was done."""

    watched: Watched
    n_actions: int = 0

    @property
    def page(self) -> Page:
        return self.watched.page

    def follows(self, name: str | re.Pattern[str]) -> None:
        """Clicks the only link of this name, which must be on the screen as it stands."""
        link = self.page.get_by_role("link", name=name, exact=isinstance(name, str))
        expect(link).to_be_in_viewport()
        link.click()
        self._done()

    def types(self, text: str, label: str) -> None:
        """Types into a field by its label."""
        field = self.page.get_by_label(label)
        expect(field).to_be_in_viewport()
        field.press_sequentially(text)
        self._done()

    def presses(self, key: str) -> None:
        """Presses a key where the focus is."""
        self.page.keyboard.press(key)
        self._done()

    def _done(self) -> None:
        self.n_actions += 1
        self.watched.settled()

    def reads(self, *words: str) -> None:
        """Finds all the words on the screen, without scrolling."""
        for each in words:
            expect(self.page.locator("main").get_by_text(each).first).to_be_in_viewport()


@pytest.fixture
def reader(served: Served, watched: Watched) -> Reader:
    watched.open(served.address)
    return Reader(watched)


def test_how_was_last_month(reader: Reader) -> None:
    reader.reads("July 2026: no clear change from June or from July 2025 in any of the four figures.")
    assert reader.n_actions == 0


def test_what_for_an_inward_knee_on_a_low_arch(reader: Reader) -> None:
    reader.follows("Supports")
    reader.follows("Only low arches")
    reader.reads("arch: low", "One more varus shim brings knees that came inward nearer to neutral", "Came inward: ")
    assert reader.n_actions == 2


def test_which_ten_fits_to_discuss(reader: Reader) -> None:
    reader.follows("Fitters")
    reader.follows(re.compile("fits to look at together, the worst first"))
    reader.reads("1 to 10 of 100 fits to look at")
    expect(reader.page.locator("main").get_by_text("The case")).to_have_count(10)
    assert reader.n_actions == 2


def test_did_the_fit_of_a_rider_hold(reader: Reader) -> None:
    reader.follows("Riders")
    reader.types("R0655", "Find a rider")
    reader.presses("Enter")
    reader.reads("The refit of 10 Jun 2026 held")
    assert reader.n_actions == 3


def test_whom_to_call(reader: Reader) -> None:
    reader.follows("19 calls due today")
    reader.reads("19 calls today, 31 Aug 2026", "Calls, longest over first")
    riders = reader.page.locator("main table").first.locator("tbody tr")
    expect(riders).to_have_count(12)
    expect(riders.first.get_by_role("link", name=re.compile(r"^R\d{4}$"))).to_be_in_viewport()
    assert reader.n_actions == 1
    reader.page.get_by_role("link", name="next calls").click()
    reader.reads("Calls, longest over first, 13 to 19 of 19")
    expect(riders).to_have_count(7)
