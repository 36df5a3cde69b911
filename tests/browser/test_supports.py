"""The Supports page in the browser: narrowing by the grid, dose, disagreements; every figure is the answer's."""

import json
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from dashboard.figures.dose import DOSED, dose_name, finding, of_support
from dashboard.figures.effects import estimates_agree, estimates_differ, in_order
from dashboard.figures.names import MAIN_OUTCOMES, SUPPORTS
from dashboard.figures.theme import number
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import parse_selection
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser


def effects(served: Served, **words: str) -> Effects:
    answer = served.asker.ask("effects", parse_selection(words))
    assert isinstance(answer, Effects)
    return answer


def cell(row: Locator, key: str) -> Any:
    """The unrounded value that a row of a table carries under a key."""
    name = f"data-{key.replace('_', '-')}"
    return json.loads(row.locator(f"[{name}]").get_attribute(name) or "")


def expect_doses(page: Page, answer: Effects, outcome: str) -> None:
    for place, support in enumerate(DOSED):
        rows = of_support(answer.dose, outcome, support)
        title = page.locator(f"#supports-dose [data-chart={support}-dose] .chart-title")
        expect(title).to_have_text(finding(rows, outcome, support))
        printed = page.locator("#supports-dose .table").nth(place).locator("tbody tr")
        expect(printed).to_have_count(len(rows))
        for line, row in zip(printed.all(), rows, strict=True):
            expect(line.locator("th")).to_have_text(dose_name(row))
            for key in ("pooled", "within", "told_low", "told_high", "line", "n_changes"):
                assert cell(line, key) == getattr(row, key)


def expect_further(page: Page, answer: Effects) -> None:
    further = page.locator("#supports-further")
    for row in (*answer.off_neutral, *answer.responders):
        expect(further).to_contain_text(row.words)
    overall = [row for outcome in MAIN_OUTCOMES for row in in_order(answer.effects, outcome) if row.pooled is not None]
    apart = [row for row in overall if estimates_differ(row)]
    if apart:
        expect(further).to_contain_text(f"The two estimates disagree in {len(apart)} of {len(overall)} figures")
        first = further.locator(".table").first.locator("tbody tr").first
        expect(first).to_contain_text(SUPPORTS[apart[0].support])
        expect(first).to_contain_text(number(apart[0].within, apart[0].unit, effect=True))
    else:
        expect(further).to_contain_text(
            "estimates agree" if all(map(estimates_agree, overall)) else "No disagreement of the two"
        )


@pytest.mark.parametrize("words", [{}, {"visit_kind": "first"}, {"arch_height": "low", "forefoot": "mild_varus"}])
def test_what_stands_beside_the_effects_is_the_answers(served: Served, watched: Watched, words: dict[str, str]) -> None:
    query = "&".join(f"{word}={value}" for word, value in words.items())
    page = watched.open(f"{served.address}supports?{query}" if query else f"{served.address}supports")
    answer = effects(served, **words)
    expect(page.locator("#influence")).to_be_visible()
    expect_doses(page, answer, "tilt")
    expect_further(page, answer)
    assert watched.said == []


def test_a_row_of_the_grid_narrows_the_page_and_leads_back(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports?visit_kind=first")
    grid = page.locator("#supports-grid table")
    n_rows = grid.locator("tbody tr").count()
    grid.get_by_role("link", name="Only low arch, mild varus").focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}supports?visit_kind=first&arch_height=low&forefoot=mild_varus")
    narrowed = effects(served, visit_kind="first", arch_height="low", forefoot="mild_varus")
    expect(page.locator("#supports-head #headline")).to_have_text(narrowed.headline)
    expect(grid.locator("tbody tr")).to_have_count(n_rows)
    expect(grid.locator("tr.is-shown")).to_have_count(1)
    expect(grid.get_by_role("link", name="low arch, mild varus shown")).to_be_focused()
    page.get_by_role("link", name="Show every foot type again").click()
    expect(page).to_have_url(f"{served.address}supports?visit_kind=first")
    expect(page.locator("#supports-head #headline")).to_have_text(effects(served, visit_kind="first").headline)


def test_a_split_that_is_no_word_of_a_selection_says_so(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports?split=heel_posture")
    grid = page.locator("#supports-grid")
    expect(grid).to_contain_text("The page cannot be narrowed to one heel posture")
    expect(grid.locator("tbody a")).to_have_count(0)


def test_the_grid_of_another_outcome_is_a_link_away(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports?split=side")
    page.get_by_role("navigation", name="What the grid shows").get_by_role("link", name="Offset").click()
    expect(page).to_have_url(f"{served.address}supports?split=side&outcome=offset")
    expect(page.locator("#supports-grid caption").first).to_have_text("Offset by side")
    answer = effects(served, split="side")
    for row in answer.effects:
        if row.split == "side" and row.outcome == "offset":
            shown = page.locator(f"#supports-grid tr[data-row={row.level}] td[data-support='\"{row.support}\"']")
            assert json.loads(shown.get_attribute("data-pooled") or "") == row.pooled
    expect_doses(page, answer, "offset")


@pytest.mark.parametrize("shown", ["light", "dark"])
def test_axe_finds_nothing_with_everything_open(served: Served, watched: Watched, shown: str) -> None:
    page = watched.open(f"{served.address}supports?arch_height=low&forefoot=mild_varus")
    if shown == "dark":
        page.get_by_role("button", name="Dark").click()
        watched.settled()
    expect(page.locator("#influence")).to_be_visible()
    for summary in page.locator("main summary").all():
        summary.click()
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(page)
        assert found.violations_count == 0, f"{shown}, {width} px: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_an_empty_selection_is_one_sentence(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports?from=1999-01-01&to=1999-01-02")
    expect(page.get_by_role("alert")).to_have_count(1)
    expect(page.locator(".section-title")).to_have_count(0)
