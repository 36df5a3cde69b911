"""The Fitters page prints the asker's answers with the fitters' names; a fit to look at leads to its rider."""

import json
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.figures.funnel import difference
from dashboard.figures.theme import number
from dashboard.pages.fitters.named import with_names
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.coaching.fitters_named import fitter_names
from dashboard.questions.riders.riders_found import riders_of_fits
from dashboard.questions.selection.selection import parse_selection
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser

KEYS = ("n_fits", "observed", "expected", "difference", "difference_low", "difference_high")


def fitters(served: Served, **words: str) -> Fitters:
    answer = served.asker.ask("fitters", parse_selection(words))
    assert isinstance(answer, Fitters)
    return answer


def agreement(served: Served, **words: str) -> AgreementWithExam:
    answer = served.asker.ask("agreement", parse_selection(words))
    assert isinstance(answer, AgreementWithExam)
    return answer


def named(served: Served, words: str) -> str:
    return with_names(words, served.asker.look_up(fitter_names))


@pytest.mark.parametrize(
    ("words", "outcome"),
    [({}, None), ({"visit_kind": "first"}, "comfort_gained"), ({"fitter": "F2,F6"}, "return_rate")],
)
def test_the_page_prints_the_answer(served: Served, watched: Watched, words: dict[str, str], outcome: str | None) -> None:
    query = parse_selection(words).query()
    page = watched.open(f"{served.address}fitters?{query}{f'&outcome={outcome}' if outcome else ''}")
    answer = fitters(served, **words)
    expect(page.locator("#fitters-head #headline")).to_have_text(named(served, answer.headline))
    rows = [row for row in answer.fitters if row.outcome == (outcome or answer.furthest)]
    page.locator("[data-chart=funnel] .chart-drawing").focus()
    page.keyboard.press("t")
    frame = page.locator("#fitters-table")
    expect(frame).to_be_visible()
    expect(frame.locator("tbody tr")).to_have_count(len(rows))
    for row in rows:
        printed = frame.locator(f"tr[data-row={row.fitter_id}]")
        for key in KEYS:
            name = f"data-{key.replace('_', '-')}"
            assert json.loads(printed.locator(f"[{name}]").get_attribute(name) or "") == getattr(row, key)
        expect(printed).to_contain_text("not enough yet" if row.observed is None else number(row.observed, row.unit))
        expect(printed).to_contain_text(difference(row.difference, row.unit))
    drawn = [row for row in rows if row.difference is not None]
    expect(page.locator("[data-chart=funnel] .textpoint")).to_have_count(len(drawn))


def test_fitters_stand_by_their_ids_and_one_with_few_fits_has_counts_and_words(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters")
    page.locator("[data-chart=funnel] summary").click()
    rows = page.locator("#fitters-table tbody tr").evaluate_all("rows => rows.map(row => row.dataset.row)")
    assert rows == sorted(rows)
    answer = fitters(served)
    [few] = [row for row in answer.fitters if row.outcome == answer.furthest and row.observed is None]
    printed = page.locator(f"#fitters-table tr[data-row={few.fitter_id}]")
    expect(printed).to_contain_text("not enough yet")
    assert json.loads(printed.locator("[data-difference]").get_attribute("data-difference") or "") is None


def test_an_outcome_is_chosen_by_a_link_that_keeps_the_focus(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters")
    outcomes = page.get_by_role("navigation", name="Outcome")
    outcomes.get_by_role("link", name="Riders who came back", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}fitters?outcome=return_rate")
    expect(outcomes.get_by_role("link", name="Riders who came back (shown)")).to_be_focused()
    expect(page.locator("[data-chart=funnel] .chart-title")).to_contain_text("Riders who came back")


def test_what_to_do_next_leads_to_the_worst_fits_with_the_selection(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters?visit_kind=first")
    answer = agreement(served, visit_kind="first")
    page.get_by_role("link", name=f"{answer.n_to_look_at} fits to look at together").click()
    expect(page).to_have_url(f"{served.address}fitters/worst-disagreements?visit_kind=first")
    fits = page.locator(".looks > li")
    expect(fits).to_have_count(10)
    shown = fits.evaluate_all("fits => fits.map(fit => [fit.dataset.session, Number(fit.dataset.nSteps)])")
    assert shown == [[row.session_id, row.n_steps] for row in answer.worst[:10]]
    for place, row in enumerate(answer.worst[:2]):
        fits.nth(place).locator("summary").first.click()
        expect(fits.nth(place)).to_contain_text(row.words.partition(": ")[2][1:])
        for finding in answer.look_at:
            if finding.session_id == row.session_id:
                expect(fits.nth(place)).to_contain_text(finding.words.split(": ", 1)[1])
    page.get_by_role("link", name="the next ones").click()
    expect(page.locator(f".looks > li[data-session={answer.worst[10].session_id}]")).to_be_visible()


def test_older_addresses_lead_on(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters?fitter=F2&start=10")
    expect(page).to_have_url(f"{served.address}fitters/worst-disagreements?fitter=F2&start=10")
    page = watched.open(f"{served.address}fitters#scatter")
    expect(page).to_have_url(f"{served.address}fitters/process")


def test_agreement_by_month_is_that_of_the_answer(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters/agreement-over-time?visit_kind=first")
    answer = agreement(served, visit_kind="first")
    expect(page.locator(".agreement-words")).to_have_text(answer.agreement[0].words)
    shown = [month for month in answer.months if month.share is not None]
    expect(page.locator("[data-chart=agreement] .point")).to_have_count(len(shown))


def test_a_fit_to_look_at_leads_to_its_rider(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters/worst-disagreements?fitter=F2")
    session = agreement(served, fitter="F2").worst[0].session_id
    rider = served.asker.look_up(lambda warehouse: riders_of_fits(warehouse, [session]))[session]
    page.get_by_role("link", name=f"rider {rider}").first.click()
    expect(page.locator("#headline")).to_be_visible()
    assert f"rider={rider}" in page.url and f"fit={session}" in page.url


def test_an_empty_selection_is_a_sentence_with_a_way_out(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters?from=1999-01-01&to=1999-01-02")
    expect(page.get_by_role("alert")).to_have_count(1)
    expect(page.get_by_role("alert")).to_contain_text("No fit matches this selection")
    page.get_by_role("link", name="Show all fits").click()
    expect(page.locator("#headline")).to_have_text(named(served, fitters(served).headline))


def test_an_unknown_outcome_is_told(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters?outcome=speed")
    expect(page.get_by_role("alert").first).to_contain_text("expected one of side_difference_left, return_rate")


def test_axe_finds_nothing_and_the_console_is_silent(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}fitters")
    said: list[Any] = watched.said
    for shown, other in (("light", "Dark"), ("dark", "Light")):
        expect(page.locator("html")).to_have_attribute("data-theme", shown)
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 800})
            found = Axe().run(page)
            assert found.violations_count == 0, f"{shown}, {width} px: {found.generate_report()}"
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_role("button", name=other).click()
        watched.settled()
    assert said == []
