"""The Studio page in the browser: its figures and charts are those of the asker, and it remembers the reader's last look."""

import json
import re
from datetime import date

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from dashboard.figures.control import finding, of_figure
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import number
from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.studio.answers_studio import Studio
from dashboard.questions.studio.answers_trends import Trends
from shared.units import UNITS
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser

# The looks as soon as there are any.
LOOKS = """() => new Promise(done => {
  const look = () => {
    const kept = window.localStorage.getItem("fitledger-looks");
    return kept ? done(JSON.parse(kept)) : window.requestAnimationFrame(look);
  };
  look();
})"""


def studio(served: Served, **words: str) -> Studio:
    answer = served.asker.ask("studio", parse_selection(words))
    assert isinstance(answer, Studio)
    return answer


def trends(served: Served, **words: str) -> Trends:
    answer = served.asker.ask("trends", parse_selection(words))
    assert isinstance(answer, Trends)
    return answer


def expect_figures(page: Page, answer: Studio) -> None:
    expect(page.locator("#headline")).to_have_text(answer.headline)
    for row in answer.figures:
        shown = page.locator(f"[data-figure={row.figure}]")
        if row.estimate is None:
            expect(shown).to_have_count(0)
            continue
        assert json.loads(shown.get_attribute("data-value") or "") == row.estimate
        expect(shown).to_have_text(number(row.estimate, row.unit))


def expect_charts(page: Page, answer: Trends) -> None:
    for figure in FIGURES:
        chart, _, signals = of_figure(answer, figure)
        drawn = page.locator(f".over-time [data-chart={figure}]")
        expect(drawn.locator(".chart-title")).to_have_text(finding(chart, signals, answer.every))
        expect(drawn.locator(".js-plotly-plot")).to_have_count(1)


@pytest.mark.parametrize("words", [{}, {"visit_kind": "first"}, {"studio": "quayside"}])
def test_figures_and_charts_are_those_of_the_answers(served: Served, watched: Watched, words: dict[str, str]) -> None:
    query = "&".join(f"{word}={value}" for word, value in words.items())
    page = watched.open(f"{served.address}?{query}" if query else served.address)
    expect_figures(page, studio(served, **words))
    expect_charts(page, trends(served, **words))
    assert watched.said == []


