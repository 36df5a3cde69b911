"""What holds on every page, whatever it shows: every view in dashboard.pages.PAGES is opened once and looked at from all sides.

A new view is covered by its line in its page.
"""

import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from dashboard.components.notes import CAUTION
from dashboard.pages import PAGES
from tests.browser.conftest import Served, Watched, watching
from tests.every_view import EVERY_VIEW, Shown

pytestmark = pytest.mark.browser

# Data tells of the whole warehouse, and Next rider of all fits, whatever is selected.
WHOLE = {shown.path for shown in EVERY_VIEW if shown.page.path in ("data", "next")}
EMPTY = "?from=1999-01-01&to=1999-01-02"
WIDE, PHONE = {"width": 1280, "height": 720}, {"width": 390, "height": 844}
# More stops than this on one page would be a trap.
MOST_STOPS = 400
# What has the focus, and whether that can be seen.
FOCUS = """() => {
  const one = document.activeElement, style = getComputedStyle(one);
  if (one === document.body) return null;
  const box = one.getBoundingClientRect();
  return {
    where: ['#filter-bar', '#navigation', '.chart-tools', '.chart-drawing', '.table-frame', '.csv-line', '.skip-link']
      .filter(place => one.closest(place)),
    words: (one.getAttribute('aria-label') || one.textContent || one.placeholder || one.id).trim().slice(0, 60),
    visible: (style.outlineStyle !== 'none' && style.outlineWidth !== '0px') || style.boxShadow !== 'none',
    onScreen: box.width > 0 && box.bottom > 0 && box.top < innerHeight,
  };
}"""


@pytest.fixture(scope="module", params=EVERY_VIEW, ids=lambda page: page.name)
def page_of(request: pytest.FixtureRequest) -> Shown:
    page: Shown = request.param
    return page


@pytest.fixture(scope="module")
def opened(served: Served, browser: Browser, page_of: Shown) -> Iterator[Watched]:
    """One page, opened once for all that is looked at; every test leaves it wide and light."""
    with watching(browser) as watched:
        watched.open(f"{served.address}{page_of.path}")
        yield watched


def turn(watched: Watched, theme: str) -> None:
    """Shows the page in the other theme where it is not shown in this one."""
    button = watched.page.get_by_role("button", name=theme.capitalize(), exact=True)
    if button.count():
        button.click()
        watched.settled()
    expect(watched.page.locator("html")).to_have_attribute("data-theme", theme)


def expect_no_sideways_scrolling(watched: Watched, width: int) -> None:
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width


def test_it_is_named_and_its_language_is_set(opened: Watched, page_of: Shown) -> None:
    page = opened.page
    expect(page).to_have_title(f"{page_of.name} – fitledger")
    expect(page.locator("html")).to_have_attribute("lang", "en")
    expect(page.get_by_role("heading", level=1)).to_have_count(1)
    expect(page.get_by_role("heading", level=1)).to_contain_text(page_of.question)
    chosen = page.get_by_role("navigation", name="Pages").locator("[aria-current=page]")
    assert chosen.all_text_contents() == [page_of.page.name]


def test_every_page_can_be_reached_on_a_phone(opened: Watched) -> None:
    page = opened.page
    page.set_viewport_size(PHONE)
    for other in PAGES:
        link = page.get_by_role("navigation", name="Pages").get_by_role("link", name=other.name, exact=True)
        box = link.bounding_box()
        assert box and box["x"] >= 0 and box["x"] + box["width"] <= PHONE["width"] and box["height"] >= 24
    page.set_viewport_size(WIDE)


def test_the_split_is_offered_where_figures_are_split(opened: Watched, page_of: Shown) -> None:
    expect(opened.page.get_by_label("Split by")).to_be_visible(visible=page_of.splits)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(opened: Watched, theme: str) -> None:
    page = opened.page
    turn(opened, theme)
    page.get_by_role("button", name="More filters").click()
    for size in (WIDE, PHONE):
        page.set_viewport_size(size)
        found = Axe().run(page)
        assert found.violations_count == 0, f"{theme}, {size}: {found.generate_report()}"
        expect_no_sideways_scrolling(opened, size["width"])
        # A list that is open: a control of this page like any other.
        page.get_by_role("button", name="Studio").click()
        expect(page.get_by_role("checkbox").first).to_be_visible()
        found = Axe().run(page, "#filter-bar")
        assert found.violations_count == 0, f"{theme}, {size}, list open: {found.generate_report()}"
        page.keyboard.press("Escape")
    page.set_viewport_size(WIDE)
    page.get_by_role("button", name="Fewer filters").click()
    expect(page.get_by_role("button", name="More filters")).to_have_attribute("aria-expanded", "false")
    turn(opened, "light")


def test_nothing_is_cut_off_on_a_phone(opened: Watched) -> None:
    page = opened.page
    page.set_viewport_size(PHONE)
    opened.settled()
    expect_no_sideways_scrolling(opened, PHONE["width"])
    wide = page.evaluate(
        """() => [...document.querySelectorAll('main *')].filter(one => !one.closest('.table-frame, svg, .for-readers')
          && one.getBoundingClientRect().right > innerWidth + 1).map(one => one.outerHTML.slice(0, 90))"""
    )
    page.set_viewport_size(WIDE)
    opened.settled()
    assert wide == []


