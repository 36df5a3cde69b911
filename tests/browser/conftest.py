"""One Chromium and one served demo dashboard for all browser tests of a run."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from dashboard.questions.door.asking import Asker
from shared.settings import Settings
from tests.browser.serving import CHROMIUM, chromium_path, serving

# A mixed model of the whole demo takes some seconds, more on shared cores.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)


@dataclass(frozen=True)
class Served:
    """The address of a served dashboard, with its prefix, and the asker behind it."""

    address: str
    asker: Asker


@dataclass
class Watched:
    """A page, what it asked the network for and what it said on the console."""

    page: Page
    requests: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def open(self, address: str) -> Page:
        """Opens an address and waits for the answer."""
        self.page.goto(address)
        self.settled()
        return self.page

    def settled(self) -> None:
        """Waits until the answer of the page is there and nothing is under way."""
        self.page.locator(".headline").first.wait_for()
        self.page.wait_for_load_state("networkidle")
        expect(self.page.locator("[data-dash-is-loading], .chart-to-come, .fold-to-come")).to_have_count(0)


@pytest.fixture(scope="session")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="session")
def served(asker: Asker) -> Iterator[Served]:
    with serving(asker) as address:
        yield Served(address, asker)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM)
        yield browser
        browser.close()


@pytest.fixture
def watched(browser: Browser) -> Iterator[Watched]:
    with watching(browser) as watched:
        yield watched


@pytest.fixture
def second(browser: Browser) -> Iterator[Watched]:
    """Another reader with a session of their own."""
    with watching(browser) as watched:
        yield watched


@contextmanager
def watching(browser: Browser, **options: Any) -> Iterator[Watched]:
    """A reader of their own, watched from the first request on."""
    context: BrowserContext = browser.new_context(viewport={"width": 1280, "height": 720}, reduced_motion="reduce", **options)
    context.set_default_timeout(PATIENCE_MS)
    watched = Watched(context.new_page())
    watched.page.on("request", lambda request: watched.requests.append(request.url))
    watched.page.on("console", lambda message: watched.said.append(f"{message.type}: {message.text}"))
    watched.page.on("pageerror", lambda fault: watched.said.append(f"fault: {fault}"))
    yield watched
    context.close()
