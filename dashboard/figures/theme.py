"""How everything looks: colours, type, spacing, number forms, chart settings. No other module names a colour.

The marks are taken from Okabe & Ito's palette for colour-blind readers; each is used only on the ground on which it
keeps the contrast of 3 to 1 that WCAG 2.2 (1.4.11) asks of graphics. tests/unit/test_figures_theme.py computes it.
"""

from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any, Final

from dashboard.figures.typeface import FAMILY, STAND_IN, face
from shared.clock import spoken_day
from shared.units import UNITS

FONT: Final = f"{FAMILY}, 'Segoe UI', 'Helvetica Neue', Arial, 'Liberation Sans', {STAND_IN}, system-ui, sans-serif"
# One type scale in rem, and the size of all text inside a chart in px.
TYPE: Final = {"small": 0.8125, "text": 1.0, "lead": 1.125, "title": 1.375, "headline": 1.75}
CHART_TEXT_PX: Final = 13
# One step of white space in rem.
# The widest that a page becomes.
WIDE: Final = "112rem"
SPACE: Final = {"1": 0.25, "2": 0.5, "3": 0.75, "4": 1.0, "6": 1.5, "8": 2.0, "12": 3.0}

# The only config a dcc.Graph may have. The upload to the chart vendor's cloud is on by default and must stay off.
CHART_CONFIG: Final[dict[str, Any]] = {
    "displayModeBar": False,
    "displaylogo": False,
    "doubleClick": False,
    "modeBarButtons": [["toImage"]],
    "plotlyServerURL": "",
    "responsive": True,
    "scrollZoom": False,
    "showSendToCloud": False,
}


@dataclass(frozen=True)
class Palette:
    """Colours by what they are for."""

    page: str
    surface: str
    soft: str
    ink: str
    muted: str
    line: str
    grid: str
    accent: str
    second: str
    third: str
    fourth: str
    caution: str


PALETTES: Final = {
    "light": Palette(
        page="#FAFAF7",
        surface="#FFFFFF",
        soft="#EEF2F4",
        ink="#18212B",
        muted="#525E6B",
        line="#7C8894",
        grid="#E3E7E6",
        accent="#0072B2",
        second="#D55E00",
        third="#009E73",
        fourth="#CC79A7",
        caution="#FFF6E5",
    ),
    "dark": Palette(
        page="#12171C",
        surface="#1A2027",
        soft="#222A32",
        ink="#E9ECEF",
        muted="#AAB4BE",
        line="#6F7C89",
        grid="#2B343D",
        accent="#56B4E9",
        second="#E69F00",
        third="#009E73",
        fourth="#CC79A7",
        caution="#2B2618",
    ),
}


def palette(theme: str | None) -> Palette:
    """The colours of a theme; light where it is unknown."""
    return PALETTES.get(theme or "light", PALETTES["light"])


def shades(theme: str | None, n: int) -> list[str]:
    """`n` colours of the accent's hue from light to dark, drawn toward the ink so that each keeps at least its contrast."""
    colours = palette(theme)
    shares = [0.7 * place / max(n - 1, 1) for place in range(n)]
    mixed = [_mixed(colours.accent, colours.ink, share) for share in shares]
    return mixed[::-1] if colours == PALETTES["dark"] else mixed


def _mixed(one: str, other: str, share: float) -> str:
    """A colour that lies `share` of the way from one to the other."""
    ends = ([int(colour[at : at + 2], 16) for at in (1, 3, 5)] for colour in (one, other))
    return "#" + "".join(f"{round(start + share * (end - start)):02X}" for start, end in zip(*ends, strict=True))


def on_paper(theme: str | None) -> dict[str, str]:
    """Each colour of `theme` and the one that stands for it on white paper, for printing from a dark screen."""
    on_screen, printed = asdict(palette(theme)), asdict(PALETTES["light"])
    return {on_screen[name]: printed[name] for name in on_screen}