def test_the_keyboard_reaches_everything_and_is_seen(opened: Watched) -> None:
    page = opened.page
    # The next Tab begins at the very top, wherever the focus was before.
    page.evaluate("document.body.tabIndex = -1; document.body.focus(); document.body.removeAttribute('tabindex')")
    stops: list[dict[str, Any]] = []
    while len(stops) < MOST_STOPS:
        page.keyboard.press("Tab")
        stop = page.evaluate(FOCUS)
        if stop is None:
            break
        stops.append(stop)
    assert len(stops) < MOST_STOPS
    assert [stop["words"] for stop in stops if not (stop["visible"] and stop["onScreen"])] == []
    reached = {place for stop in stops for place in stop["where"]}
    wanted = {"#filter-bar", "#navigation", ".skip-link"}
    wanted |= {place for place in (".chart-tools", ".chart-drawing", ".table-frame", ".csv-line")
               if page.locator(f"{place}:visible").count()}  # fmt: skip
    assert wanted <= reached
    # A row of marks is one stop, and the arrow keys go along it.
    links = page.locator("main a[href]:visible, main button:not([role=toolbar] [tabindex='-1']):visible, main summary:visible")
    assert len(stops) >= links.count()


def test_a_chart_leads_to_its_table(opened: Watched) -> None:
    page = opened.page
    drawings = page.locator(".chart-drawing[data-table]:visible")
    for place in range(drawings.count()):
        table = drawings.nth(place).get_attribute("data-table") or ""
        drawings.nth(place).focus()
        page.keyboard.press("t")
        expect(page.locator(f"[id='{table}']")).to_be_focused()
        expect(page.locator(f"[id='{table}']")).to_be_visible()


def test_a_chart_is_saved_with_its_title_and_caption(opened: Watched) -> None:
    page = opened.page
    if not page.locator(".chart").count():
        return
    figure = page.locator(".chart").first
    title = figure.locator(".chart-title").inner_text()
    # The key T may have opened the fold already.
    if figure.locator(".chart-more").get_attribute("open") is None:
        figure.locator(".chart-more > summary").click()
    for kind in ("Picture (PNG)", "Drawing (SVG)"):
        with page.expect_download() as started:
            figure.get_by_role("button", name=kind).click()
        saved = started.value.path().read_bytes()
        if kind.startswith("Picture"):
            assert saved.startswith(b"\x89PNG") and len(saved) > 10_000
        else:
            drawn = saved.decode()
            assert title.split()[0] in drawn and "no medical advice" in drawn
            assert "<script" not in drawn and 'href="http' not in drawn and "data:font/woff2" in drawn


def test_paper_has_the_caution_and_no_controls(opened: Watched) -> None:
    page = opened.page
    page.emulate_media(media="print")
    for text in CAUTION:
        expect(page.get_by_text(text)).to_be_visible()
    for control in (
        "#filter-bar",
        "#navigation",
        "#view-tabs",
        ".theme-button",
        ".skip-link",
        ".chart-tools",
        ".csv-line",
        "main button",
    ):
        for place in page.locator(control).all():
            expect(place).not_to_be_visible()
    expect(page.locator("#headline, .headline").first).to_be_visible()
    page.emulate_media(media="screen")


def test_nothing_moves_where_motion_is_not_wanted(opened: Watched) -> None:
    page = opened.page
    page.get_by_role("button", name="Studio").click()
    expect(page.get_by_role("checkbox").first).to_be_visible()
    moving = page.evaluate("document.getAnimations().map(one => one.effect.getComputedTiming().duration).filter(ms => ms > 1)")
    page.keyboard.press("Escape")
    assert moving == []
    assert set(page.locator(".answer").evaluate_all("all => all.map(one => getComputedStyle(one).transitionDuration)")) == {
        "0s"
    }


def test_nothing_was_asked_elsewhere_and_the_console_was_silent(served: Served, opened: Watched) -> None:
    """The last of what is looked at, so that it covers all that was done on the page."""
    here = urlsplit(served.address).netloc
    assert {urlsplit(url).netloc for url in opened.requests if not url.startswith(("data:", "blob:"))} == {here}
    assert opened.said == []


def test_an_empty_selection_is_a_sentence_with_a_way_out(served: Served, watched: Watched, page_of: Shown) -> None:
    page = watched.open(f"{served.address}{page_of.path}{EMPTY}")
    for text in CAUTION:
        expect(page.get_by_text(text)).to_be_visible()
    if page_of.path in WHOLE:
        page.get_by_role("button", name="Reset").click()
    else:
        expect(page.locator("#page")).to_contain_text("No fit")
        way_out = page.locator("#page").get_by_role("link", name=re.compile("show (all fits|everything)", re.IGNORECASE))
        way_out.first.click()
    # Out of a view leads the way to the page's answer.
    # Studio tells of the last month where no dates are chosen, so that all of them are a word of its own.
    end = page_of.path if page_of.path in WHOLE else page_of.page.path or "?span=all"
    expect(page).to_have_url(f"{served.address}{end}")
    watched.settled()
    expect(page.locator("#page")).not_to_contain_text("No fit matches")
    assert watched.said == []
