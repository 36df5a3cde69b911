"""The Riders page: a rider is found by a part of the id, and the page prints the asker's timeline."""

import json
import re
from typing import Any
from urllib.parse import urlsplit

import orjson
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.figures.theme import day, number
from dashboard.figures.timeline import change_numbers
from dashboard.questions.riders.answers_riders import Riders, RiderTimeline
from dashboard.questions.riders.riders_told import BECAME_WORDS
from dashboard.questions.selection.selection import Selection, parse_selection
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser

# A rider of several fits, and one whose fit carries a note that looks like a page's own text.
SEVERAL, NOTED = "R0090", "R0041"
PICK = """(box, match) => {
  Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value').set.call(box, match);
  box.dispatchEvent(new InputEvent('input', {bubbles: true, inputType: 'insertReplacementText'}));
}"""


def listed(served: Served, **words: str) -> Riders:
    answer = served.asker.ask("riders", parse_selection(words))
    assert isinstance(answer, Riders)
    return answer


def timeline(served: Served, rider: str, **words: str) -> RiderTimeline:
    answer = served.asker.ask("riders", parse_selection({"rider": rider, **words}))
    assert isinstance(answer, RiderTimeline)
    return answer


def values(page: Page, row: str, *keys: str) -> list[Any]:
    """The unrounded values that a row carries under these keys."""
    cells = page.locator(f'tr[data-row="{row}"]')
    return [json.loads(cells.locator(f"[data-{key}]").get_attribute(f"data-{key}") or "") for key in keys]


@pytest.mark.parametrize("words", [{}, {"visit_kind": "first"}, {"studio": "ropewalk", "from": "2026-01-01"}])
def test_the_list_prints_the_answer(served: Served, watched: Watched, words: dict[str, str]) -> None:
    page = watched.open(f"{served.address}riders/all?{parse_selection(words).query()}")
    answer = listed(served, **words)
    expect(page.locator("#headline")).to_have_text(answer.headline)
    expect(page.locator("#riders-list tbody tr")).to_have_count(20)
    for row in answer.riders[:20]:
        assert values(page, row.rider_id, "side-difference-deg") == [row.side_difference_deg]
        expect(page.locator(f'tr[data-row="{row.rider_id}"]')).to_contain_text(BECAME_WORDS.get(row.became, "follow-up visit"))


