"""A question without memory in a real browser: its sentence in its place, the other places drawn, the next page answered."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from dashboard.questions.door.asking import Asker
from shared.settings import Settings
from tests.browser.conftest import Watched
from tests.browser.serving import serving


@pytest.fixture
def short(demo_warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    def hungry(*_: object, **__: object) -> None:
        raise MemoryError("Unable to allocate 14 GiB")

    monkeypatch.setattr("dashboard.questions.studio.trends.ask", hungry)
    with serving(Asker(demo_warehouse, Settings())) as address:
        yield address


def test_its_place_says_so_and_the_others_answer(short: str, watched: Watched) -> None:
    page = watched.open(f"{short}")
    told = page.locator("main [role=alert]")
    expect(told).to_have_count(1)
    expect(told).to_contain_text("trends: no memory is left to answer this.")
    expect(page.locator("#studio-head .headline")).to_contain_text("fits")
    page.get_by_role("link", name="Symmetry", exact=True).click()
    expect(page.locator("#symmetry-head .headline")).to_be_visible()
    watched.settled()
    expect(page.locator("main [role=alert]")).to_have_count(0)
    assert watched.said == []
