"""The shipped typeface in a browser: it is what is shown, and where it does not come no label is cut off."""

import pytest
from playwright.sync_api import Browser

from dashboard.figures.typeface import FAMILY
from tests.browser.conftest import Served, watching
from tests.every_view import EVERY_VIEW

pytestmark = pytest.mark.browser

# Words of charts that reach beyond their drawing, and are therefore cut off.
CUT = """() => {
  document.querySelectorAll('details').forEach(fold => { fold.open = true; });
  return [...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => {
    const box = plot.getBoundingClientRect();
    return [...plot.querySelectorAll('.main-svg text')].map(text => [text.textContent.trim(), text.getBoundingClientRect()])
      .filter(([words, at]) => words && at.width && box.width
        && (at.left < box.left - 1 || at.right > box.right + 1 || at.top < box.top - 1 || at.bottom > box.bottom + 1))
      .map(([words]) => plot.closest('[data-chart]').dataset.chart + ': ' + words);
  });
}"""
WIDE, PHONE = {"width": 1280, "height": 720}, {"width": 390, "height": 844}
DRAWN = """() => [...document.querySelectorAll('.js-plotly-plot')]
  .every(plot => Math.abs(plot._fullLayout.width - plot.offsetWidth) < 1)"""


def test_pages_and_charts_are_shown_in_it(served: Served, browser: Browser) -> None:
    with watching(browser) as watched:
        page = watched.open(f"{served.address}supports")
        assert page.evaluate(f"document.fonts.check('700 13px {FAMILY}')")
        assert page.evaluate("[...document.fonts][0].status") == "loaded"
        for place in ("body", "button", ".js-plotly-plot .main-svg text"):
            shown = page.locator(place).first.evaluate("one => getComputedStyle(one).fontFamily")
            assert shown.strip('"').startswith(FAMILY)
        assert len([url for url in watched.requests if "typeface.woff2" in url]) == 1
        assert watched.said == []


@pytest.mark.parametrize("one", EVERY_VIEW, ids=lambda one: one.path or "studio")
def test_no_label_is_cut_off_without_it(served: Served, browser: Browser, one: object) -> None:
    path = one.path  # type: ignore[attr-defined]
    with watching(browser) as watched:
        watched.page.route("**/typeface.woff2*", lambda route: route.abort())
        page = watched.open(f"{served.address}{path}{'?rider=R0487' if path.startswith('riders') else ''}")
        assert page.evaluate("[...document.fonts][0].status") == "error"
        for size in (WIDE, PHONE):
            page.set_viewport_size(size)
            page.wait_for_function(DRAWN)
            assert page.evaluate(CUT) == [], size
