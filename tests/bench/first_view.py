"""The first view of each page in Chromium with an empty cache: `make bench`, or `python tests/bench/first_view.py`.

From the request to answer and chart drawn, over loopback, served by a process of its own. Answers are remembered, as in a
dashboard that has told its first reader. Prints the median of RUNS beside the limit, and the weight of scripts on the wire.
Judges nothing.
"""

import gzip
import statistics
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, expect, sync_playwright

from dashboard.app import create_app
from dashboard.pages import PAGES
from tests.bench.told import Reference, tell
from tests.browser.serving import CHROMIUM, chromium_path
from tests.load.sessions import HOST, serving
from tests.unit.made_answers import MadeAsker

RUNS = 5
LIMIT_SECONDS = 0.9
LIMIT_MB = 1.7
PATIENCE_MS = 120_000
# What a new window of the browser does by itself is not the page's.
SETTLING_MS = 1_000


def first_view(browser: Browser, address: str) -> float:
    """Seconds until the answer of the page stands and its first chart is drawn, where it has one; tables are folded."""
    context = browser.new_context(viewport={"width": 1280, "height": 720}, reduced_motion="reduce")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.wait_for_timeout(SETTLING_MS)
    start = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.locator(".headline").first.wait_for()
    if page.locator(".chart").count():
        page.locator(".js-plotly-plot .main-svg").first.wait_for()
    taken = time.perf_counter() - start
    expect(page.locator("[data-dash-is-loading], .chart-to-come, .fold-to-come")).to_have_count(0, timeout=PATIENCE_MS)
    context.close()
    return taken


def bare_view(browser: Browser, address: str) -> float:
    """Seconds until the browser has an answer that holds nothing."""
    page = browser.new_page()
    page.wait_for_timeout(SETTLING_MS)
    start = time.perf_counter()
    page.goto(f"{address}health")
    taken = time.perf_counter() - start
    page.close()
    return taken


def script_weights() -> dict[str, int]:
    """Bytes of each script that the first page names, as gzip would send it."""
    client = create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]

    def read(address: str) -> bytes:
        with client.get(address) as response:
            return response.get_data()

    sources = [part.split('"')[0] for part in read("/").decode().split('<script src="')[1:]]
    return {file_name(source): len(gzip.compress(read(source), 6)) for source in sources}


def file_name(address: str) -> str:
    return address.split("?", maxsplit=1)[0].rsplit("/", 1)[-1]


def scripts_asked(browser: Browser, address: str) -> dict[str, int]:
    """The same of every script that a browser asks for until the page is drawn, those that are fetched later among them."""
    context = browser.new_context()
    page = context.new_page()
    found = []
    page.on("response", lambda response: found.append(response) if response.request.resource_type == "script" else None)
    page.goto(address)
    page.locator(".headline").first.wait_for(timeout=PATIENCE_MS)
    page.wait_for_load_state("networkidle")
    weights = {file_name(response.url): len(gzip.compress(response.body(), 6)) for response in found}
    context.close()
    return weights


def main() -> None:
    """Tells one line a page."""
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM)
        with serving(Path(folder)) as (port, _):
            address = f"http://{HOST}:{port}/"
            weights = scripts_asked(browser, address)
            weight = f"scripts {sum(weights.values()) / 1e6:.2f} MB packed (limit {LIMIT_MB} MB)"
            blank = Reference("an answer of two letters", statistics.median(bare_view(browser, address) for _ in range(RUNS)))
            for page in PAGES:
                cold = first_view(browser, f"{address}{page.path}")
                took = [first_view(browser, f"{address}{page.path}") for _ in range(RUNS)]
                more = f"limit {LIMIT_SECONDS} s; shortest {min(took):.2f} s; the first reader of all {cold:.2f} s; {weight}"
                tell(f"first view of {page.name}", "demo", took, blank, more)
        browser.close()


if __name__ == "__main__":
    main()
