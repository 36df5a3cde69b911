"""The Returns page of the served demo: its figures are those of the asker, whatever is selected, at any width."""

import json
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from dashboard.figures import returns, returns_curve
from dashboard.figures.theme import day, interval, number
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.studio.answers_ratings import Ratings
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser

SELECTIONS: list[dict[str, str]] = [
    {},
    {"split": "arch_height"},
    {"studio": "quayside", "split": "riding", "from": "2025-01-01"},
]


def told(where: Locator, key: str) -> Any:
    """The unrounded value that a row carries under a key."""
    name = f"data-{key.replace('_', '-')}"
    return json.loads(where.locator(f"[{name}]").first.get_attribute(name) or "")


def asked(served: Served, words: dict[str, str]) -> Returns:
    answer = served.asker.ask("returns", parse_selection(words))
    assert isinstance(answer, Returns)
    return answer


def address(served: Served, words: dict[str, str]) -> str:
    return f"{served.address}returns?{'&'.join(f'{word}={value}' for word, value in words.items())}"


def expect_answer(page: Page, answer: Returns, fewest: int) -> None:
    """Headline, cards, each group's rates, the curve's title, the comparison, what is overdue, what lasted."""
    expect(page.locator("#headline")).to_have_text(answer.headline)
    for figure in answer.figures:
        if figure.level is None and figure.figure in ("booked_same_day", "booked", "return_rate"):
            shown = page.locator(f"[data-figure={figure.figure}]")
            assert json.loads(shown.get_attribute("data-value") or "") == figure.estimate
            expect(shown).to_have_text(number(figure.estimate, "share"))
        if figure.figure in ("booked", "return_rate"):
            row = page.locator(f'tr[data-row="{figure.level}"]').first
            name = {"booked": "booked", "return_rate": "returned"}[figure.figure]
            assert [told(row, f"{name}{end}") for end in ("", "_low", "_high")] == [figure.estimate, figure.low, figure.high]
            assert told(row, {"booked": "n_asked", "return_rate": "n_closed"}[figure.figure]) == figure.n
            expect(row).to_contain_text(interval(figure.low, figure.high, "share"))
    curves = returns_curve.curves_of(answer.curve, answer.at_risk, fewest)
    expect(page.locator("[data-chart=curve] .chart-title")).to_have_text(returns_curve.finding(curves, 42))
    for compared in answer.comparisons:
        expect(page.locator(".compared")).to_have_text(compared.words)
    for row in answer.overdue[:20]:
        printed = page.locator(f"tr[data-row={row.follow_up_id}]")
        assert told(printed, "days_over") == row.days_over
        expect(printed).to_contain_text(day(row.due_on))
    expect(page.locator("[data-chart=lasting] .chart-title")).to_have_text(returns.lasting_finding(answer.lasting))
    assert answer.as_of is not None
    expect(page.locator("#returns-head")).to_contain_text(f"The data end on {day(answer.as_of)}.")


@pytest.mark.parametrize("words", SELECTIONS)
def test_the_page_prints_the_answer(served: Served, watched: Watched, words: dict[str, str]) -> None:
    page = watched.open(address(served, words))
    expect_answer(page, asked(served, words), served.asker.settings.minimum.rows_shown)
    expect(page.locator("#returns-head .js-plotly-plot")).to_have_count(4)


def test_the_numbers_behind_the_pictures_are_the_answer(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}))
    answer = asked(served, {})
    for row in answer.lasting:
        printed = page.locator(f"#returns-lasting tr[data-row={row.outcome}]")
        assert [told(printed, key) for key in ("held", "worst", "best", "n_seen")] == [
            row.held,
            row.worst,
            row.best,
            row.n_seen,
        ]
    for said in answer.said:
        printed = page.locator(f"#returns-points tr[data-row={said.topic}]")
        assert [told(printed, "median_points"), told(printed, "n")] == [said.median_points, said.n]
    ratings = served.asker.ask("ratings", parse_selection({}))
    assert isinstance(ratings, Ratings)
    for rating in ratings.ratings:
        if (rating.from_moment, rating.to_moment) == ("departure", "follow_up"):
            printed = page.locator(f"tr[data-row={rating.topic}]")
            assert [told(printed, key) for key in ("median_from", "median_to", "share_worse", "n_pairs")] == [
                rating.median_from, rating.median_to, rating.share_worse, rating.n_pairs
            ]  # fmt: skip


def test_numbers_at_risk_stand_below_their_days(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}))
    chart = page.locator("[data-chart=curve]")
    ticks = {text: box["x"] + box["width"] / 2 for text, box in boxes(chart.locator(".xaxislayer-above text"))}
    printed = {text: box["x"] + box["width"] / 2 for text, box in boxes(chart.locator(".annotation-text-g text"))}
    for row in asked(served, {}).at_risk:
        assert abs(printed[f"{row.n_at_risk}"] - ticks[f"{row.days}"]) < 2


def boxes(texts: Locator) -> list[tuple[str, Any]]:
    return [(text.text_content() or "", text.bounding_box()) for text in texts.all()]


def test_overdue_bookings_come_whole_as_csv(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}))
    with page.expect_download() as started:
        page.locator(".short-list").get_by_role("link", name="These numbers as CSV").click()
    text = started.value.path().read_text(encoding="utf-8")
    assert len(text.splitlines()) == 1 + len(asked(served, {}).overdue)


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
    expect(page.locator("[data-chart=curve] .chart-title")).to_have_text("Riders coming back: not enough yet")
    expect(page.locator(".rates .estimate-missing")).to_have_count(3)


def test_at_phone_width_no_name_is_cut_off(served: Served, watched: Watched) -> None:
    page = watched.page
    page.set_viewport_size({"width": 390, "height": 844})
    watched.open(address(served, {"split": "foot_type"}))
    found = page.evaluate(
        """() => [...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => {
            const frame = plot.querySelector('.main-svg').getBoundingClientRect();
            return [...plot.querySelectorAll('.main-svg text')].filter(text => {
                const box = text.getBoundingClientRect();
                return box.width && (box.left < frame.left - 1 || box.right > frame.right + 1
                    || box.top < frame.top - 1 || box.bottom > frame.bottom + 1);
            }).map(text => text.textContent);
        })"""
    )
    assert found == []
