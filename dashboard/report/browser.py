"""Chromium without a window: draws figures as SVG and prints HTML as PDF."""

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final
from urllib.parse import unquote

from dashboard.chromium import chromium, missing
from dashboard.figures.theme import PALETTES
from dashboard.figures.typeface import FAMILY, face, inlined
from dashboard.report.markup import Drawing
from shared.errors import ReportError

# Without graphics hardware, and without anything that would ask the network by itself.
ARGUMENTS: Final = (
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # The address bar of a window draws pages of its own in every window, though none is shown: a second of a processor each.
    # The rest are what Playwright switches off itself, which a list given here replaces.
    "--disable-features=WebUIOmniboxPopup,WebUIOmniboxAimPopup,WebUIOmniboxFullPopup,AimEnabled,HttpsUpgrades,"
    "HttpsFirstBalancedModeAutoEnable,MediaRouter,NetworkTimeServiceQuerying,OptimizationHints,PaintHolding,PreconnectToSearch",
)
_CHARTS: Final = Path(__file__).parents[1] / "assets" / "plotly-basic.min.js"
_TYPEFACE: Final = f"Promise.all(['400', '700'].map(weight => document.fonts.load(`${{weight}} 13px {FAMILY}`)))"
_DRAW: Final = """async ([data, layout, width, height]) => {
  const place = document.getElementById("chart");
  const sized = Object.assign({}, layout, {width, height, autosize: false});
  const drawn = await Plotly.newPlot(place, data, sized, {staticPlot: true});
  const picture = await Plotly.toImage(drawn, {format: "svg", width, height});
  Plotly.purge(place);
  return picture;
}"""

_SHOW: Final = """async ([data, layout, width, height]) => {
  const place = document.getElementById("chart");
  place.style.width = `${width}px`;
  await Plotly.newPlot(place, data, Object.assign({}, layout, {width, height, autosize: false}), {staticPlot: true});
}"""


class Press:
    """An open browser. Nothing it shows may ask another host."""

    def __init__(self, browser: Any) -> None:
        self._browser = browser

    def draw(self, drawings: Sequence[Drawing]) -> Iterator[str]:
        """Each chart as an SVG element."""
        page = self._page(scripts=True)
        page.set_content(f"<!doctype html><style>{face(inlined())}</style><div id=chart></div>")
        page.evaluate(_TYPEFACE)
        page.add_script_tag(path=str(_CHARTS))
        for drawing in drawings:
            data, layout = drawing.figure["data"], drawing.figure["layout"]
            picture = page.evaluate(_DRAW, [data, layout, drawing.width, layout["height"]])
            yield _as_element(unquote(picture.split(",", 1)[1]))
        page.close()

    def pictures(self, drawings: Sequence[Drawing]) -> Iterator[bytes]:
        """Each chart as a PNG on white, for what shows no SVG, as mail does not."""
        page = self._page(scripts=True, finer=1.5)
        body = f"body{{margin:0;background:{PALETTES['light'].surface}}}"
        page.set_content(f"<!doctype html><style>{face(inlined())}{body}</style><div id=chart></div>")
        page.evaluate(_TYPEFACE)
        page.add_script_tag(path=str(_CHARTS))
        for drawing in drawings:
            data, layout = drawing.figure["data"], drawing.figure["layout"]
            page.evaluate(_SHOW, [data, layout, drawing.width, layout["height"]])
            yield bytes(page.locator("#chart").screenshot(animations="disabled"))
        page.close()

    def print_pdf(self, html: str) -> bytes:
        """The HTML as tagged A4 with an outline of its headings."""
        page = self._page(scripts=False)
        page.set_content(html, wait_until="load")
        printed = page.pdf(prefer_css_page_size=True, print_background=True, tagged=True, outline=True)
        page.close()
        return bytes(printed)

    def _page(self, *, scripts: bool, finer: float = 1.0) -> Any:
        page = self._browser.new_page(
            java_script_enabled=scripts, color_scheme="light", reduced_motion="reduce", device_scale_factor=finer
        )
        page.route("**/*", lambda route: route.abort())
        return page


@contextmanager
def open_press() -> Iterator[Press]:
    """Opens Chromium. Raises ReportError where it, or what drives it, is missing."""
    if why := missing():
        raise ReportError(f"{why} An HTML report, fitledger show and export work without it.")
    from playwright.sync_api import Error, sync_playwright

    # Chromium's sandbox refuses to run as root.
    arguments = [*ARGUMENTS, *(["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else [])]
    with sync_playwright() as playwright:
        try:
            browser = playwright.chromium.launch(executable_path=chromium(), args=arguments)
        except Error as fault:
            raise ReportError(f"Chromium did not start ({str(fault).splitlines()[0]}). Try it by hand.") from fault
        try:
            yield Press(browser)
        except Error as fault:
            raise ReportError(f"Chromium ended while it drew the report ({str(fault).splitlines()[0]}). Try again.") from fault
        finally:
            browser.close()


def _as_element(svg: str) -> str:
    """The SVG as a part of a page: it takes the width it is given, and is told in words by what stands around it."""
    start = svg.index("<svg")
    return svg[start:].replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1)
