"""How figures are written in an answer's sentences."""

MINUS = "\N{MINUS SIGN}"
# Keeps a number and its unit on one line.
_GAP = "\N{NO-BREAK SPACE}"


def spoken(value: float, decimals: int, unit: str = "") -> str:
    """As in: −0.3°, 12.0 mm; a zero carries no sign."""
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    gap = "" if unit in {"", "°"} else _GAP
    return text.replace("-", MINUS) + gap + unit


def spoken_percent(share: float) -> str:
    """As in: 38 %."""
    return f"{100 * share:.0f}{_GAP}%"


def spoken_percents(low: float, high: float) -> str:
    """Both ends of an interval, the unit once, as in: 49 to 55 %."""
    return f"{100 * low:.0f} to {spoken_percent(high)}"


def spoken_percent_below(share: float) -> str:
    """As in: 99.9 %; rounded down, so that a share near one is never told as all."""
    return f"{int(share * 1000) / 10:.1f}{_GAP}%"


def spoken_points(difference: float) -> str:
    """A difference of two shares, as in: −12 points."""
    return spoken(100 * difference, 0, "points")


def spoken_p(p_value: float) -> str:
    """As in: p = 0.012, p < 0.001."""
    return "p < 0.001" if p_value < 0.001 else f"p = {p_value:.3f}"


def spoken_chance(p_value: float) -> str:
    """How often chance alone would bring as much, as in: less than once in 1,000 times, in 1.2 % of cases."""
    if p_value < 0.001:
        return "less than once in 1,000 times"
    return f"in {100 * p_value:.{1 if p_value < 0.1 else 0}f}{_GAP}% of cases"
