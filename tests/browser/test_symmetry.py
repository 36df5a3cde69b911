"""The Symmetry page of the served demo: its figures are those of the asker, whatever is selected, at any width."""

import json
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from dashboard.figures import symmetry_flow, symmetry_panels, symmetry_sides
from dashboard.figures.theme import interval, number
from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry
from dashboard.questions.symmetry.answers_sides import Sides
from dashboard.questions.symmetry.asymmetry_rows import headline_of
from shared.statistics.told import direction
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser

SELECTIONS: list[dict[str, str]] = [
    {},
    {"split": "arch_height", "visit_kind": "first"},
    {"studio": "quayside", "split": "riding"},
]


def told(where: Locator, key: str) -> Any:
    """The unrounded value that a row carries under a key."""
    name = f"data-{key.replace('_', '-')}"
    return json.loads(where.locator(f"[{name}]").first.get_attribute(name) or "")


def asked(served: Served, words: dict[str, str]) -> Asymmetry:
    answer = served.asker.ask("asymmetry", parse_selection({"split": "foot_type", **words}))
    assert isinstance(answer, Asymmetry)
    return answer


def sides(served: Served, words: dict[str, str]) -> Sides:
    answer = served.asker.ask("sides", parse_selection({word: value for word, value in words.items() if word != "split"}))
    assert isinstance(answer, Sides)
    return answer


def address(served: Served, words: dict[str, str], outcome: str = "", view: str = "") -> str:
    query = "&".join(f"{word}={value}" for word, value in {**words, **({"outcome": outcome} if outcome else {})}.items())
    return f"{served.address}symmetry{f'/{view}' if view else ''}{f'?{query}' if query else ''}"


def expect_answer(page: Page, answer: Asymmetry, quantity: str) -> None:
    """Headline, and each drawn level's shares with their ends."""
    whole = next(row for row in answer.prevalence if row.quantity == quantity and row.level is None)
    change = next(row for row in answer.change if row.finding.endswith(quantity) and row.level is None)
    expect(page.locator("#headline")).to_have_text(answer.headline if quantity == "tilt" else headline_of(whole, change))
    found = symmetry_panels.panels(answer.prevalence, quantity)
    titles = page.locator("[data-chart^=prevalence] .chart-title")
    expect(titles).to_have_text([symmetry_panels.panel_finding(panel) for panel in found])
    for summary in page.locator("[data-chart^=prevalence] summary").all():
        summary.click()
    for row in (row for panel in found for _, moments in panel.levels for row in moments.values()):
        printed = page.locator(f'[data-chart^=prevalence] tr[data-row="{row.level}"]')
        assert told(printed, f"share_{row.moment}") == row.share
        assert [told(printed, f"{end}_{row.moment}") for end in ("low", "high")] == [row.low, row.high]
        assert told(printed, f"n_riders_{row.moment}") == row.n_riders
        expect(printed).to_contain_text("not enough yet" if row.share is None else number(row.share, "share"))
        expect(printed).to_contain_text(interval(row.low, row.high, "share"))


@pytest.mark.parametrize("words", SELECTIONS)
def test_the_page_prints_the_answer(served: Served, watched: Watched, words: dict[str, str]) -> None:
    page = watched.open(address(served, words))
    expect_answer(page, asked(served, words), "tilt")
    expect(page.locator("main .js-plotly-plot")).to_have_count(3 if "split" not in words else 1)


