"""Journeys through the served demo: the figures on a page are those of the asker, and the address is the view."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from dashboard.figures.names import MAIN_OUTCOMES, SUPPORTS
from dashboard.figures.theme import bare_interval, interval, number
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.studio.answers_periods import Periods
from tests.browser.conftest import Served, Watched
from tests.browser.serving import serving

pytestmark = pytest.mark.browser

NARROWED = "visit_kind=first"
ANSWERS = re.compile("_dash-update-component")
FILL = "mark => getComputedStyle(mark).fill"


def cell(row: Locator, key: str) -> Any:
    """The unrounded value that a row of a table carries under a key."""
    return json.loads(row.locator(f"[data-{key.replace('_', '-')}]").get_attribute(f"data-{key.replace('_', '-')}") or "")


def expect_effects(page: Page, answer: Effects) -> None:
    """Every number of the effects tables is the answer's, unrounded in the cell and rounded in print."""
    for outcome in MAIN_OUTCOMES:
        for row in answer.effects:
            if row.outcome != outcome or row.split:
                continue
            printed = page.locator(f"#supports-{outcome} tr[data-row={row.support}]")
            for key in ("told_low", "told_high", "q_value", "n_changes"):
                assert cell(printed, key) == getattr(row, key)
            expect(printed).to_contain_text(interval(row.told_low, row.told_high, row.unit, effect=True))
            sentence = page.locator(f"#supports-moved-words [data-words={outcome}-{row.support}]")
            expect(sentence).to_have_text(row.words)


def effects(served: Served, **words: str) -> Effects:
    answer = served.asker.ask("effects", parse_selection(words))
    assert isinstance(answer, Effects)
    return answer


def periods(served: Served, **words: str) -> Periods:
    answer = served.asker.ask("periods", parse_selection(words))
    assert isinstance(answer, Periods)
    return answer


def expect_studio(page: Page, answer: Periods) -> None:
    expect(page.locator("#headline")).to_have_text(answer.headline)
    drawing = page.locator("[data-chart=periods] [role=img]")
    for row in answer.changes:
        expect(drawing).to_have_attribute("aria-label", re.compile(re.escape(row.words)))


def choose(page: Page, label: str, option: str) -> None:
    """Picks an option of a control as a reader would."""
    if label == "Split by":
        page.get_by_label(label).select_option(label=option)
        return
    page.get_by_role("button", name=label).click()
    page.get_by_role("checkbox", name=option, exact=True).check()
    page.keyboard.press("Escape")


