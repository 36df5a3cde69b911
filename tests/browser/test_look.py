"""What every view looks like on a phone, on paper and with larger text, and the words that are explained."""

from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect, sync_playwright

from tests.browser.conftest import Served, watching
from tests.browser.serving import CHROMIUM, chromium_path
from tests.every_view import EVERY_VIEW, Shown

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
# A4 less the margins of the sheet.
PAPER = {"width": 688, "height": 1032}
WIDER_THAN_ITSELF = "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.outerHTML.slice(0, 90))"
WIDER_IN_THE_END = f"""async () => {{
    const wider = () => ({WIDER_THAN_ITSELF})([...document.querySelectorAll(".chart-drawing")]);
    for (let n = 0; n < 300 && wider().length; n++) await new Promise(requestAnimationFrame);
    return wider();
}}"""
LARGER_TEXT_PX = 32


@pytest.mark.parametrize("shown", EVERY_VIEW, ids=lambda shown: shown.path or "studio")
def test_it_fits_a_phone_and_paper(served: Served, browser: Browser, tmp_path: Path, shown: Shown) -> None:
    """The header leaves five sixths of a phone, whose cards are whole; paper begins with the answer, no sheet is empty, and no
    chart is cut."""
    with watching(browser) as watched:
        page = watched.open(f"{served.address}{shown.path}")
        file = tmp_path / "printed.pdf"
        page.pdf(path=file, prefer_css_page_size=True)
        page.set_viewport_size(PHONE)
        assert page.evaluate("document.querySelector('main').getBoundingClientRect().top") < PHONE["height"] / 6
        said = page.locator("#headline, .headline").first.inner_text().split()
        page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true; })")
        watched.settled()
        assert page.locator(".as-cards").evaluate_all(WIDER_THAN_ITSELF) == []
        page.set_viewport_size(PAPER)
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        # A chart is drawn to its new width in a turn of its own.
        assert page.evaluate(WIDER_IN_THE_END) == []
        assert set(page.locator(".chart").evaluate_all("all => all.map(one => getComputedStyle(one).breakInside)")) <= {"avoid"}
    document = pypdfium2.PdfDocument(file)
    sheets = [sheet.get_textpage().get_text_range().split() for sheet in document]
    document.close()
    assert " ".join(said[:4]) in " ".join(sheets[0])
    assert min(len(words) for words in sheets) >= 10


def test_chart_text_grows_with_the_text_of_the_browser(served: Served) -> None:
    """Text of 32 px for 16: charts are twice as high, their text is twice as large, and nothing scrolls sideways."""

    def sizes(text_px: int) -> tuple[float, float, bool]:
        arguments = [*CHROMIUM, f"--blink-settings=defaultFontSize={text_px}"]
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=arguments)
            with watching(browser) as watched:
                page = watched.open(f"{served.address}symmetry")
                label = page.locator(".js-plotly-plot .main-svg text").first
                size = float(str(label.evaluate("one => getComputedStyle(one).fontSize")).removesuffix("px"))
                box = page.locator(".chart-drawing").first.bounding_box()
                fits = page.evaluate("document.documentElement.scrollWidth <= innerWidth")
                assert watched.said == []
            browser.close()
        assert box
        return size, box["height"], fits

    (small, low, _), (large, high, fits) = _apart(sizes, 16), _apart(sizes, LARGER_TEXT_PX)
    assert large == pytest.approx(2 * small)
    assert high == pytest.approx(2 * low, abs=2)
    assert fits


def _apart(ask: Any, text_px: int) -> Any:
    """Playwright runs once in a thread, and the tests' own browser has this one."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(ask, text_px).result()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_words_are_explained_by_a_button_and_by_a_tap_on_them(served: Served, browser: Browser, theme: str) -> None:
    with watching(browser, color_scheme=theme) as watched:
        page = watched.open(f"{served.address}symmetry")
        panel, button = page.locator("#words"), page.get_by_role("button", name="Words", exact=True)
        expect(panel).not_to_be_visible()
        button.focus()
        page.keyboard.press("Enter")
        expect(panel.get_by_role("heading", name="Tilt")).to_be_visible()
        expect(panel.locator(".word")).to_have_count(13)
        found = Axe().run(page, "#words")
        assert found.violations_count == 0, found.generate_report()
        for size in (PHONE, {"width": 1280, "height": 720}):
            page.set_viewport_size(size)
            assert panel.evaluate("one => one.scrollWidth <= one.clientWidth")
        page.keyboard.press("Escape")
        expect(panel).not_to_be_visible()
        expect(button).to_be_focused()
        page.wait_for_function("() => CSS.highlights.has('explained') && CSS.highlights.get('explained').size > 1")
        at = page.evaluate(
            """() => { const range = [...CSS.highlights.get('explained')].find(one => /side difference/i.test(one.toString()));
              const box = range.getClientRects()[0]; return [box.left + box.width / 2, box.top + box.height / 2]; }"""
        )
        page.mouse.click(*at)
        expect(panel.locator("#word-side_difference.is-asked")).to_be_in_viewport()
        assert watched.said == []
