"""What the browser asks for at the first view of a page, and what it draws when."""

import json
from collections import Counter
from typing import Any

import pytest
from playwright.sync_api import Request, expect

from tests.browser.conftest import Served, Watched
from tests.every_view import EVERY_VIEW

# A chart that follows the width of its place has it to the pixel.
_WIDTHS = "() => [...document.querySelectorAll('.js-plotly-plot')].map(plot => [plot._fullLayout.width, plot.offsetWidth])"


def outputs_asked(watched: Watched) -> list[str]:
    """Filled with the output of every question, in order."""
    outputs: list[str] = []

    def note(request: Request) -> None:
        if request.method == "POST":
            outputs.append(json.loads(request.post_data or "{}")["output"])

    watched.page.on("request", note)
    return outputs


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_each_place_is_asked_once_and_nothing_that_came_with_the_page(served: Served, watched: Watched, page: Any) -> None:
    outputs = outputs_asked(watched)
    watched.open(f"{served.address}{page.path}?side=left")
    assert outputs and max(Counter(outputs).values()) == 1, Counter(outputs)
    asked = " ".join(watched.requests)
    assert "_dash-layout" not in asked and "_dash-dependencies" not in asked
    assert not [output for output in outputs if output.startswith(("..url.", "..page.", "..navigation."))]
    assert watched.said == []


def test_a_question_asked_early_is_for_the_theme_that_is_shown(served: Served, watched: Watched) -> None:
    watched.page.emulate_media(color_scheme="dark")
    outputs = outputs_asked(watched)
    watched.open(f"{served.address}symmetry")
    assert outputs.count("symmetry-head.children") == 1
    expect(watched.page.locator("#theme-button")).to_have_text("Light")
    watched.page.locator("#theme-button").click()
    expect(watched.page.locator("#theme-button")).to_have_text("Dark")
    watched.settled()
    assert outputs.count("symmetry-head.children") == 2
    assert watched.said == []


def test_a_page_that_is_opened_by_a_link_is_asked_as_ever(served: Served, watched: Watched) -> None:
    outputs = outputs_asked(watched)
    watched.open(f"{served.address}?side=left")
    watched.page.get_by_role("link", name="Returns", exact=True).click()
    expect(watched.page.locator("#returns-head .headline")).to_be_visible()
    assert outputs.count("returns-head.children") == 1
    watched.page.go_back()
    expect(watched.page.locator("#studio-head .headline")).to_be_visible()
    assert watched.page.url == f"{served.address}?side=left"
    watched.settled()
    assert watched.said == []


def test_charts_follow_the_width_of_their_place(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}symmetry")
    for width in (1280, 800, 1100):
        page.set_viewport_size({"width": width, "height": 720})
        page.wait_for_function(f"() => ({_WIDTHS})().every(([drawn, wide]) => Math.abs(drawn - wide) < 1)")
    assert page.evaluate(_WIDTHS)


def test_a_fold_that_is_opened_before_its_turn_is_filled_at_once(served: Served, watched: Watched) -> None:
    """The charts' script is held back, so that no fold's turn can come."""
    watched.page.route("**/plotly-basic*", lambda route: None)
    watched.page.goto(f"{served.address}symmetry", wait_until="commit")
    fold = watched.page.locator("main details.fold-to-come").first
    assert fold.locator("tr, p").count() == 0
    fold.locator("summary").click()
    opened = watched.page.locator("main details[open]").first
    expect(opened.locator("tr, p").first).to_be_visible()
    expect(watched.page.locator("main .chart-to-come").first).to_be_attached()
    expect(watched.page.locator(".js-plotly-plot")).to_have_count(0)
