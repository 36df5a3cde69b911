"""Contrast of the colours, forms of the numbers, and what no chart may escape."""

import ast
import re
from dataclasses import asdict
from datetime import date
from importlib.metadata import distribution
from pathlib import Path

import pytest

import dashboard
from dashboard.figures.theme import CHART_CONFIG, PALETTES, bare_number, day, interval, number, on_paper, style_sheet

ROOT = Path(dashboard.__file__).parent
MARKS = ("accent", "second", "third", "fourth", "line")


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_and_white_is_21() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("theme", PALETTES)
@pytest.mark.parametrize("ground", ["page", "surface", "soft", "caution"])
@pytest.mark.parametrize("text", ["ink", "muted"])
def test_text_keeps_its_contrast(theme: str, ground: str, text: str) -> None:
    colours = asdict(PALETTES[theme])
    assert contrast(colours[text], colours[ground]) >= 4.5


@pytest.mark.parametrize("theme", PALETTES)
@pytest.mark.parametrize("mark", MARKS)
def test_marks_keep_their_contrast(theme: str, mark: str) -> None:
    colours = asdict(PALETTES[theme])
    assert contrast(colours[mark], colours["surface"]) >= 3


@pytest.mark.parametrize("theme", PALETTES)
def test_links_keep_the_contrast_of_text(theme: str) -> None:
    assert contrast(PALETTES[theme].accent, PALETTES[theme].page) >= 4.5


def test_dark_charts_are_printed_in_the_light_colours() -> None:
    assert on_paper("dark")[PALETTES["dark"].accent] == PALETTES["light"].accent
    assert len(on_paper("dark")) == len(asdict(PALETTES["dark"]))


def test_every_custom_property_that_the_style_sheet_uses_exists() -> None:
    sheet = (ROOT / "assets" / "style.css").read_text(encoding="utf-8")
    used = set(re.findall(r"var\((--[a-z0-9-]+)\)", sheet))
    assert used <= set(re.findall(r"(--[a-z0-9-]+):", style_sheet("typeface.woff2") + sheet))


def test_colours_are_named_in_the_theme_only() -> None:
    sources = [*ROOT.rglob("*.py"), ROOT / "index.html", *(ROOT / "assets").glob("[!p]*.[jc]*s*")]
    named = {path.name for path in sources if re.search(r"#[0-9A-Fa-f]{6}\b", path.read_text(encoding="utf-8"))}
    assert named == {"theme.py"}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (number(-12.34, "deg"), "−12.3°"),
        (number(12.0, "mm"), "12.0\u202fmm"),
        (number(0.634, "share"), "63\u202f%"),
        (number(1.42, "points"), "1.4\u202fpoints"),
        (number(1604, "count"), "1,604"),
        (number(None, "deg"), "–"),
        (number(0.5, "deg", effect=True), "+0.50°"),
        (number(-0.004, "deg", effect=True), "0.00°"),
        (bare_number(-0.04, "mm"), "0.0"),
        (interval(-1.6, -0.8, "deg", effect=True), "−1.60 to −0.80°"),
        (interval(0.588, 0.678, "share"), "59 to 68\u202f%"),
        (interval(None, 0.678, "share"), "–"),
        (day(date(2026, 1, 7)), "7 Jan 2026"),
        (day(None), "–"),
    ],
)
def test_number_forms(text: str, expected: str) -> None:
    assert text == expected


def test_a_unit_without_a_printed_form_is_refused() -> None:
    with pytest.raises(KeyError):
        number(1.0, "furlong")


def test_the_upload_to_a_cloud_is_off() -> None:
    assert CHART_CONFIG["showSendToCloud"] is False
    assert CHART_CONFIG["plotlyServerURL"] == ""


def test_no_graph_escapes_the_chart_config() -> None:
    made = {}
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] == "Graph":
                made[path.name] = {word.arg: ast.unparse(word.value) for word in node.keywords}
    assert list(made) == ["chart.py"]
    assert made["chart.py"]["config"] == "CHART_CONFIG"


def test_the_shipped_plotly_is_of_the_installed_version() -> None:
    """Another version would draw with settings that the installed package was not tested with."""
    installed = distribution("plotly").locate_file("plotly/package_data/plotly.min.js")
    versions = []
    for path in (Path(str(installed)), ROOT / "assets" / "plotly-basic.min.js"):
        with path.open(encoding="utf-8") as file:
            versions.append(re.search(r"v(\d+\.\d+\.\d+)", file.read(200)).group(1))  # type: ignore[union-attr]
    assert versions[0] == versions[1]
