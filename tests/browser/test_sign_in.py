"""Signing in in a real browser: by keyboard, without an accessibility fault, and what the browser keeps of a reader
afterwards."""

from collections.abc import Iterator
from pathlib import Path

import pyotp
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from dashboard.accounts.store import Accounts
from dashboard.questions.door.asking import Asker
from shared.settings import Settings
from tests.browser.conftest import watching
from tests.browser.serving import serving
from tests.unit.door import PASSWORD, QUICK

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def address(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demo, served to those who sign in; the owner in two steps."""
    accounts = Accounts(tmp_path_factory.mktemp("accounts") / "w.duckdb", QUICK)
    for name, role in (("olga", "owner"), ("hanna", "head_fitter"), ("hugo", "head_fitter")):
        accounts.add(name, role, PASSWORD)
    settings = Settings.model_validate({"sign_in": {"second_step": ["owner"]}})
    with serving(Asker(demo_warehouse, settings), accounts=accounts) as address:
        yield address


def looked_at(page: Page) -> None:
    """No fault by axe, in a window and on a phone, light and dark, and nothing beside the edge of a phone."""
    wide = page.viewport_size
    assert wide is not None
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.set_viewport_size(wide)


def press(page: Page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key) if len(key) < 6 else page.keyboard.type(key)


def sign_in(page: Page, name: str) -> None:
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def test_the_owner_sets_the_second_step_up_by_keyboard_and_signs_in(browser: Browser, address: str) -> None:
    with watching(browser) as watched:
        page = watched.page
        page.goto(f"{address}data")
        expect(page).to_have_title("Sign in to fitledger – fitledger")
        looked_at(page)
        press(page, "Tab", "o", "l", "g", "a", "Tab", "wrong words again", "Enter")
        expect(page.get_by_role("alert")).to_contain_text("Name or password is wrong")
        looked_at(page)
        page.get_by_label("Password").focus()
        press(page, PASSWORD, "Enter")
        expect(page).to_have_title("Set up the second step – fitledger")
        expect(page.get_by_role("img", name="QR code")).to_be_visible()
        looked_at(page)
        secret = page.locator(".sign-in-secret").inner_text()
        press(page, "Tab", pyotp.TOTP(secret).now(), "Enter")
        expect(page).to_have_title("Keep these codes – fitledger")
        looked_at(page)
        recovery = page.locator(".sign-in-codes code").first.inner_text()
        press(page, "Tab", "Enter")
        expect(page.locator(".signed-in")).to_contain_text("olga, owner")
        assert page.url == f"{address}data"
        page.get_by_role("button", name="Sign out").click()
        sign_in(page, "olga")
        expect(page).to_have_title("The second step – fitledger")
        looked_at(page)
        press(page, "Tab", recovery, "Enter")
        expect(page.locator(".signed-in")).to_contain_text("olga, owner")


def test_signing_out_leads_every_tab_out_and_leaves_nothing_of_the_studio_behind(browser: Browser, address: str) -> None:
    """Earlier versions kept figures under keys of their own, which go as soon as a page is opened."""
    with watching(browser) as watched:
        page = watched.page
        page.goto(f"{address}?studio=quayside")
        page.evaluate("window.localStorage.setItem('fitledger-looks-of-old', '{}')")
        sign_in(page, "hugo")
        watched.settled()
        other = page.context.new_page()
        other.goto(f"{address}data")
        expect(other.locator(".signed-in")).to_contain_text("hugo")
        assert "fitledger-looks-of-old" not in page.evaluate("Object.keys(window.localStorage)")
        page.get_by_role("button", name="Sign out").click()
        expect(page).to_have_title("Sign in to fitledger – fitledger")
        expect(other).to_have_title("Sign in to fitledger – fitledger")
        assert other.url.startswith(f"{address}login")


def test_a_tab_whose_session_has_ended_leads_to_signing_in_with_its_next_question(browser: Browser, address: str) -> None:
    with watching(browser) as watched:
        page = watched.page
        page.goto(f"{address}data")
        sign_in(page, "hanna")
        watched.settled()
        page.context.clear_cookies()
        page.get_by_role("link", name="Riders", exact=True).click()
        expect(page).to_have_title("Sign in to fitledger – fitledger")