def test_studio_prints_the_answer(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    expect_studio(page, periods(served))
    expect(page.locator("#studio-picture .js-plotly-plot")).to_have_count(1)


def test_supports_prints_the_answer(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports")
    answer = effects(served)
    expect(page.locator("#supports-head #headline")).to_have_text(answer.headline)
    for arrival in ("inward", "near-neutral", "outward"):
        panel = page.locator(f"[data-chart=nearer-{arrival}]")
        for row in answer.effects:
            if row.outcome == "off_neutral" and row.level == arrival.replace("-", " "):
                assert cell(panel.locator(f"tr[data-row={row.support}]"), "told_low") == row.told_low
    page.get_by_role("link", name="What moved it").click()
    expect(page).to_have_url(f"{served.address}supports/what-moved-it")
    watched.settled()
    expect_effects(page, answer)


def test_supports_prints_the_grid_by_foot_type(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/for-whom")
    page.locator("#supports-for-whom .chart-more summary").first.click()
    rows = [row for row in effects(served, split="foot_type").effects if row.split and row.outcome == "tilt"]
    assert rows
    for row in rows:
        line = page.locator(f'#supports-for-whom tr[data-row="{row.level}"]')
        printed = line.locator("td").nth(list(SUPPORTS).index(row.support))
        if row.told_low is None:
            expect(printed).to_contain_text("needed" if "not enough yet" in row.words else "no figure")
            continue
        assert (cell(printed, "pooled"), cell(printed, "shrunk")) == (row.pooled, row.shrunk)
        expect(printed).to_contain_text(number(row.shrunk or row.pooled, row.unit, effect=True))
        expect(printed).to_contain_text(bare_interval(row.told_low, row.told_high, row.unit, effect=True))
        expect(printed.locator("strong")).to_have_count(abs(row.direction))


def test_data_prints_the_answer(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}data/what-is-held")
    answer: Any = served.asker.ask("data", parse_selection({}))
    expect(page.locator("#headline")).to_have_text(answer.headline)
    for row in answer.tables:
        printed = page.locator(f"tr[data-row={row.table}]")
        assert [cell(printed, key) for key in ("stored", "waiting", "rejected")] == [row.stored, row.waiting, row.rejected]
    page.get_by_role("link", name="Deserves a look").click()
    for row in answer.quality:
        printed = page.locator(f"tr[data-row={row.check}]")
        expect(printed).to_be_visible()
        assert [cell(printed, key) for key in ("n", "total", "share")] == [row.n, row.total, row.share]


def test_the_command_prints_what_the_page_prints(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/what-moved-it?{NARROWED}")
    said = subprocess.run(
        [sys.executable, "-c", "from dashboard.cli import main; main()", "show", "effects", "--json",
         "--warehouse", str(served.asker.path), "--visit-kind", "first"],
        check=True, capture_output=True,
    ).stdout  # fmt: skip
    answer = json.loads(said)
    expect(page.locator("#headline")).to_have_text(answer["headline"])
    told = {row["support"]: row for row in answer["effects"] if row["outcome"] == "tilt"}
    assert told
    for support, row in told.items():
        printed = page.locator(f"#supports-tilt tr[data-row={support}]")
        assert (cell(printed, "told_low"), cell(printed, "told_high")) == (row["told_low"], row["told_high"])


def test_a_filter_changes_the_address_and_the_figures(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    page.get_by_role("button", name="More filters").click()
    choose(page, "Visit", "first")
    expect(page).to_have_url(f"{served.address}?{NARROWED}")
    page.keyboard.press("Escape")
    answer = periods(served, visit_kind="first")
    expect(page.locator("#selected")).to_contain_text(answer.selection_words)
    expect_studio(page, answer)


@contextmanager
def held_up(page: Page, *outputs: str) -> Iterator[list[Route]]:
    """Keeps answers for these outputs (all where none is named) from the page until the block is left."""
    held: list[Route] = []

    def hold(route: Route) -> None:
        asked = route.request.post_data or ""
        is_awaited = not outputs or any(f'"output":"{output}' in asked for output in outputs)
        held.append(route) if is_awaited else route.continue_()

    page.route(ANSWERS, hold)
    yield held
    # Lets go what was held.
    page.unroute(ANSWERS, hold)


@pytest.mark.parametrize("awaited", ["..url.search...view.data", "riders-answer.children"])
@pytest.mark.parametrize("key", [None, "Enter"])
def test_a_link_of_the_answer_before_keeps_what_was_chosen_since(
    served: Served, watched: Watched, awaited: str, key: str | None
) -> None:
    page = watched.open(f"{served.address}riders")
    page.get_by_role("button", name="Studio").click()
    with held_up(page, awaited) as held:
        with page.expect_request(lambda request: f'"output":"{awaited}' in (request.post_data or "")):
            page.get_by_role("checkbox", name="ropewalk").click()
        link = page.get_by_role("link", name="have a follow-up over")
        assert "studio" not in (link.get_attribute("href") or "")
        link.press(key) if key else link.click()
        assert held
    expect(page).to_have_url(f"{served.address}riders/all?studio=ropewalk&look=overdue")
    expect(page.locator("#selected")).to_contain_text("studio ropewalk")


def test_two_links_in_quick_succession_are_both_heard(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}over-time?studio=quayside")
    with held_up(page):
        page.get_by_role("link", name="This year", exact=True).click()
        link = page.get_by_role("link", name="By quarter", exact=True)
        # It was made for the last month.
        assert (link.get_attribute("href") or "").endswith("over-time?studio=quayside&every=quarter")
        link.click()
        expect(page).to_have_url(f"{served.address}over-time?from=2026-01-01&studio=quayside&every=quarter")
        # Filters go along to another page; the words of this one do not.
        page.get_by_role("navigation", name="Pages").get_by_role("link", name="Returns", exact=True).click()
        expect(page).to_have_url(f"{served.address}returns?from=2026-01-01&studio=quayside")
    watched.settled()
    expect(page.locator("#selected")).to_contain_text("2 Jan to 26 Aug 2026, studio quayside")
    expect(page.get_by_label("From", exact=True)).to_have_value("2026-01-01")


def test_a_link_that_is_drawn_anew_under_the_finger_is_followed(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}over-time?studio=quayside&every=quarter")
    with held_up(page):
        page.get_by_role("link", name="This year", exact=True).click()
        link = page.get_by_role("link", name="By month", exact=True)
        link.hover()
        page.mouse.down()
        pressed = link.element_handle()
    # The answers come between press and release.
    expect(page.get_by_role("link", name="This year (shown)")).to_be_visible()
    watched.settled()
    assert not pressed.evaluate("one => one.isConnected")
    page.mouse.up()
    expect(page).to_have_url(f"{served.address}over-time?from=2026-01-01&studio=quayside")


def test_a_link_with_a_filter_opens_the_same_view(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/what-moved-it?{NARROWED}")
    expect_effects(page, effects(served, visit_kind="first"))
    page.get_by_role("button", name="More filters").click()
    expect(page.locator("#filter-bar")).to_contain_text("first")


def test_links_between_pages_keep_the_filter_and_back_returns(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?{NARROWED}")
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Data").click()
    expect(page).to_have_url(f"{served.address}data?{NARROWED}")
    expect(page.locator("h1")).to_be_focused()
    expect(page).to_have_title("Data – fitledger")
    expect(page.get_by_role("link", name="Data", exact=True)).to_have_attribute("aria-current", "page")
    page.go_back()
    expect(page).to_have_url(f"{served.address}?{NARROWED}")
    watched.settled()
    expect_studio(page, periods(served, visit_kind="first"))


def test_back_after_a_filter_returns_to_the_view_before(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/for-whom")
    whole = effects(served)
    choose(page, "Split by", "side")
    expect(page).to_have_url(f"{served.address}supports/for-whom?split=side")
    page.go_back()
    expect(page).to_have_url(f"{served.address}supports/for-whom")
    expect(page.get_by_label("Split by")).to_have_value("")
    expect(page.locator("#selected")).to_contain_text(whole.selection_words)
    page.go_forward()
    expect(page.get_by_label("Split by")).to_have_value("side")


def test_a_chosen_word_is_taken_away_and_the_focus_goes_to_the_next(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?{NARROWED}&rider=R0001,R0002&riding=road")
    chosen = page.get_by_role("navigation", name="What is chosen")
    chosen.get_by_role("link", name="Remove Rider").click()
    expect(page).to_have_url(f"{served.address}?{NARROWED}&riding=road")
    expect(chosen.get_by_role("link", name="Remove Visit")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}?riding=road")
    page.go_back()
    expect(chosen.get_by_role("link")).to_have_count(2)


def test_reset_shows_everything_again(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?{NARROWED}")
    page.get_by_role("button", name="Reset").click()
    expect(page).to_have_url(served.address)
    expect(page.locator("#headline")).to_have_text(periods(served).headline)


def test_choosing_an_outcome_keeps_the_focus_on_it(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/by-dose")
    outcomes = page.get_by_role("navigation", name="Outcome")
    outcomes.get_by_role("link", name="Sway", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}supports/by-dose?outcome=sway")
    expect(page.locator(".chart-title").first).to_contain_text("Shims and sway")
    expect(outcomes.get_by_role("link", name="Sway (shown)")).to_be_focused()


def test_a_faulty_address_is_told_and_the_page_stays(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?arch_height=flat")
    expect(page.get_by_role("alert")).to_contain_text("expected one of low, medium, high")
    page.get_by_role("button", name="Reset").click()
    expect(page.locator("#headline")).to_have_text(periods(served).headline)


def test_an_unknown_page_leads_back(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}nowhere")
    page.get_by_role("link", name="To the first page").click()
    expect(page.locator("#headline")).to_have_text(periods(served).headline)


def test_the_theme_is_kept_and_reaches_the_charts(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    page.get_by_role("button", name="Dark").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    watched.open(served.address)
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    expect(page.get_by_role("button", name="Light")).to_be_visible()
    assert page.locator(".scatterlayer .point").first.evaluate(FILL) == "rgb(86, 180, 233)"


def test_keyboard_alone_reaches_the_page_and_a_filter(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/for-whom")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_be_focused()
    page.get_by_label("Split by").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"\?split=\w+"))


def test_two_readers_do_not_see_each_others_filters(served: Served, watched: Watched, second: Watched) -> None:
    page = watched.open(f"{served.address}?{NARROWED}")
    other = second.open(f"{served.address}?visit_kind=follow_up")
    expect(page.locator("#headline")).to_have_text(periods(served, visit_kind="first").headline)
    expect(other.locator("#headline")).to_have_text(periods(served, visit_kind="follow_up").headline)
    page.get_by_role("button", name="Reset").click()
    expect(page.locator("#headline")).to_have_text(periods(served).headline)
    expect(other).to_have_url(f"{served.address}?visit_kind=follow_up")
    expect(other.locator("#selected")).to_contain_text(periods(served, visit_kind="follow_up").selection_words)


def test_under_a_prefix_every_link_keeps_it(served: Served, watched: Watched) -> None:
    with serving(served.asker, "/studio/") as address:
        page = watched.open(address)
        page.get_by_role("navigation", name="Pages").get_by_role("link", name="Data").click()
        expect(page).to_have_url(f"{address}data")
        page.get_by_role("navigation", name="Views of Data").get_by_role("link", name="Deserves a look").click()
        expect(page).to_have_url(f"{address}data/deserves-a-look")
        watched.settled()
        link = page.locator("#data-complete").get_by_role("link", name="These numbers as CSV").first
        assert (link.get_attribute("href") or "").startswith("/studio/download/shown/data-complete.csv")
        with page.expect_download() as started:
            link.click()
        assert started.value.suggested_filename == "completeness-with-intervals.csv"


def test_paper_gets_light_charts_of_its_own_width(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/how-far-to-trust-it?outcome=tilt")
    page.get_by_role("button", name="Dark").click()
    watched.settled()
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    chart = page.locator("[data-chart=both-tilt] .js-plotly-plot")
    expect(chart.locator(".main-svg").first).to_have_attribute("width", "670")
    expect(chart.locator(".scatterlayer .point[style*='fill: rgb(0, 114, 178)']")).not_to_have_count(0)
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    expect(chart.locator(".main-svg").first).not_to_have_attribute("width", "670")


def test_a_day_is_typed_and_told_once(served: Served, watched: Watched) -> None:
    """Typed digit by digit its year is 2, 20 and 202 first: such days are not asked for."""
    page = watched.open(f"{served.address}data?from=2026-01-05")
    day = page.get_by_label("From", exact=True)
    expect(day).to_have_value("2026-01-05")
    seen = []
    page.on("framenavigated", lambda frame: seen.append(frame.url))
    day.focus()
    page.keyboard.type("03202025")
    expect(page).to_have_url(f"{served.address}data?from=2025-03-20")
    watched.settled()
    assert all("from=20" in url for url in seen), seen
    day.fill("")
    expect(page).to_have_url(f"{served.address}data")


def test_a_list_of_boxes_is_walked_by_keys_and_left_by_escape(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    button = page.get_by_role("button", name="Fitter")
    button.focus()
    page.keyboard.press("ArrowDown")
    boxes = page.get_by_role("group", name="Fitter").get_by_role("checkbox")
    page.keyboard.press("ArrowDown")
    expect(boxes.first).to_be_focused()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    expect(page).to_have_url(f"{served.address}?fitter=F2")
    expect(boxes.nth(1)).to_be_checked()
    page.keyboard.press("Escape")
    expect(boxes).to_have_count(0)
    expect(button).to_be_focused()
    expect(button).to_have_text("F2")
    button.click()
    page.locator("h1").click()
    expect(boxes).to_have_count(0)
