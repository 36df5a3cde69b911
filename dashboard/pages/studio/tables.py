"""Columns of the Studio tables."""

from collections.abc import Mapping

from dashboard.components.table import Column
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import interval, number
from dashboard.questions.selection.calendar import spoken_period
from dashboard.questions.selection.spans import Span, spoken_span
from dashboard.questions.studio.answers_trends import SignalRow, TrendRow
from dashboard.questions.studio.headline_figures import judged


def change_columns(spans: Mapping[str, Span]) -> list[Column]:
    """A figure now, in an earlier period, and the difference with its interval."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Beside", lambda row: spoken_span(spans[row.against])),
        Column(spoken_span(spans["this"]), lambda row: number(row.estimate, row.unit), ("estimate",), numeric=True),
        Column("Then", lambda row: number(row.estimate_against, row.unit), ("estimate_against",), numeric=True),
        Column("Difference", lambda row: number(row.difference, row.unit), ("difference",), numeric=True),
        Column("Interval", lambda row: interval(row.low, row.high, row.unit), ("low", "high"), numeric=True),
        Column("Told", lambda row: row.judged),
    ]


def level_columns(level: str, spans: Mapping[str, Span]) -> list[Column]:
    """A figure in one of the periods, its interval and what it counts."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("In", lambda row: spoken_span(spans[row.which])),
        Column("Estimate", lambda row: number(row.estimate, row.unit), ("estimate",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, row.unit), ("low", "high"), numeric=True),
        Column("n", lambda row: number(row.n, "count"), ("n",), numeric=True),
        Column("Counted", lambda row: f"{row.counted}s"),
    ]


def knees_columns(level: str, spans: Mapping[str, Span]) -> list[Column]:
    """What became of the knees of one of the periods."""
    return [
        Column("Knees", lambda row: row.outcome.replace("_", " ")),
        Column("In", lambda row: spoken_span(spans[row.which])),
        Column("Share", lambda row: number(row.share, "share"), ("share",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, "share"), ("low", "high"), numeric=True),
        Column("Knees of all", lambda row: f"{row.n_outcome:,} of {row.n:,}", ("n_outcome", "n"), numeric=True),
    ]


def one_studio_columns(level: str) -> list[Column]:
    """A figure of one studio."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Studio", lambda row: row.studio),
        Column("Estimate", lambda row: number(row.estimate, row.unit), ("estimate",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, row.unit), ("low", "high"), numeric=True),
        Column("n", lambda row: number(row.n, "count"), ("n",), numeric=True),
    ]


def between_columns(level: str) -> list[Column]:
    """A figure of one studio less another."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Difference of", lambda row: f"{row.studio} less {row.against}"),
        Column("Difference", lambda row: number(row.difference, row.unit), ("difference",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, row.unit), ("low", "high"), numeric=True),
        Column("Told", lambda row: row.judged),
    ]


def signal_columns(every: str) -> list[Column]:
    """A figure that moved: since when, its mean from then on, the mean before, and the centre of the base."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Moved", moved_words),
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


def moved_words(row: SignalRow) -> str:
    """better or worse, for a move that is told."""
    return judged(row.figure, 1 if row.direction == "higher" else -1)


def _estimate(row: TrendRow) -> str:
    if row.estimate is not None:
        return number(row.estimate, row.unit)
    return "not enough yet" if row.n else "none"


def told(row: TrendRow) -> str:
    """What marks a period: base, not over yet, since a move, a note."""
    parts = ["base"] if row.in_base else []
    parts += ["not over yet"] if row.is_partial else []
    parts += ["since it moved"] if row.signals else []
    return ", ".join([*parts, *([row.note] if row.note else [])])
