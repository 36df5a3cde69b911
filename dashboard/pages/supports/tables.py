"""Columns of the effects tables."""

from dashboard.components.table import Column
from dashboard.figures.names import SUPPORTS
from dashboard.figures.theme import bare_number, interval, number
from dashboard.questions.answers import EffectRow


def effect_columns(level: str) -> list[Column]:
    """Support, both estimates with interval, bracket, counts and the verdict in words."""
    return [
        Column("Support", lambda row: SUPPORTS[row.support]),
        Column("In words", lambda row: row.words, wide=True),
        Column("Pooled", lambda row: number(row.pooled, row.unit, effect=True), ("pooled",), numeric=True),
        _ends("pooled", f"{level} interval"),
        Column("Within knee", lambda row: number(row.within, row.unit, effect=True), ("within",), numeric=True),
        _ends("within", f"{level} interval"),
        _ends("bracket", "Bracket"),
        Column("q", _q, ("q_value",), numeric=True),
        Column("Changes", lambda row: number(row.n_changes, "count"), ("n_changes",), numeric=True),
        Column("Riders", lambda row: number(row.n_riders, "count"), ("n_riders",), numeric=True),
    ]


def _ends(estimate: str, heading: str) -> Column:
    low, high = f"{estimate}_low", f"{estimate}_high"
    return Column(
        heading,
        lambda row: interval(getattr(row, low), getattr(row, high), row.unit, effect=True),
        (low, high),
        numeric=True,
    )


def _q(row: EffectRow) -> str:
    if row.q_value is not None and row.q_value < 0.001:
        return "<\u202f0.001"
    return bare_number(row.q_value, "q")
