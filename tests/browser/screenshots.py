"""Pictures of every page at three sizes, light and dark, and as printed: `python -m tests.browser.screenshots FOLDER`.

Serves the demo warehouse, or with `--made` the hand-written answers. For looking at, not compared by a test. With
`--readme` the few that the README shows (`make screenshots`): the first screen of each page, one dark, one on a phone.
"""

import argparse
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, Page, expect, sync_playwright

from dashboard.pages import PAGES
from dashboard.pages.supports.callbacks import PAGE as SUPPORTS
from dashboard.questions.door.asking import Asker
from etl.load import load
from shared.settings import Settings
from tests.browser.serving import CHROMIUM, chromium_path, serving
from tests.conftest import TODAY
from tests.unit.made_answers import MadeAsker
from warehouse_demo import EXPORTS

FIRST = PAGES[0].name.lower()
ADDRESSES = {
    **{page.path or FIRST: page.path for page in PAGES},
    "groups": "returns?split=foot_type",
    "rider": "riders?rider=R0487",
    **{view.path: f"supports/{view.path}" for view in SUPPORTS.views[1:]},
    "empty": "?from=1999-01-01&to=1999-01-02",
}
DARK, ON_PHONE = "supports", FIRST
# Pages that show nothing without a rider.
OF_A_RIDER = {"next": "next?rider=R0655", "riders": "riders?rider=R0655"}
SIZES = {"small": (1280, 720), "large": (1920, 1080), "phone": (390, 844)}


def take_all(address: str, folder: Path, only: list[str]) -> None:
    """Takes the pictures of a served dashboard."""
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM)
        for name, path in ADDRESSES.items():
            if only and name not in only:
                continue
            for size, (width, height) in SIZES.items():
                for theme in ("light", "dark"):
                    with opened(browser, address + path, width, height, theme) as page:
                        page.screenshot(path=folder / f"{name}-{size}-{theme}.png", full_page=True)
                        page.screenshot(path=folder / f"{name}-{size}-{theme}-first.png")
            print_page(browser, address + path, folder, name)
        browser.close()


def take_for_readme(address: str, folder: Path) -> None:
    """Takes the pictures that the README shows."""
    wanted = [(page.path or FIRST, OF_A_RIDER.get(page.path, page.path), "small", "light") for page in PAGES]
    wanted += [(f"{DARK}-dark", ADDRESSES[DARK], "small", "dark"), (f"{ON_PHONE}-phone", ADDRESSES[ON_PHONE], "phone", "light")]
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM)
        for name, path, size, theme in wanted:
            with opened(browser, address + path, *SIZES[size], theme) as page:
                page.screenshot(path=folder / f"{name}.png")
        browser.close()


@contextmanager
def opened(browser: Browser, address: str, width: int, height: int, theme: str) -> Iterator[Page]:
    """A page with its answer and charts drawn."""
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=theme)
    page = context.new_page()
    page.goto(address)
    page.locator(".headline").first.wait_for(timeout=60_000)
    page.wait_for_load_state("networkidle")
    expect(page.locator("[data-dash-is-loading], .chart-to-come, .fold-to-come")).to_have_count(0, timeout=60_000)
    yield page
    context.close()


def print_page(browser: Browser, address: str, folder: Path, name: str) -> None:
    """The page as printed on A4 from a dark screen, as PDF and one PNG a sheet."""
    with opened(browser, address, 1280, 720, "dark") as page:
        file = folder / f"{name}-print.pdf"
        page.pdf(path=file, prefer_css_page_size=True, print_background=False)
    subprocess.run(["pdftoppm", "-png", "-r", "60", str(file), str(file.with_suffix(""))], check=True)


def demo(warehouse: Path | None, folder: str, today: date) -> Asker:
    """Asks the given warehouse, or the demo exports, loaded anew, as of `today`."""
    if warehouse is None:
        warehouse = Path(folder) / "demo.duckdb"
        load([EXPORTS], warehouse)
    return Asker(warehouse, Settings(), lambda: today)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--made", action="store_true", help="serve the hand-written answers")
    parser.add_argument("--readme", action="store_true", help="take those that the README shows")
    parser.add_argument("--warehouse", type=Path, help="another than the demo's")
    parser.add_argument(
        "--today", type=date.fromisoformat, default=TODAY, help="the date of the clock: the pictures depend on no other"
    )
    parser.add_argument("--only", nargs="*", default=[])
    asked = parser.parse_args()
    with (
        TemporaryDirectory() as folder,
        serving(MadeAsker() if asked.made else demo(asked.warehouse, folder, asked.today)) as address,
    ):
        if asked.readme:
            take_for_readme(address, asked.folder)
        else:
            take_all(address, asked.folder, asked.only)


if __name__ == "__main__":
    main()