def test_a_quarter_is_chosen_by_a_link_and_stands_in_charts_of_all_dates(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?visit_kind=first")
    page.get_by_role("link", name="This quarter", exact=True).focus()
    page.keyboard.press("Enter")
    last = served.asker.choices().last_date or date.min
    start = date(last.year, last.month - (last.month - 1) % 3, 1)
    expect(page).to_have_url(f"{served.address}?from={start}&to={last}&visit_kind=first")
    expect(page.locator(".lead-in")).to_contain_text("This quarter so far")
    expect_figures(page, studio(served, **{"from": str(start), "to": str(last), "visit_kind": "first"}))
    expect_charts(page, trends(served, visit_kind="first"))
    expect(page.get_by_role("link", name="This quarter (shown)")).to_be_focused()
    expect(page.locator("#studio-head")).to_contain_text("The bar at the foot marks the dates chosen.")


def test_the_charts_are_drawn_by_quarter_where_the_reader_asks_for_quarters(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?studio=quayside")
    page.get_by_role("link", name="By quarter", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}?studio=quayside&every=quarter")
    expect(page.get_by_role("link", name="By quarter (shown)")).to_be_focused()
    answer = served.asker.ask("trends", parse_selection({"studio": "quayside"}), every=("quarter",))
    assert isinstance(answer, Trends)
    assert answer.every == "quarter"
    expect_charts(page, answer)
    expect_figures(page, studio(served, studio="quayside"))
    # The word stays with another span of time, and the CSV holds the rows that the page prints.
    page.get_by_role("link", name="This year", exact=True).click()
    expect(page).to_have_url(re.compile(r"from=.*&studio=quayside&every=quarter$"))
    watched.settled()  # the links of the page are those of its answer
    page.get_by_text("The figures by quarter").first.click()
    link = page.locator("a[href*='trends.csv'][href*='rows=trend']").first
    saved = page.request.get(served.address.rstrip("/") + (link.get_attribute("href") or ""))
    assert saved.text() == answer.to_csv("trend")
    page.get_by_role("link", name="By month", exact=True).click()
    expect(page).to_have_url(re.compile(r"&studio=quayside$"))
    expect_charts(page, trends(served, studio="quayside"))
    assert watched.said == []


def test_weeks_are_many_and_the_latest_are_listed(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?every=week")
    answer = served.asker.ask("trends", parse_selection({}), every=("week",))
    assert isinstance(answer, Trends)
    expect_charts(page, answer)
    page.get_by_text("The figures by week, the last 30 weeks").first.click()
    expect(page.locator("details.more", has_text="The figures by week").locator("tbody tr")).to_have_count(30 * len(FIGURES))
    assert watched.said == []


def test_a_period_that_does_not_exist_is_told_with_those_that_do(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?every=day")
    expect(page.locator("main")).to_contain_text("every: found 'day', expected one of week, month, quarter.")


def test_the_last_look_is_kept_in_this_browser_and_compared_with(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    expect(page.locator("#studio-since")).to_contain_text("This is the first look at this selection in this browser.")
    page.evaluate(LOOKS)
    page.reload()
    expect(page.locator("#studio-since")).to_contain_text("Nothing. The figures are those of your last look")
    # An earlier look saw other returns and fewer fits.
    kept = page.evaluate(LOOKS)
    (key,) = kept
    kept[key]["last"] |= {"on": "2026-07-01", "data_to": "2026-06-30"}
    kept[key]["last"]["figures"]["return_rate"] = [0.3, 0.25, 0.35, 800]
    page.evaluate("looks => window.localStorage.setItem('fitledger-looks', JSON.stringify(looks))", kept)
    page.reload()
    since = page.locator("#studio-since")
    expect(since).to_contain_text("Compared with what you saw on 1 Jul 2026, with data up to 30 Jun 2026:")
    expect(since).to_contain_text("30\u202f% then; outside the interval it had, 25 to 35\u202f%")
    expect(since.locator("li")).to_have_count(len(FIGURES))


def test_what_is_kept_is_no_riders(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?fitter=F1")
    (entry,) = page.evaluate(LOOKS).values()
    assert set(entry) == {"last", "earlier"}
    assert set(entry["last"]) == {"on", "data_to", "figures"}
    assert "F1" not in page.evaluate("window.localStorage.getItem('fitledger-looks')")


def test_what_stood_beside_a_signal_is_told(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    answer = trends(served)
    signals = [row for row in answer.signals if row.figure in FIGURES]
    told = page.locator("details.beside")
    told.locator("summary").click()
    # The base that they share, then a row a signal.
    expect(told.locator("tbody tr")).to_have_count(1 + len(signals))
    for row in answer.beside[:4]:
        assert row.here is not None
        written = spoken_percent(row.here) if row.unit == "share" else spoken(row.here, 2, UNITS[row.unit].sign)
        expect(told.locator("tbody tr").nth(1)).to_contain_text(written)


@pytest.mark.parametrize("shown", ["light", "dark"])
def test_axe_finds_nothing_with_everything_open(served: Served, watched: Watched, shown: str) -> None:
    page = watched.open(f"{served.address}?from=2026-07-01")
    if shown == "dark":
        page.get_by_role("button", name="Dark").click()
        watched.settled()
    expect(page.locator("#studio-since h2")).to_be_visible()
    for summary in page.locator("#studio-head summary").all():
        summary.click()
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(page)
        assert found.violations_count == 0, f"{shown}, {width} px: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_an_empty_selection_is_a_sentence_without_charts(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}?from=1999-01-01&to=1999-01-02")
    expect(page.get_by_role("alert")).to_contain_text("No fit matches this selection")
    expect(page.locator("#studio-since")).to_have_count(0)
    expect(page.locator(".js-plotly-plot")).to_have_count(0)
