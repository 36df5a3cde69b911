"""The views of Supports in the browser: older addresses, narrowing, dose, both estimates, all as the answer has them."""

import json
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from dashboard.figures.dose import DOSED, dose_name, finding, of_support
from dashboard.figures.effects import estimates_differ
from dashboard.pages.supports.callbacks import PAGE
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.effects.nearer import rows_by_arrival
from dashboard.questions.selection.selection import parse_selection
from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser
TRUST = "supports/how-far-to-trust-it"


def effects(served: Served, **words: str) -> Effects:
    answer = served.asker.ask("effects", parse_selection(words))
    assert isinstance(answer, Effects)
    return answer


def cell(row: Locator, key: str) -> Any:
    """The unrounded value that a row of a table carries under a key."""
    name = f"data-{key.replace('_', '-')}"
    return json.loads(row.locator(f"[{name}]").get_attribute(name) or "")


def unfolded(page: Page) -> None:
    for summary in page.locator("main summary").all():
        summary.click()


@pytest.mark.parametrize("words", [{}, {"visit_kind": "first"}, {"arch_height": "low", "forefoot": "mild_varus"}])
def test_doses_are_the_answers(served: Served, watched: Watched, words: dict[str, str]) -> None:
    query = "&".join(f"{word}={value}" for word, value in words.items())
    page = watched.open(f"{served.address}supports/by-dose?{query}")
    answer = effects(served, **words)
    for support in DOSED:
        rows = of_support(answer.dose, "tilt", support)
        panel = page.locator(f"[data-chart={support}-dose]")
        expect(panel.locator(".chart-title")).to_have_text(finding(rows, "tilt", support))
        printed = panel.locator("tbody tr")
        expect(printed).to_have_count(len(rows))
        for line, row in zip(printed.all(), rows, strict=True):
            expect(line.locator("th")).to_have_text(dose_name(row))
            for key in ("pooled", "within", "told_low", "told_high", "line", "n_changes"):
                assert cell(line, key) == getattr(row, key)
    assert watched.said == []


@pytest.mark.parametrize("words", [{}, {"visit_kind": "first"}])
def test_how_far_to_trust_it_is_the_answers(served: Served, watched: Watched, words: dict[str, str]) -> None:
    query = "&".join(f"{word}={value}" for word, value in words.items())
    page = watched.open(f"{served.address}{TRUST}?{query}")
    answer = effects(served, **words)
    for row in (*answer.off_neutral, *answer.responders):
        expect(page.locator("#supports-chance")).to_contain_text(row.words)
    told = [row for row in rows_by_arrival(answer.effects) if row.told_low is not None]
    apart = [row for row in told if estimates_differ(row)]
    assert apart
    title = page.locator("[data-chart=both-off_neutral] .chart-title")
    expect(title).to_have_text(f"Distance from neutral: the two estimates disagree in {len(apart)} of {len(told)} figures")
    expect(page.locator("#supports-influence .method")).to_have_count(1)
    assert watched.said == []


def test_the_next_step_counts_what_its_view_shows(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports?visit_kind=first")
    step = page.locator(".next-steps a").last
    count = (step.locator("strong").text_content() or "").strip()
    step.click()
    expect(page).to_have_url(f"{served.address}{TRUST}?visit_kind=first")
    expect(page.locator("[data-chart=both-off_neutral] .chart-title")).to_contain_text(f"disagree in {count} of")


@pytest.mark.parametrize(
    ("old", "view"), [("supports?outcome=sway&side=left", "what-moved-it"), ("supports#supports-grid", "for-whom")]
)
def test_older_addresses_lead_on(served: Served, watched: Watched, old: str, view: str) -> None:
    page = watched.open(f"{served.address}{old}")
    page.wait_for_url(f"**/supports/{view}*")
    expect(page.locator("#view-tabs [aria-current=page]")).to_have_text(
        next(one.name for one in PAGE.views if one.path == view)
    )


def test_a_row_of_the_grid_narrows_the_answer_and_the_view_leads_back(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/for-whom?visit_kind=first")
    page.locator("#supports-for-whom .chart-more summary").click()
    n_rows = page.locator("#supports-for-whom tbody tr").count()
    page.get_by_role("link", name="Only low arch, mild varus").focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.address}supports?visit_kind=first&arch_height=low&forefoot=mild_varus")
    narrowed = effects(served, visit_kind="first", arch_height="low", forefoot="mild_varus")
    expect(page.locator("#supports-head #headline")).to_have_text(narrowed.headline)
    page.get_by_role("link", name="For whom").click()
    expect(page.get_by_role("link", name="Show every foot type again")).to_be_visible()
    watched.settled()
    assert page.locator("#supports-for-whom tbody tr").count() == n_rows
    expect(page.locator("#supports-for-whom tbody .is-chosen")).to_have_count(1)
    page.get_by_role("link", name="Show every foot type again").click()
    expect(page).to_have_url(f"{served.address}supports/for-whom?visit_kind=first&outcome=tilt")


def test_a_split_that_is_no_word_of_a_selection_says_so(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/for-whom?split=heel_posture")
    expect(page.locator("#supports-for-whom")).to_contain_text("The page cannot be narrowed to one heel posture")
    expect(page.locator("#supports-for-whom tbody a")).to_have_count(0)


def test_the_grid_of_another_outcome_is_a_link_away(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports/for-whom?split=side")
    page.get_by_role("navigation", name="Outcome").get_by_role("link", name="Offset").click()
    expect(page).to_have_url(f"{served.address}supports/for-whom?split=side&outcome=offset")
    expect(page.locator("#supports-for-whom caption").first).to_have_text("Offset by side")
    answer = effects(served, split="side")
    for row in answer.effects:
        if row.split == "side" and row.outcome == "offset":
            shown = page.locator(f"#supports-for-whom tr[data-row={row.level}] [data-support={row.support}]")
            assert json.loads(shown.get_attribute("data-pooled") or "") == row.pooled


@pytest.mark.parametrize("view", [view.path for view in PAGE.views])
@pytest.mark.parametrize("shown", ["light", "dark"])
def test_axe_finds_nothing_with_everything_open(served: Served, watched: Watched, shown: str, view: str) -> None:
    page = watched.open(f"{served.address}supports/{view}?arch_height=low&forefoot=mild_varus".replace("/?", "?"))
    if shown == "dark":
        page.get_by_role("button", name="Dark").click()
        watched.settled()
    unfolded(page)
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(page)
        assert found.violations_count == 0, f"{shown}, {width} px: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_an_empty_selection_is_one_sentence(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}supports?from=1999-01-01&to=1999-01-02")
    expect(page.get_by_role("alert")).to_have_count(1)
    expect(page.locator(".chart")).to_have_count(0)