def style_sheet(typeface: str) -> str:
    """The colours, type and spacing as custom properties, for the page's own style sheet. `typeface`: where it is read from."""
    sizes = {f"type-{name}": f"{size}rem" for name, size in TYPE.items()}
    spaces = {f"space-{name}": f"{size}rem" for name, size in SPACE.items()}
    light, dark = (_declarations(asdict(PALETTES[name])) for name in ("light", "dark"))
    return (
        f"{face(typeface)}:root{{--font:{FONT};--wide:{WIDE};{_declarations(sizes | spaces)}{light}color-scheme:light}}"
        f"@media screen{{:root[data-theme=dark]{{{dark}color-scheme:dark}}"
        f"@media (prefers-color-scheme:dark){{:root:not([data-theme]){{{dark}color-scheme:dark}}}}}}"
    )


def _declarations(values: dict[str, str]) -> str:
    return "".join(f"--{name}:{value};" for name, value in values.items())


# Number forms. A unit not listed here has no printed form, and asking for it is a fault.
NOTHING: Final = "–"
_SIGNS: Final = {"deg": "°", "share": "\u202f%", "points": "\u202fpoints", "count": "", "q": ""}
_DECIMALS: Final = {"share": 0, "points": 1, "count": 0, "q": 3}
# An effect is smaller than what it is the effect on: one decimal more than a measured value, as in the verdicts.
_EFFECT_DECIMALS: Final = {unit: UNITS[unit].decimals + 1 for unit in ("deg", "mm")}


@lru_cache
def unit_sign(unit: str) -> str:
    """The unit as printed after a number: `°` without a space, the others with a narrow one."""
    return _SIGNS[unit] if unit in _SIGNS else f"\u202f{UNITS[unit].sign}"


def unit_decimals(unit: str) -> int:
    return _DECIMALS[unit] if unit in _DECIMALS else UNITS[unit].decimals


@lru_cache
def _form(unit: str, effect: bool) -> tuple[str, str]:
    """How a number is written, and what stands for one that rounds to zero."""
    decimals = _EFFECT_DECIMALS[unit] if effect else unit_decimals(unit)
    return f"{'+' if effect else ''},.{decimals}f", f"{0:.{decimals}f}"


def bare_number(value: float | None, unit: str, *, effect: bool = False) -> str:
    """A number without its unit: fixed decimals, a real minus sign, no minus before a rounded zero.

    `effect`: a change, printed with its sign and one decimal more.
    """
    if value is None:
        return NOTHING
    form, zero = _form(unit, effect)
    text = format(100 * value if unit == "share" else value, form)
    return text.replace("-", "−") if text.strip("+-0.") else zero


def number(value: float | None, unit: str, *, effect: bool = False) -> str:
    """A number with its unit, such as 12.3° or 63 %."""
    return NOTHING if value is None else bare_number(value, unit, effect=effect) + unit_sign(unit)


def bare_interval(low: float | None, high: float | None, unit: str, *, effect: bool = False) -> str:
    """Both ends of an interval without the unit: −1.6 to −0.8."""
    if low is None or high is None:
        return NOTHING
    return f"{bare_number(low, unit, effect=effect)} to {bare_number(high, unit, effect=effect)}"


def interval(low: float | None, high: float | None, unit: str, *, effect: bool = False) -> str:
    """Both ends of an interval, the unit once: −1.6 to −0.8°."""
    ends = bare_interval(low, high, unit, effect=effect)
    return ends if ends == NOTHING else ends + unit_sign(unit)


def finely(unit: str, *values: float | None) -> str:
    """One figure, or both ends, with one decimal more than a measured value has; never negative, so without a sign."""
    ends = " to ".join(bare_number(value, unit, effect=True).lstrip("+") for value in values)
    return NOTHING if NOTHING in ends else ends + unit_sign(unit)


def day(value: Any) -> str:
    """A date as 7 Jan 2026; the dash where there is none."""
    return NOTHING if value is None else spoken_day(value)
