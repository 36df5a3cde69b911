"""The Studio page in the browser: the last month in one sentence, spans of the calendar, views, and what to do now."""

import json
import re
from datetime import date
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from dashboard.figures.control import finding, of_figure
from dashboard.figures.names import FIGURES
from dashboard.letters.content import letter_to
from dashboard.letters.written import text_of
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.selection.spans import Span
from dashboard.questions.studio.answers_periods import Periods
from dashboard.questions.studio.answers_studios import Studios
from dashboard.questions.studio.answers_trends import Trends
from dashboard.questions.studio.trends_news import news
from shared.logbook.entries import Entries
from tests.browser.conftest import Served, Watched, watching
from tests.browser.serving import serving

pytestmark = pytest.mark.browser

JULY = {"from": "2026-07-01", "to": "2026-07-31"}


def periods(served: Served, **words: str) -> Periods:
    answer = served.asker.ask("periods", parse_selection(words))
    assert isinstance(answer, Periods)
    return answer


def trends(served: Served, **words: str) -> Trends:
    answer = served.asker.ask("trends", parse_selection(words))
    assert isinstance(answer, Trends)
    return answer


def expect_answer(page: Page, answer: Periods) -> None:
    expect(page.locator("#headline")).to_have_text(answer.headline)
    expect(page.locator("#selected")).to_contain_text(answer.selection_words)


def expect_charts(page: Page, answer: Trends, span: Span) -> None:
    fresh = {row.figure for row in news(answer, span)}
    for figure in FIGURES:
        chart, _, signals = of_figure(answer, figure)
        drawn = page.locator(f".over-time [data-chart={figure}]")
        title = finding(chart, signals, answer.every, is_news=figure in fresh)
        expect(drawn.locator(".chart-title")).to_have_text(title)
        expect(drawn.locator(".js-plotly-plot")).to_have_count(1)


