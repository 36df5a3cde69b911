"""Columns of the Studio tables."""

from dashboard.components.table import Column
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import interval, number
from dashboard.questions.selection.calendar import spoken_period
from dashboard.questions.studio.answers_trends import SignalRow, TrendRow


def figure_columns(level: str) -> list[Column]:
    """A headline figure of the selection, its interval and what it counts."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Estimate", lambda row: number(row.estimate, row.unit), ("estimate",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, row.unit), ("low", "high"), numeric=True),
        Column("n", lambda row: number(row.n, "count"), ("n",), numeric=True),
        Column("Counted", lambda row: f"{row.counted}s"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def signal_columns(every: str) -> list[Column]:
    """A figure that moved: since when, its mean from then on, the mean before, and the centre of the base."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Moved", signal_name),
        Column("From about", lambda row: spoken_period(row.period_from, every)),
        Column("Mean since", lambda row: number(row.mean, row.unit), ("mean",), numeric=True),
        Column("Mean before", lambda row: number(row.before, row.unit), ("before",), numeric=True),
        Column("Centre", lambda row: number(row.centre, row.unit), ("centre",), numeric=True),
    ]


def period_columns(every: str) -> list[Column]:
    """A figure in one period, with the limits it is held against."""
    return [
        Column(every.capitalize(), lambda row: spoken_period(row.period, every)),
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Estimate", _estimate, ("estimate",), numeric=True),
        Column("n", lambda row: number(row.n, "count"), ("n",), numeric=True),
        Column("Centre", lambda row: number(row.centre, row.unit), ("centre",), numeric=True),
        Column(
            "Limits", lambda row: interval(row.limit_low, row.limit_high, row.unit), ("limit_low", "limit_high"), numeric=True
        ),
        Column("Told", told),
    ]


def signal_name(row: SignalRow) -> str:
    """Says which way a figure moved, as in: higher; lower."""
    return row.direction


def _estimate(row: TrendRow) -> str:
    if row.estimate is not None:
        return number(row.estimate, row.unit)
    return "not enough yet" if row.n else "none"


def _limits(row: TrendRow) -> str:
    return interval(row.limit_low, row.limit_high, row.unit)


def told(row: TrendRow) -> str:
    """What marks a period: base, not over yet, since a move, a note."""
    parts = ["base"] if row.in_base else []
    parts += ["not over yet"] if row.is_partial else []
    parts += ["since it moved"] if row.signals else []
    return ", ".join([*parts, *([row.note] if row.note else [])])
