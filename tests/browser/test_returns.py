"""The Returns page of the served demo: its figures are those of the asker, whatever is selected, at any width."""

import json
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from dashboard.figures import returns, returns_curve
from dashboard.figures.theme import day, interval, number
from dashboard.pages.returns.calls import SHOWN
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.riders.answers_riders import RiderTimeline
from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.studio.answers_ratings import Ratings
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser

SELECTIONS: list[dict[str, str]] = [{}, {"studio": "quayside", "from": "2025-01-01"}]


def told(where: Locator, key: str) -> Any:
    """The unrounded value that a row carries under a key."""
    name = f"data-{key.replace('_', '-')}"
    return json.loads(where.locator(f"[{name}]").first.get_attribute(name) or "")


def asked(served: Served, words: dict[str, str]) -> Returns:
    answer = served.asker.ask("returns", parse_selection(words))
    assert isinstance(answer, Returns)
    return answer


def calls(served: Served, words: dict[str, str]) -> Calls:
    answer = served.asker.ask("calls", parse_selection(words))
    assert isinstance(answer, Calls)
    return answer


def address(served: Served, words: dict[str, str], view: str = "") -> str:
    return f"{served.address}returns{view}?{'&'.join(f'{word}={value}' for word, value in words.items())}"


@pytest.mark.parametrize("words", SELECTIONS)
def test_the_answer_prints_what_became_of_the_fits(served: Served, watched: Watched, words: dict[str, str]) -> None:
    page = watched.open(address(served, words))
    answer = asked(served, words)
    expect(page.locator("#headline")).to_have_text(answer.headline)
    expect(page.locator("[data-chart=held] .chart-title")).to_have_text(returns.held_finding(answer.held))
    page.locator("[data-chart=held] summary").click()
    for row in answer.held:
        printed = page.locator(f"[data-chart=held] tr[data-row={row.became}]")
        assert [told(printed, key) for key in ("n", "share", "low", "bounds_high")] == [
            row.n,
            row.share,
            row.low,
            row.bounds_high,
        ]
    curves = returns_curve.curves_of(answer.curve, answer.at_risk, served.asker.settings.minimum.rows_shown)
    expect(page.locator("[data-chart=curve] .chart-title")).to_have_text(returns_curve.finding(curves, 42))
    steps = page.locator(".next-steps")
    expect(steps.get_by_role("link", name=f"{len(calls(served, words).calls)} calls today")).to_be_visible()
    expect(steps).to_contain_text(f"{answer.held[1].n} fits did not hold")


def test_whom_to_call_is_two_steps_from_the_first_page_and_leads_to_the_rider(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}))
    answer = calls(served, {})
    page.locator(".next-steps").get_by_role("link", name="calls today").click()
    expect(page).to_have_url(f"{served.address}returns/calls")
    watched.settled()
    expect(page.locator("#returns-calls h2").first).to_have_text(answer.headline)
    rows = page.locator("#returns-call-list tbody tr")
    # So many at a time; the way to the others stands below.
    expect(rows).to_have_count(SHOWN)
    expect(page.get_by_role("link", name="next calls →")).to_be_visible()
    for place, row in enumerate(answer.calls[:SHOWN]):
        assert told(rows.nth(place), "days_over") == row.days_over
        expect(rows.nth(place)).to_contain_text(row.rider_id)
        expect(rows.nth(place)).to_contain_text(day(row.due_on) if row.due_on else "no follow-up booked")
    page.locator("#returns-calls summary").first.click()
    for state in answer.states:
        assert told(page.locator(f"#returns-states tr[data-row={state.state}]"), "n_fits") == state.n_fits
    first = answer.calls[0]
    rows.first.get_by_role("link").click()
    expect(page).to_have_url(f"{served.address}riders?rider={first.rider_id}&fit={first.session_id}")
    timeline = served.asker.ask("riders", parse_selection({"rider": first.rider_id}))
    assert isinstance(timeline, RiderTimeline)
    told_fit = next(fit for fit in timeline.fits if fit.session_id == first.session_id)
    expect(page.locator("#headline")).to_have_text(told_fit.told)


def test_a_call_is_marked_with_one_tap_and_by_the_keyboard_and_can_be_taken_back(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}, "/calls"))
    first = calls(served, {}).calls[0]
    bar = page.get_by_role("toolbar", name=f"Mark the call to {first.rider_id}")
    for button in bar.get_by_role("button").all():
        box = button.bounding_box()
        assert box and box["height"] >= 44 and box["width"] >= 44
    bar.get_by_role("button", name="Called").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    bar.get_by_label("Booked for").fill("2026-09-07")
    bar.get_by_role("button", name="Keep").click()
    expect(bar.get_by_role("status")).to_have_text("Booked for 7 Sep 2026. ")
    assert [row.session_id for row in calls(served, {}).marked] == [first.session_id]
    since = page.locator(".marked-since")
    expect(since).to_contain_text("1 call marked since this was counted.")
    page.get_by_role("button", name="Take back").click()
    expect(since).to_be_empty()
    expect(bar.get_by_role("status")).to_contain_text("Back on the list")
    assert calls(served, {}).marked == () and calls(served, {}).calls[0].session_id == first.session_id


