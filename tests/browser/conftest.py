"""One Chromium and one served demo dashboard for all browser tests of a run."""

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page, Request, expect, sync_playwright

from dashboard.questions.door.asking import Asker
from shared.settings import Settings
from tests.browser.serving import CHROMIUM, chromium_path, serving

# A mixed model of the whole demo takes some seconds, more on shared cores.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)
# What Dash, charts and folds mark while they wait.
UNDER_WAY = "[data-dash-is-loading], .chart-to-come, .fold-to-come"
# Two frames and a turn of the browser's own queue, in which Dash looks for what is to be asked.
NEXT_FRAMES = """() => new Promise(over => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(over))))"""
QUIET_LOOKS = 3


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
    under_way: set[Request] = field(default_factory=set)

    def open(self, address: str) -> Page:
        """Opens an address and waits for the answer."""
        self.page.goto(address)
        self.settled()
        return self.page

    def begun(self, request: Request) -> None:
        """Notes a request."""
        self.requests.append(request.url)
        self.under_way.add(request)

    def over(self, request: Request) -> None:
        """Notes that a request is answered, or never will be."""
        self.under_way.discard(request)

    def settled(self) -> None:
        """Waits until the answer of the page is there and nothing is under way.

        Playwright's "networkidle" tells of the loading of a document alone: it is long over when a link within it is followed.
        What the click before began is seen by the browser's next turn, an answer leads to the next question within two, and
        charts and folds are drawn after the last: so nothing may be under way over several looks in a row.
        """
        self.page.locator(".headline").first.wait_for()
        quiet, ends = 0, time.monotonic() + PATIENCE_MS / 1000
        while quiet < QUIET_LOOKS:
            quiet = quiet + 1 if self._is_quiet() else 0
            assert time.monotonic() < ends, f"still under way: {[one.url for one in self.under_way]}"

    def _is_quiet(self) -> bool:
        """Whether nothing is under way two frames from now."""
        try:
            self.page.evaluate(NEXT_FRAMES)
        except Error:
            # Another document takes the place of this one.
            self.page.wait_for_load_state()
            return False
        return not self.under_way and not self.page.locator(UNDER_WAY).count()


@pytest.fixture(scope="session")
def asker(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Asker:
    """Of a copy, since what is marked on the screen is kept in a logbook beside the warehouse."""
    return Asker(Path(shutil.copy(demo_warehouse, tmp_path_factory.mktemp("served"))), Settings())


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
    watched.page.on("request", watched.begun)
    watched.page.on("requestfinished", watched.over)
    watched.page.on("requestfailed", watched.over)
    watched.page.on("console", lambda message: watched.said.append(f"{message.type}: {message.text}"))
    watched.page.on("pageerror", lambda fault: watched.said.append(f"fault: {fault}"))
    yield watched
    context.close()
