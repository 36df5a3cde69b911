"""How figures are written in an answer's sentences."""

MINUS = "\N{MINUS SIGN}"


def spoken(value: float, decimals: int, unit: str = "") -> str:
    """As in: −0.3°, 12.0 mm; a zero carries no sign."""
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    gap = "" if unit in {"", "°", "%"} else " "
    return text.replace("-", MINUS) + gap + unit


def spoken_percent(share: float) -> str:
    """As in: 38 %."""
    return f"{100 * share:.0f} %"
