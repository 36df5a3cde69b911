"""How side differences are named: levels and limits, and the rows of a quantity by level and moment."""

from collections.abc import Sequence

from dashboard.figures.names import plain
from dashboard.figures.theme import unit_sign
from dashboard.questions.symmetry.answers_asymmetry import PrevalenceRow

ALL = "All riders"


def level_name(level: str | None) -> str:
    """A level as the start of a line; the whole where there is none."""
    words = plain(level)
    return words[:1].upper() + words[1:] if level else ALL


def by_level(rows: Sequence[PrevalenceRow], quantity: str) -> dict[str | None, dict[str, PrevalenceRow]]:
    """The rows of one quantity: level, then moment, in the order of the answer."""
    rows_by_level: dict[str | None, dict[str, PrevalenceRow]] = {}
    for row in rows:
        if row.quantity == quantity:
            rows_by_level.setdefault(row.level, {})[row.moment] = row
    return rows_by_level


def limit_words(row: PrevalenceRow) -> str:
    """The limit as the question counts it: tilt from the limit on, offset beyond it."""
    size = short(row.limit, row.unit)
    return f"{size} or more" if row.quantity == "tilt" else f"more than {size}"


def short(value: float, unit: str) -> str:
    """A limit with its unit, without decimals that say nothing: 2°, 1.5°."""
    return f"{value:g}{unit_sign(unit)}"