def test_without_dates_it_is_the_last_month_and_says_so(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    expect_answer(page, periods(served, **JULY))
    expect(page.locator("#selected")).to_contain_text("Selected: last month, by today, 31 Aug 2026: 50 fits, 1 Jul to 31 Jul")
    expect(page.locator("[data-chart=periods] .chart-title")).to_have_text("Beside June: no clear change in any figure")
    expect(page.locator("#studio-picture .reading")).to_contain_text("Knees: 12 % better, 85 % no clear change, 3 % worse.")
    expect(page.get_by_role("navigation", name="Dates").get_by_role("link", name="Last month (shown)")).to_be_visible()
    assert watched.said == []


def test_the_picture_is_drawn_from_the_numbers_of_its_table(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?studio=quayside")
    page.locator("[data-chart=periods] summary").click()
    rows = page.locator("[data-chart=periods] tbody tr")
    for at, row in enumerate(periods(served, studio="quayside", **JULY).changes):
        for key in ("estimate", "estimate_against", "difference", "low", "high"):
            told = rows.nth(at).locator(f"[data-{key.replace('_', '-')}]").first.get_attribute(f"data-{key.replace('_', '-')}")
            assert json.loads(told or "") == getattr(row, key)
        expect(rows.nth(at)).to_contain_text(row.judged)


def test_spans_are_chosen_by_keyboard_and_go_along_to_other_pages(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?visit_kind=first")
    page.get_by_role("link", name="Last quarter", exact=True).focus()
    page.keyboard.press("Enter")
    words = {"from": "2026-04-01", "to": "2026-06-30", "visit_kind": "first"}
    expect(page).to_have_url(f"{served.address}?from=2026-04-01&to=2026-06-30&visit_kind=first")
    expect(page.get_by_role("link", name="Last quarter (shown)")).to_be_focused()
    expect_answer(page, periods(served, **words))
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Returns", exact=True).click()
    expect(page).to_have_url(f"{served.address}returns?from=2026-04-01&to=2026-06-30&visit_kind=first")
    watched.settled()
    page.get_by_role("link", name="All", exact=True).click()
    expect(page).to_have_url(f"{served.address}returns?visit_kind=first")


def test_all_dates_have_no_earlier_period_and_tell_what_they_are(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    page.get_by_role("link", name="All", exact=True).click()
    expect(page).to_have_url(f"{served.address}?span=all")
    expect(page.locator("#headline")).to_contain_text(
        "4 Mar 2024 to 28 Aug 2026: not enough yet to compare with an earlier period. Comfort gained 1.4 points"
    )
    expect(page.get_by_role("link", name="All (shown)")).to_be_visible()


def test_a_month_without_fits_leads_to_the_last_one_with_some(served: Served, browser: Browser) -> None:
    late = Asker(served.asker.path, served.asker.settings, lambda: date(2026, 11, 30))
    with serving(late) as address, watching(browser) as watched:
        page = watched.open(address)
        expect(page.get_by_role("alert")).to_contain_text("No fit in October 2026, the last full month by today's calendar.")
        expect(page.locator(".js-plotly-plot")).to_have_count(0)
        page.get_by_role("link", name="Show July 2026").click()
        expect(page.locator("#headline")).to_contain_text("July 2026: no clear change")


def test_what_to_do_counts_what_the_pages_count(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    todo = page.locator("#studio-todo .next-steps")
    calls: Any = served.asker.ask("calls", parse_selection({}))
    fits: Any = served.asker.ask("agreement", parse_selection(JULY))
    data: Any = served.asker.ask("data", parse_selection({}))
    left_out = sum(row.rejected + row.waiting for row in data.tables)
    for words, address in (
        (f"{len(calls.calls)} calls due today", "returns/calls"),
        (f"{fits.n_to_look_at} fits of these dates to look at", "fitters/worst-disagreements?from=2026-07-01&to=2026-07-31"),
        (f"{left_out} rows left out, to mend", "data/left-out"),
        ("3 days since the newest row: load what came since", "data"),
    ):
        link = todo.get_by_role("link", name=words)
        expect(link).to_have_attribute("href", f"{served.address.removeprefix(served.address.rstrip('/'))}{address}")
        assert page.request.get(served.address + address.partition("?")[0]).status == 200


def test_the_charts_over_time_tell_what_is_news_of_the_dates(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}over-time")
    answer = trends(served)
    expect_charts(page, answer, Span(date(2026, 7, 1), date(2026, 7, 31)))
    expect(page.locator(".section-title").first).to_have_text(
        "In July 2026, and right before and after, no figure moved by more than the usual scatter"
    )
    expect(page.locator(".over-time [data-chart=comfort_gained] .chart-title")).to_have_text(
        "Comfort gained: nothing new (better since about June 2025)"
    )
    expect(page.get_by_text("What moved", exact=True)).to_have_count(0)
    # The months of the change of practice, in which comfort and returns moved.
    page.goto(f"{served.address}over-time?from=2025-05-01&to=2025-07-31")
    watched.settled()
    expect_charts(page, answer, Span(date(2025, 5, 1), date(2025, 7, 31)))
    expect(page.locator(".section-title").first).to_contain_text("Comfort gained better from about June 2025 on")
    page.locator("details.beside summary").click()
    # The base that they share, then a row a move.
    expect(page.locator("details.beside tbody tr")).to_have_count(1 + 2)
    assert watched.said == []


def test_the_charts_are_drawn_by_quarter_where_the_reader_asks_for_quarters(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}over-time?studio=quayside")
    page.get_by_role("link", name="By quarter", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}over-time?studio=quayside&every=quarter")
    expect(page.get_by_role("link", name="By quarter (shown)")).to_be_focused()
    answer = served.asker.ask("trends", parse_selection({"studio": "quayside"}), every=("quarter",))
    assert isinstance(answer, Trends)
    expect_charts(page, answer, Span(date(2026, 7, 1), date(2026, 7, 31)))
    # The word stays with another span of time, and goes when months are asked for again.
    page.get_by_role("link", name="This year", exact=True).click()
    expect(page).to_have_url(re.compile(r"over-time\?from=2026-01-01&studio=quayside&every=quarter$"))
    watched.settled()
    page.get_by_role("link", name="By month", exact=True).click()
    expect(page).to_have_url(re.compile(r"over-time\?from=2026-01-01&studio=quayside$"))


def test_a_goal_is_set_seen_and_taken_back_where_its_figure_stands(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}over-time")
    panel = page.locator(".over-time > div").filter(has=page.locator("[data-chart=return_rate]"))
    panel.get_by_text("Set a goal…").click()
    panel.get_by_label("Goal, as 75% or 2.5").fill("20%")
    panel.get_by_label("Counts from (today if empty)").fill("2025-01-01")
    panel.get_by_role("button", name="Keep").click()
    expect(panel.get_by_role("status")).to_contain_text("The goal is kept.")
    panel.get_by_role("button", name="Show it").click()
    (goal,) = trends(served).goals
    assert (goal.figure, goal.goal, goal.verdict) == ("return_rate", 0.2, "reaches it")
    expect(panel.get_by_text(goal.words)).to_be_visible()
    watched.settled()
    panel.get_by_text("Change the goal…").click()
    expect(panel.locator(".goals li > span")).to_have_text(re.compile("^20.% from 1 Jan 2025 on, set by this machine$"))
    panel.get_by_role("button", name="Take back").click()
    expect(panel.get_by_role("status")).to_contain_text("The goal is taken back.")
    assert trends(served).goals == ()
    panel.get_by_role("button", name="Show it").click()
    expect(panel.get_by_text("Set a goal…")).to_be_visible()
    expect(panel.get_by_text("Change the goal…")).to_have_count(0)
    assert watched.said == []


def test_a_note_of_the_screen_freezes_the_limits_and_stands_in_the_report_and_the_letter(
    served: Served, watched: Watched
) -> None:
    def bases() -> set[date | None]:
        return {row.base_from for row in trends(served).charts if row.figure == "comfort_gained"}

    before, page = bases(), watched.open(f"{served.address}over-time")
    page.get_by_text("Write a note…").click()
    page.get_by_label("What changed").fill("New saddle stand")
    page.get_by_label("On", exact=True).fill("2025-07-14")
    page.get_by_label("Freeze the limits anew from this day on").check()
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_role("status").filter(has_text="The note is kept.")).to_be_visible()
    entries = Entries(served.asker.path)
    (note,) = entries.all("note")
    try:
        assert bases() == {date(2025, 7, 1)} != before
        page.reload()
        noted = page.locator(".dated-notes li")
        expect(noted).to_contain_text("14 Jul 2025: New saddle stand The limits are frozen anew from here on.")
        report = page.request.get(f"{served.address}download/report.html").text()
        assert "14 Jul 2025: New saddle stand" in plain(report)
        # The letter of a day in that summer: its own month, and the one before and after it.
        summer = Asker(served.asker.path, served.asker.settings, lambda: date(2025, 8, 31))
        assert "14 Jul 2025: New saddle stand" in plain(text_of(letter_to("owner", summer, "https://fits.example.org/")))
    finally:
        entries.say(note.entry_id, "dropped", by="olga")
    assert bases() == before


def plain(words: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", words))


def test_an_older_address_leads_on_to_the_charts(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?every=week")  # an address of earlier versions
    expect(page).to_have_url(f"{served.address}over-time?every=week")
    page.locator("[data-chart=comfort_gained] summary").click()
    expect(page.locator("[data-chart=comfort_gained] tbody tr")).to_have_count(30)
    page.get_by_role("link", name="Answer", exact=True).click()
    expect(page).to_have_url(served.address)


def test_a_period_that_does_not_exist_is_told_with_those_that_do(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}over-time?every=day")
    expect(page.locator("main")).to_contain_text("every: found 'day', expected one of week, month, quarter.")


def test_one_studio_beside_the_other_with_the_intervals_of_the_differences(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}studios?from=2025-09-01")
    answer = served.asker.ask("studios", parse_selection({"from": "2025-09-01"}))
    assert isinstance(answer, Studios)
    expect(page.locator("[data-chart=studios] .chart-title")).to_have_text(answer.headline.rstrip("."))
    page.locator("[data-chart=studios] summary").click()
    rows = page.locator("[data-chart=studios] tbody tr")
    for at, row in enumerate(answer.differences):
        assert json.loads(rows.nth(at).locator("[data-difference]").get_attribute("data-difference") or "") == row.difference
    expect(page.locator("#each-studio tbody tr")).to_have_count(2 * len(FIGURES))


def test_the_figures_say_what_they_mean_and_how_they_are_computed(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}figures")
    expect(page.locator("#four-figures tbody tr")).to_have_count(3 * len(FIGURES))
    expect(page.locator(".meanings dt")).to_have_text(list(FIGURES.values()))
    page.locator("details.method summary").click()
    expect(page.locator("details.method")).to_contain_text("The period before has as many whole months")


@pytest.mark.parametrize("shown", ["light", "dark"])
@pytest.mark.parametrize("view", ["", "over-time", "studios", "figures"])
def test_axe_finds_nothing_with_everything_open(served: Served, watched: Watched, shown: str, view: str) -> None:
    page = watched.open(f"{served.address}{view}?from=2026-07-01")
    if shown == "dark":
        page.get_by_role("button", name="Dark").click()
        watched.settled()
    for summary in page.locator("main summary").all():
        summary.click()
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(page)
        assert found.violations_count == 0, f"{shown}, {width} px: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_an_empty_selection_is_a_sentence_without_charts(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?from=1999-01-01&to=1999-01-02")
    expect(page.get_by_role("alert")).to_contain_text("No fit matches this selection")
    expect(page.locator(".js-plotly-plot")).to_have_count(0)
