"""The line above every page where the data are old: to be seen at every width, read by everyone, and left behind by a load."""

from datetime import date

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from dashboard.questions.door.asking import Asker
from tests.browser.conftest import Served, watching
from tests.browser.serving import serving

pytestmark = pytest.mark.browser

TODAY = date(2026, 11, 30)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_old_data_are_told_above_every_page_and_crowd_none(served: Served, browser: Browser, theme: str) -> None:
    asker = Asker(served.asker.path, served.asker.settings, lambda: TODAY)
    with serving(asker) as address, watching(browser, color_scheme=theme) as watched:
        for width, height in ((1280, 720), (390, 844)):
            watched.page.set_viewport_size({"width": width, "height": height})
            page = watched.open(f"{address}data?studio=quayside")
            note = page.locator(".age-note")
            expect(note).to_have_text("The newest row is of 28 Aug 2026, 94 days ago. Load newer exports")
            box = note.bounding_box()
            assert box is not None and box["height"] < 50 and box["y"] + box["height"] < height / 4
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        # Another page by its link, without a new start, says it too; the way out keeps the selection.
        page.get_by_role("navigation", name="Pages").get_by_role("link", name="Returns").click()
        watched.settled()
        expect(note).to_contain_text("94 days ago")
        page.locator(".next-steps").get_by_role("link", name="call").click()
        expect(page.locator("#returns-calls h2").first).to_contain_text("today, 30 Nov 2026")
        note.get_by_role("link").click()
        expect(page).to_have_url(f"{address}data/load-files?studio=quayside")


def test_fresh_data_say_nothing(served: Served, browser: Browser) -> None:
    with watching(browser) as watched:
        page = watched.open(f"{served.address}data")
        expect(page.locator("#age")).to_be_empty()
