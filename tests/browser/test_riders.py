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
from dashboard.figures.theme import number
from dashboard.figures.timeline import change_numbers
from dashboard.questions.riders.answers_riders import Riders, RiderTimeline
from dashboard.questions.riders.riders_timeline import headline_of
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
    page = watched.open(f"{served.address}riders?{parse_selection(words).query()}")
    answer = listed(served, **words)
    expect(page.locator("#headline")).to_have_text(answer.headline)
    expect(page.locator("#riders-head tbody tr")).to_have_count(25)
    for row in answer.riders[:25]:
        keys = ("n-fits", "tilt-left-deg", "tilt-right-deg", "side-difference-deg")
        told = [row.n_fits, row.tilt_left_deg, row.tilt_right_deg, row.side_difference_deg]
        assert values(page, row.rider_id, *keys) == told
        expect(page.locator(f'tr[data-row="{row.rider_id}"]')).to_contain_text(row.words)


def test_what_deserves_a_look_is_chosen_by_a_link_and_the_list_turns_its_pages(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders")
    chosen = [row.rider_id for row in listed(served).riders if "side_difference" in row.look]
    page.get_by_role("navigation", name="What deserves a look").get_by_role("link", name="side difference remains").click()
    expect(page).to_have_url(f"{served.address}riders?look=side_difference")
    expect(page.locator("#riders-head tbody th").first).to_have_text(chosen[0])
    page.get_by_role("link", name="further riders").click()
    expect(page).to_have_url(f"{served.address}riders?look=side_difference&start=25")
    expect(page.locator("#riders-head tbody th").first).to_have_text(chosen[25])


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
    page = watched.open(f"{served.address}riders?{parse_selection({'rider': rider, **words}).query()}")
    answer = timeline(served, rider, **words)
    expect(page.locator("#headline")).to_have_text(answer.headline)
    expect(page.locator("#selected")).to_contain_text(f"rider {rider}")
    last = answer.fits[-1]
    for fit in answer.fits:
        expect(page.locator(f"tr[data-row={fit.session_id}]")).to_contain_text(fit.words[1:])
    knees = [row for row in answer.knees if row.session_id == last.session_id]
    printed = page.locator("table", has=page.get_by_text("From the first capture to the last")).locator("tbody tr")
    expect(printed).to_have_count(len(knees))
    for place, knee in enumerate(knees):
        cells = printed.nth(place)
        assert json.loads(cells.locator("[data-change]").get_attribute("data-change") or "") == knee.change
        expect(cells).to_contain_text(number(knee.change, knee.unit))
    changes = page.locator(".changes tbody tr")
    expect(changes).to_have_count(len(change_numbers(answer.captures)))
    marks = page.locator("[data-chart=timeline] .xy3 .textpoint, [data-chart=timeline] .xy3 .point")
    expect(marks).not_to_have_count(0)


def test_a_fit_is_chosen_in_the_table_and_turned_to_the_one_before(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?rider={SEVERAL}")
    first, second = timeline(served, SEVERAL).fits[:2]
    page.locator(f"tr[data-row={second.session_id}]").get_by_role("link").click()
    expect(page).to_have_url(f"{served.address}riders?rider={SEVERAL}&fit={second.session_id}")
    expect(page.locator("#headline")).to_have_text(headline_of(second))
    page.get_by_role("link", name="fit before").click()
    expect(page.locator("#headline")).to_have_text(headline_of(first))
    expect(page.get_by_role("link", name="fit before")).to_have_count(0)
    page.get_by_role("link", name="All riders").click()
    expect(page.locator("#headline")).to_have_text(listed(served).headline)


def test_a_fit_outside_of_the_selection_is_told(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?rider={SEVERAL}&fit=S99999")
    expect(page.locator("#riders-head")).to_contain_text("Fit S99999 is not among the fits selected; the last one is told.")


def test_a_note_is_text_and_nothing_else(served: Served, watched: Watched) -> None:
    [noted] = [fit for fit in timeline(served, NOTED).fits if fit.notes]
    page = watched.open(f"{served.address}riders?rider={NOTED}&fit={noted.session_id}")
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
    page = watched.open(f"{served.address}riders?rider={SEVERAL}")
    with page.expect_download() as started:
        page.get_by_role("link", name="Captures", exact=True).click()
    text = started.value.path().read_text(encoding="utf-8")
    assert text.splitlines() == timeline(served, SEVERAL).to_csv("captures").splitlines()


@pytest.mark.parametrize("path", ["riders", f"riders?rider={SEVERAL}"])
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
