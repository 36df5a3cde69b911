"""Naming a view where nobody signs in: kept in this browser, found again after a reload, without a rider."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import Served, Watched

pytestmark = pytest.mark.browser


def test_a_view_gets_a_name_and_is_found_again(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}returns?from=2026-01-01&rider=R0487&split=foot_type")
    control = page.locator(".kept-views")
    inside = control.locator(".kept-views-body")
    expect(inside.locator("input")).to_have_count(0)  # one stop for the keyboard, until it is opened
    control.locator("summary").press("Enter")
    expect(inside).to_contain_text("No view is kept yet.")
    inside.get_by_label("Name of this view").fill("This year by foot")
    page.keyboard.press("Enter")
    expect(inside.get_by_role("status")).to_have_text("This year by foot is kept, without the rider: a kept view names none.")
    found = Axe().run(page, ".kept-views").response["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    page.keyboard.press("Escape")
    expect(control).not_to_have_attribute("open", "")
    expect(control.locator("summary")).to_be_focused()

    watched.open(served.address)
    control.locator("summary").click()
    inside.get_by_role("link", name="This year by foot").click()
    watched.settled()
    assert page.url == f"{served.address}returns?from=2026-01-01&split=foot_type"
    control.locator("summary").click()
    inside.get_by_role("button", name="Remove This year by foot").click()
    expect(inside).to_contain_text("No view is kept yet.")
    assert page.evaluate("window.localStorage.getItem('fitledger-views')") == "[]"


def test_what_lies_in_the_store_leads_nowhere_else(served: Served, watched: Watched) -> None:
    page = watched.open(served.address)
    kept = '[{"name": "<b>x</b>", "address": "javascript:alert(1)"}, {"name": "y", "address": "//elsewhere.example/"}, 7]'
    page.evaluate("kept => window.localStorage.setItem('fitledger-views', kept)", kept)
    page.locator(".kept-views summary").click()
    links = page.locator(".kept-views-body a")
    expect(links).to_have_text(["<b>x</b>", "y"])
    assert [link.get_attribute("href") for link in links.all()] == ["/", "/"]
    page.evaluate("() => window.localStorage.setItem('fitledger-views', '{')")
    page.locator(".kept-views summary").click()
    page.locator(".kept-views summary").click()
    expect(page.locator(".kept-views-body")).to_contain_text("No view is kept yet.")
    assert watched.said == []