def test_what_became_of_it_and_the_patterns_are_those_of_the_answer(served: Served, watched: Watched) -> None:
    words = {"studio": "quayside", "split": "riding"}
    answer = asked(served, words)
    page = watched.open(address(served, words, view="what-became-of-it"))
    change = next(row for row in answer.change if row.finding.endswith("tilt") and row.level is None)
    expect(page.locator("[data-chart=flow] .chart-title")).to_have_text(symmetry_flow.finding(change))
    page.locator("[data-chart=flow] .chart-drawing").focus()
    page.keyboard.press("t")
    for row in (row for row in answer.change if row.finding == change.finding):
        printed = page.locator(f'#symmetry-changes-table tr[data-row="{row.level}"]')
        assert [told(printed, name) for name in ("n_resolved", "n_new", "difference")] == [
            row.n_resolved,
            row.n_new,
            row.difference,
        ]
        may_say = {-1: "fewer", 1: "more", 0: "no clear change"}[direction(row.low, row.high, row.q_value)]
        expect(printed).to_contain_text(may_say if row.difference is not None else "not enough yet")
    page.get_by_role("link", name="Patterns").click()
    expect(page).to_have_url(address(served, words, view="patterns"))
    for flow in answer.flow:
        cell = page.locator(f"[data-flow={flow.arrival_pattern}-{flow.departure_pattern}]")
        expect(cell).to_have_attribute("data-n-riders", str(flow.n_riders))


@pytest.mark.parametrize("view", ["", "what-became-of-it"])
def test_another_quantity_is_a_link_and_keeps_the_selection_and_the_view(served: Served, watched: Watched, view: str) -> None:
    words = {"visit_kind": "first"}
    page = watched.open(address(served, words, view=view))
    page.get_by_role("navigation", name="Quantity").get_by_role("link", name="Offset", exact=True).click()
    expect(page).to_have_url(address(served, words, "offset", view))
    expect(page.get_by_role("link", name="Offset (shown)")).to_be_visible()
    watched.settled()
    if not view:
        expect_answer(page, asked(served, words), "offset")


def test_every_rider_is_in_the_scatter(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {}, view="left-against-right"))
    answer = sides(served, {})
    for moment in ("arrival", "departure"):
        chart = page.locator(f"[data-chart=sides-{moment}]")
        expect(chart.locator(".chart-title")).to_have_text(symmetry_sides.finding(answer.sides, "tilt", moment))
        rows = [row for row in answer.sides if (row.quantity, row.moment) == ("tilt", moment)]
        expect(chart.locator(".scatterlayer .point")).to_have_count(len(rows))
        chart.locator(".chart-drawing").focus()
        page.keyboard.press("t")
        expect(page.locator("#symmetry-sides-table")).to_be_focused()
        told = page.locator(f"#symmetry-sides-table [data-{moment}]").evaluate_all(
            f"cells => cells.map(cell => Number(cell.getAttribute('data-{moment}')))"
        )
        assert len(told) == 3 and sum(told) == sum(row.n_riders for row in rows)
        assert sum(told[:2]) == sum(row.n_riders for row in rows if row.is_beyond)


def test_older_anchors_lead_on(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}symmetry?visit_kind=first#symmetry-limits")
    expect(page).to_have_url(address(served, {"visit_kind": "first"}, view="how-much-hangs-on-the-limit"))
    expect(page.locator("[data-chart=curve]")).to_be_visible()


def test_an_empty_selection_and_an_unknown_quantity_are_told(served: Served, watched: Watched) -> None:
    page = watched.open(address(served, {"from": "1999-01-01", "to": "1999-01-02"}))
    expect(page.get_by_role("alert")).to_contain_text("No fit matches this selection")
    expect(page.locator(".js-plotly-plot")).to_have_count(0)
    page.get_by_role("link", name="Show all fits").click()
    expect(page).to_have_url(f"{served.address}symmetry")
    page = watched.open(address(served, {}, "sway"))
    expect(page.get_by_role("alert")).to_contain_text("outcome: found 'sway', expected one of tilt, offset")


def test_few_riders_get_counts_and_words(served: Served, watched: Watched) -> None:
    words = {"from": "2024-03-04", "to": "2024-03-08"}
    answer = asked(served, words)
    assert answer.prevalence[0].share is None, "choose fewer days"
    page = watched.open(address(served, words))
    expect(page.locator("#headline")).to_contain_text("Not enough yet")
    expect_answer(page, answer, "tilt")


def test_at_phone_width_no_name_is_cut_off(served: Served, watched: Watched) -> None:
    page = watched.page
    page.set_viewport_size({"width": 390, "height": 844})
    watched.open(address(served, {}))
    assert cut_off(page) == []


def cut_off(page: Page) -> list[str]:
    """Texts of charts that reach beyond their own drawing."""
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