def test_the_answer_without_a_rider_counts_what_deserves_a_look_and_leads_there(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders")
    answer = listed(served)
    expect(page.locator("#headline")).to_have_text(answer.headline)
    chosen = [row.rider_id for row in answer.riders if "not_held" in row.look.split(", ")]
    steps = page.locator(".next-steps")
    expect(steps.get_by_role("link", name=f"{len(chosen)} have a last fit that did not hold")).to_be_visible()
    expect(page.locator("#riders-first tbody th").first).to_have_text(answer.riders[0].rider_id)
    steps.get_by_role("link", name="did not hold").click()
    expect(page).to_have_url(f"{served.address}riders/all?look=not_held")
    expect(page.locator("#riders-list tbody th").first).to_have_text(chosen[0])
    expect(page.locator("#riders-list tbody tr").first).to_contain_text("did not hold")
    page.get_by_role("link", name="further riders").click()
    expect(page).to_have_url(f"{served.address}riders/all?look=not_held&start=20")
    expect(page.locator("#riders-list tbody th").first).to_have_text(chosen[20])


def test_an_older_address_of_the_list_leads_on(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?look=overdue")
    expect(page).to_have_url(f"{served.address}riders/all?look=overdue")
    expect(page.locator("#main .choices .is-chosen")).to_contain_text("Follow-up over")


def test_did_the_fit_hold_is_asked_in_two_steps(served: Served, watched: Watched) -> None:
    """Type the id, press Enter: the sentence and every fit with what became of it stand on the first screen."""
    page = watched.open(f"{served.address}riders")
    page.get_by_label("Find a rider").press_sequentially("R0655")
    page.keyboard.press("Enter")
    watched.settled()
    expect(page.locator("#headline")).to_contain_text("The refit of 10 Jun 2026 held")
    fits = page.get_by_role("navigation", name="Fits of this rider").get_by_role("listitem")
    expect(fits).to_have_text(["20 Dec 2025, first fit: not seen again", "10 Jun 2026, refit: held", "6 Jul 2026, follow-up"])


def test_a_rider_is_found_by_typing_and_the_keyboard(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?visit_kind=first")
    box = page.get_by_label("Find a rider")
    box.press_sequentially("r009")
    expect(page.get_by_role("search")).to_contain_text("10 riders. Enter opens R0090.")
    expect(page.locator("datalist option")).to_have_count(10)
    box.fill("r0090x")
    expect(page.get_by_role("search")).to_contain_text("No rider's id holds this.")
    page.keyboard.press("Enter")
    box.fill("r0090")
    expect(page.get_by_role("search")).to_contain_text("One rider. Enter opens R0090.")
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}riders?rider={SEVERAL}")
    expect(page.locator("#headline")).to_have_text(timeline(served, SEVERAL).headline)
    expect(box).to_have_value("")


def test_enter_waits_for_the_matches_of_the_whole_text(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders")
    page.get_by_label("Find a rider").press_sequentially("r0090")
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}riders?rider={SEVERAL}")


def test_a_match_that_is_picked_from_the_list_opens(served: Served, watched: Watched) -> None:
    """The browser writes the picked match into the field, by an event that is no typing."""
    page = watched.open(f"{served.address}riders")
    box = page.get_by_label("Find a rider")
    box.press_sequentially("r009")
    expect(page.locator("datalist option")).to_have_count(10)
    box.evaluate(PICK, "R0093")
    expect(page).to_have_url(f"{served.address}riders?rider=R0093")


@pytest.mark.parametrize(
    ("rider", "words"), [(SEVERAL, {}), (SEVERAL, {"from": "2025-05-01", "to": "2026-01-31"}), (NOTED, {"visit_kind": "first"})]
)
def test_the_timeline_prints_the_answer(served: Served, watched: Watched, rider: str, words: dict[str, str]) -> None:
    query = parse_selection({"rider": rider, **words}).query()
    answer = timeline(served, rider, **words)
    page = watched.open(f"{served.address}riders?{query}")
    expect(page.locator("#headline")).to_have_text(answer.headline)
    expect(page.locator("#selected")).to_contain_text(f"rider {rider}")
    expect(page.locator("[data-chart=timeline-tilt]")).to_be_visible()
    watched.open(f"{served.address}riders/fit-by-fit?{query}")
    expect(page.locator("#headline")).to_have_text(answer.headline)
    for fit in answer.fits:
        expect(page.locator(f"tr[data-row={fit.session_id}]")).to_contain_text(fit.told.partition("; ")[2][1:])
    page.get_by_text("first, last, found again").first.click()
    knees = [row for row in answer.knees if row.session_id == answer.told_id]
    printed = page.locator("#riders-knees tbody tr")
    expect(printed).to_have_count(len(knees))
    for place, knee in enumerate(knees):
        cells = printed.nth(place)
        for key in ("change", "found"):
            assert json.loads(cells.locator(f"[data-{key}]").get_attribute(f"data-{key}") or "") == getattr(knee, key)
        expect(cells).to_contain_text(number(knee.change, knee.unit))
    expect(page.locator("#riders-changes tbody tr")).to_have_count(len(change_numbers(answer.captures)))
    marks = page.locator("[data-chart=timeline-tilt-sway] .xy3 .textpoint, [data-chart=timeline-tilt-sway] .xy3 .point")
    expect(marks).not_to_have_count(0)


def test_a_fit_is_chosen_and_its_own_sentence_told_on_every_view(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?rider={SEVERAL}")
    first, second = timeline(served, SEVERAL).fits[:2]
    fits = page.get_by_role("navigation", name="Fits of this rider")
    fits.get_by_role("link", name=day(second.session_date)).click()
    expect(page).to_have_url(f"{served.address}riders?rider={SEVERAL}&fit={second.session_id}")
    expect(page.locator("#headline")).to_have_text(second.told)
    # The links of the views carry the fit once their own answer is there.
    watched.settled()
    page.get_by_role("link", name="Exam", exact=True).click()
    expect(page).to_have_url(f"{served.address}riders/exam?rider={SEVERAL}&fit={second.session_id}")
    expect(page.locator("#headline")).to_have_text(second.told)
    watched.settled()
    fits.get_by_role("link", name=day(first.session_date)).click()
    expect(page).to_have_url(f"{served.address}riders/exam?rider={SEVERAL}&fit={first.session_id}")
    expect(page.locator("#headline")).to_have_text(first.told)
    expect(page.locator("#riders-exams tbody tr")).to_have_count(2)
    watched.settled()
    page.get_by_role("link", name="Fit by fit").click()
    watched.settled()
    page.locator(f"tr[data-row={second.session_id}]").get_by_role("link").click()
    expect(page.locator("#headline")).to_have_text(second.told)
    page.get_by_role("link", name="All riders").click()
    expect(page.locator("#riders-list tbody tr")).to_have_count(20)


def test_a_view_of_one_rider_says_how_to_choose_one(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders/ratings-and-bicycle?studio=ropewalk")
    expect(page.locator("#riders-rated")).to_have_text(
        "This view tells of one rider: find a rider by the id, or choose one of all riders."
    )
    page.get_by_role("link", name="all riders", exact=True).click()
    expect(page).to_have_url(f"{served.address}riders/all?studio=ropewalk")


def test_a_fit_outside_of_the_selection_is_told(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?rider={SEVERAL}&fit=S99999")
    expect(page.locator("#riders-head")).to_contain_text(
        "Fit S99999 is not among the fits selected; another one of the rider is told."
    )


def test_a_note_is_text_and_nothing_else(served: Served, watched: Watched) -> None:
    [noted] = [fit for fit in timeline(served, NOTED).fits if fit.notes]
    page = watched.open(f"{served.address}riders/exam?rider={NOTED}&fit={noted.session_id}")
    expect(page.locator(".fit-notes")).to_have_text(noted.notes or "")
    expect(page.locator("main img")).to_have_count(0)


def test_an_unknown_rider_is_a_sentence_with_a_way_out(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?rider=R9999")
    expect(page.get_by_role("alert")).to_contain_text("No fit matches this selection (0 fits, rider R9999)")
    page.get_by_role("link", name="Show all fits").click()
    expect(page.locator("#headline")).to_have_text(listed(served).headline)


def test_the_noise_is_that_of_the_noise_question(served: Served) -> None:
    noise: Any = served.asker.ask("noise", Selection())
    assert timeline(served, SEVERAL).noise == noise.noise


def test_the_command_prints_what_the_page_prints(served: Served) -> None:
    words = ["show", "riders", "--json", "--warehouse", str(served.asker.path), "--rider", SEVERAL]
    said = CliRunner().invoke(app, words).stdout  # in this process, by the clock of the tests
    age = json.loads(orjson.dumps(served.asker.freshness().as_dict()))
    assert json.loads(said) == json.loads(timeline(served, SEVERAL).to_json()) | age


def test_every_list_of_the_rider_is_a_download(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders/fit-by-fit?rider={SEVERAL}")
    page.get_by_text("All fits of this rider as CSV").click()
    with page.expect_download() as started:
        page.get_by_role("link", name="Captures", exact=True).click()
    text = started.value.path().read_text(encoding="utf-8")
    assert text.splitlines() == timeline(served, SEVERAL).to_csv("captures").splitlines()


@pytest.mark.parametrize(
    "path", [f"riders{view}?rider={SEVERAL}" for view in ("", "/fit-by-fit", "/exam", "/ratings-and-bicycle")]
)
def test_axe_finds_nothing_and_the_console_is_silent(served: Served, watched: Watched, path: str) -> None:
    page = watched.open(f"{served.address}{path}")
    for shown, other in (("light", "Dark"), ("dark", "Light")):
        expect(page.locator("html")).to_have_attribute("data-theme", shown)
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 800})
            found = Axe().run(page)
            assert found.violations_count == 0, f"{shown}, {width} px: {found.generate_report()}"
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_role("button", name=other).click()
        watched.settled()
    assert {urlsplit(url).netloc for url in watched.requests if not re.match("data:|blob:", url)} == {
        urlsplit(served.address).netloc
    }
    assert watched.said == []
