"""How long each view is: `python -m tests.browser.limits [ADDRESS]` prints the table; test_limits.py holds it to the limits.

Counted at 1280 x 720 with folds closed: the height of the whole page in screens, the lowest edge of the answer, words and
numbers of the view without shell and caution, and the stops of the Tab key in the whole document. The limits are those of
the project's own screens: an answer on one screen, a view within two and a half.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass

from playwright.sync_api import Page, sync_playwright

from tests.browser.serving import CHROMIUM, chromium_path
from tests.every_view import EVERY_VIEW, Shown

SCREEN = {"width": 1280, "height": 720}
# A rider whose timeline is long, so that the pages of one rider are counted too.
OF_A_RIDER = "?rider=R0655"
_COUNT = """() => {
  const view = document.querySelector('.view-screen');
  const words = text => text.split(/\\s+/).filter(Boolean);
  // What is read aloud alone stands nowhere on the screen.
  const aloud = [...view.querySelectorAll('.for-readers')].flatMap(one => words(one.innerText));
  const seen = words(view.innerText);
  for (const word of aloud) seen.splice(seen.indexOf(word), seen.includes(word) ? 1 : 0);
  const stops = [...document.querySelectorAll(
    'a[href], button, input, select, textarea, summary, [tabindex]')].filter(one =>
    one.tabIndex >= 0 && !one.disabled && one.checkVisibility({visibilityProperty: true}) &&
    !one.closest('details:not([open]) > :not(summary)'));
  return {
    answer_px: Math.round(view.getBoundingClientRect().bottom + scrollY),
    height_px: document.documentElement.scrollHeight,
    words: seen.filter(word => /[A-Za-z]/.test(word)).length,
    numbers: seen.filter(word => /[0-9]/.test(word)).length,
    stops: stops.length,
  };
}"""


@dataclass(frozen=True)
class Length:
    """What is counted of one view, or the most that may be."""

    answer_px: int
    height_px: int
    words: int
    numbers: int
    stops: int

    def beyond(self, most: "Length") -> list[str]:
        """What is longer than the most, in words."""
        return [
            f"{name}: {count}, at most {getattr(most, name)}"
            for name, count in vars(self).items()
            if count > getattr(most, name)
        ]


# An answer stands on one screen with what to do next; the caution may stand below it.
ANSWER = Length(answer_px=720, height_px=1_800, words=200, numbers=60, stops=45)
VIEW = Length(answer_px=1_800, height_px=2_100, words=600, numbers=150, stops=60)


def most(shown: Shown) -> Length:
    """The limits of a view."""
    return VIEW if shown.view.path else ANSWER


def counted(page: Page) -> Length:
    """Counts the view that is open."""
    return Length(**page.evaluate(_COUNT))


def addresses() -> Iterator[tuple[Shown, str]]:
    """Every view with the addresses at which it is counted."""
    for shown in EVERY_VIEW:
        yield shown, shown.path
        if shown.page.path in ("riders", "next"):
            yield shown, shown.path + OF_A_RIDER


def table(address: str) -> Iterator[str]:
    """The table of all views of a served dashboard, as lines of Markdown."""
    yield "| view | answer ends at px | screens | words | numbers | tab stops |"
    yield "|---|---|---|---|---|---|"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM)
        page = browser.new_page(viewport=SCREEN)
        for _, path in addresses():
            page.goto(address + path)
            page.locator(".headline").first.wait_for(timeout=60_000)
            page.wait_for_load_state("networkidle")
            page.locator("[data-dash-is-loading], .chart-to-come, .fold-to-come").first.wait_for(
                state="detached", timeout=60_000
            )
            one = counted(page)
            screens = one.height_px / SCREEN["height"]
            yield f"| /{path} | {one.answer_px} | {screens:.1f} | {one.words} | {one.numbers} | {one.stops} |"
        browser.close()


if __name__ == "__main__":
    for line in table(sys.argv[1] if sys.argv[1:] else "http://127.0.0.1:8050/"):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
