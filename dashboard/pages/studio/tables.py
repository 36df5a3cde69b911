"""Columns of the Studio tables."""

from collections.abc import Mapping

from dashboard.components import columns
from dashboard.components.table import Column
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import NOTHING, number
from dashboard.questions.selection.calendar import spoken_period
from dashboard.questions.selection.spans import Span, spoken_span
from dashboard.questions.studio.answers_periods import PeriodChangeRow
from dashboard.questions.studio.answers_studios import BetweenStudiosRow
from dashboard.questions.studio.answers_trends import SignalRow, TrendRow
from dashboard.questions.studio.differences import bare, points
from dashboard.questions.studio.headline_figures import judged


def change_columns(spans: Mapping[str, Span]) -> list[Column]:
    """A figure now, in an earlier period, and the difference with its interval."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Beside", lambda row: spoken_span(spans[row.against])),
        columns.figure(spoken_span(spans["this"]), "estimate"),
        columns.figure("Then", "estimate_against"),
        *_difference("Interval"),
        Column("Told", lambda row: row.judged),
    ]


def level_columns(level: str, spans: Mapping[str, Span]) -> list[Column]:
    """A figure in one of the periods, its interval and what it counts."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("In", lambda row: spoken_span(spans[row.which])),
        columns.figure("Estimate", "estimate"),
        columns.ends(f"{level} interval"),
        columns.count("n", "n"),
        Column("Counted", lambda row: f"{row.counted}s"),
    ]


def knees_columns(level: str, spans: Mapping[str, Span]) -> list[Column]:
    """What became of the knees of one of the periods."""
    return [
        Column("Knees", lambda row: row.outcome.replace("_", " ")),
        Column("In", lambda row: spoken_span(spans[row.which])),
        columns.share("Share", "share"),
        columns.ends(f"{level} interval", unit="share"),
        Column("Knees of all", lambda row: f"{row.n_outcome:,} of {row.n:,}", ("n_outcome", "n"), numeric=True),
    ]


def one_studio_columns(level: str) -> list[Column]:
    """A figure of one studio."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Studio", lambda row: row.studio),
        columns.figure("Estimate", "estimate"),
        columns.ends(f"{level} interval"),
        columns.count("n", "n"),
    ]


def between_columns(level: str) -> list[Column]:
    """A figure of one studio less another."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Difference of", lambda row: f"{row.studio} less {row.against}"),
        *_difference(f"{level} interval"),
        Column("Told", lambda row: row.judged),
    ]


def _difference(interval_heading: str) -> list[Column]:
    """A difference and its interval as the sentences say them: of shares in points of a hundred."""

    def size(row: PeriodChangeRow | BetweenStudiosRow) -> str:
        return NOTHING if row.difference is None else points(row.unit, row.difference)

    def between(row: PeriodChangeRow | BetweenStudiosRow) -> str:
        return NOTHING if row.low is None or row.high is None else f"{bare(row.unit, row.low)} to {bare(row.unit, row.high)}"

    return [
        Column("Difference", size, ("difference",), numeric=True),
        Column(interval_heading, between, ("low", "high"), numeric=True),
    ]


def signal_columns(every: str) -> list[Column]:
    """A figure that moved: since when, its mean from then on, the mean before, and the centre of the base."""
    return [
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Moved", moved_words),
        Column("From about", lambda row: spoken_period(row.period_from, every)),
        columns.figure("Mean since", "mean"),
        columns.figure("Mean before", "before"),
        columns.figure("Centre", "centre"),
    ]


def period_columns(every: str) -> list[Column]:
    """A figure in one period, with the limits it is held against."""
    return [
        Column(every.capitalize(), lambda row: spoken_period(row.period, every)),
        Column("Figure", lambda row: FIGURES[row.figure]),
        Column("Estimate", _estimate, ("estimate",), numeric=True),
        columns.count("n", "n"),
        columns.figure("Centre", "centre"),
        columns.ends("Limits", "limit_low", "limit_high"),
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