@pytest.mark.parametrize("words", [{"split": "arch_height"}, {"studio": "quayside", "split": "riding", "from": "2025-01-01"}])
def test_groups_stand_beside_each_other(served: Served, watched: Watched, words: dict[str, str]) -> None:
    page = watched.open(address(served, words, "/by-group"))
    answer = asked(served, words)
    for figure in answer.figures:
        if figure.figure in ("booked", "return_rate", "held"):
            row = page.locator(f'#returns-by-group tr[data-row="{figure.level}"]').first
            name = {"return_rate": "returned"}.get(figure.figure, figure.figure)
            cell = row.locator(f"[data-{name}]")
            ends = [json.loads(cell.get_attribute(f"data-{name}{end}") or "") for end in ("", "-low", "-high")]
            assert ends == [figure.estimate, figure.low, figure.high]
            text = number(figure.estimate, "share") if figure.estimate is not None else "not enough yet"
            expect(cell).to_contain_text(text)
            if figure.estimate is not None:
                expect(cell).to_contain_text(interval(figure.low, figure.high, "share"))
    for compared in answer.comparisons:
        expect(page.locator(".compared")).to_have_text(compared.words)


def test_without_a_split_the_view_offers_some(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {"studio": "quayside"}, "/by-group"))
    expect(page.locator("#returns-by-group tbody tr")).to_have_count(1)
    page.get_by_role("link", name="By arch height").click()
    expect(page).to_have_url(f"{served.address}returns/by-group?studio=quayside&split=arch_height")
    expect(page.locator("[data-chart=curve-by-group]")).to_be_visible()
    # The answer tells all fits together, whatever another view is split by.
    page.get_by_role("navigation", name="Views of Returns").get_by_role("link", name="Answer").click()
    watched.settled()
    expect(page.locator("#headline")).to_have_text(asked(served, {"studio": "quayside"}).headline)


def test_the_numbers_behind_the_pictures_are_the_answer(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}, "/what-lasted"))
    answer = asked(served, {})
    expect(page.locator("[data-chart=lasting] .chart-title")).to_have_text(returns.lasting_finding(answer.lasting))
    for row in answer.lasting:
        printed = page.locator(f"#returns-lasting tr[data-row={row.outcome}]")
        assert [told(printed, key) for key in ("held", "worst", "best", "n_seen")] == [
            row.held,
            row.worst,
            row.best,
            row.n_seen,
        ]
    watched.open(address(served, {}, "/said"))
    for said in answer.said:
        printed = page.locator(f"#returns-points tr[data-row={said.topic}]")
        assert [told(printed, "median_points"), told(printed, "n")] == [said.median_points, said.n]
    ratings = served.asker.ask("ratings", parse_selection({}))
    assert isinstance(ratings, Ratings)
    for rating in ratings.ratings:
        if (rating.from_moment, rating.to_moment) == ("departure", "follow_up"):
            printed = page.locator(f"#returns-felt tr[data-row={rating.topic}]")
            assert [told(printed, key) for key in ("median_from", "median_to", "share_worse", "n_pairs")] == [
                rating.median_from, rating.median_to, rating.share_worse, rating.n_pairs
            ]  # fmt: skip


@pytest.mark.parametrize(("view", "chart", "every"), [("", "curve", 2), ("/by-group", "curve-by-group", 1)])
def test_numbers_still_counted_stand_below_their_days(
    served: Served, watched: Watched, view: str, chart: str, every: int
) -> None:
    page = watched.open(address(served, {"split": "riding"}, view))
    drawn = page.locator(f"[data-chart={chart}]")
    ticks = {text: box["x"] + box["width"] / 2 for text, box in boxes(drawn.locator(".xaxislayer-above text"))}
    printed = {text: box["x"] + box["width"] / 2 for text, box in boxes(drawn.locator(".annotation-text-g text"))}
    for row in asked(served, {}).at_risk[::every]:
        assert abs(printed[f"{row.n_at_risk}"] - ticks[f"{row.days}"]) < 2


def boxes(texts: Locator) -> list[tuple[str, Any]]:
    return [(text.text_content() or "", text.bounding_box()) for text in texts.all()]


def test_older_anchors_lead_on_to_their_views(served: Served, watched: Watched) -> None:
    for anchor, view in (("returns-lasting", "what-lasted"), ("returns-points", "said")):
        page = watched.open(f"{served.address}returns#{anchor}")
        expect(page).to_have_url(f"{served.address}returns/{view}")


def test_an_empty_selection_is_a_sentence_with_a_way_out(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {"from": "1999-01-01", "to": "1999-01-02"}))
    expect(page.get_by_role("alert")).to_contain_text("No fit matches this selection")
    expect(page.locator(".js-plotly-plot")).to_have_count(0)
    page.get_by_role("link", name="Show all fits").click()
    expect(page).to_have_url(f"{served.address}returns")


def test_few_fits_get_counts_and_words(served: Served, watched: Watched) -> None:
    words = {"from": "2024-03-04", "to": "2024-03-06"}
    answer = asked(served, words)
    assert not answer.curve, "choose fewer days"
    page = watched.open(address(served, words))
    expect(page.locator("#headline")).to_have_text(answer.headline)
    assert "not enough yet" in answer.headline
    expect(page.locator("[data-chart=curve] .chart-title")).to_have_text("Riders coming back: not enough yet")
    expect(page.locator("[data-chart=held] .chart-title")).to_have_text("What became of the fits: not enough yet")


def cut_off(page: Page) -> list[str]:
    found: list[str] = page.evaluate(
        """() => [...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => {
            const frame = plot.querySelector('.main-svg').getBoundingClientRect();
            return [...plot.querySelectorAll('.main-svg text')].filter(text => {
                const box = text.getBoundingClientRect();
                return box.width && (box.left < frame.left - 1 || box.right > frame.right + 1
                    || box.top < frame.top - 1 || box.bottom > frame.bottom + 1);
            }).map(text => text.textContent);
        })"""
    )
    return found


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("view", ["", "/by-group"])
def test_no_name_is_cut_off(served: Served, watched: Watched, width: int, view: str) -> None:
    watched.page.set_viewport_size({"width": width, "height": 844})
    page = watched.open(address(served, {"split": "foot_type"}, view))
    assert cut_off(page) == []
