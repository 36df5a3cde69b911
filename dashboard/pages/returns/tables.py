"""Columns of the tables on the Returns page."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from dashboard.components.table import Column
from dashboard.figures.names import plain
from dashboard.figures.returns import KEPT
from dashboard.figures.returns_curve import Curve, at_day, group_name
from dashboard.figures.theme import NOTHING, bare_number, day, interval, number
from dashboard.questions.returns.answers_returns import ReturnFigure
from dashboard.questions.studio.answers_ratings import RatingRow


@dataclass(frozen=True)
class GroupRow:
    """One group's booking and return rate, as the table prints them: the values of two figures of the answer."""

    level: str | None
    n_asked: int
    booked: float | None
    booked_low: float | None
    booked_high: float | None
    n_closed: int
    returned: float | None
    returned_low: float | None
    returned_high: float | None


@dataclass(frozen=True)
class StepRow:
    """A curve on one day of the grid on which numbers at risk are printed."""

    level: str | None
    days: int
    n_at_risk: int
    returned: float
    returned_low: float | None
    returned_high: float | None
    ended_otherwise: float


def group_rows(figures: Sequence[ReturnFigure]) -> list[GroupRow]:
    """All fits, then each level, in the order of the answer."""
    found = {(row.figure, row.level): row for row in figures}
    levels = dict.fromkeys(row.level for row in figures)
    pairs = [(level, found["booked", level], found["return_rate", level]) for level in levels]
    return [
        GroupRow(level, booked.n, booked.estimate, booked.low, booked.high, back.n, back.estimate, back.low, back.high)
        for level, booked, back in pairs
    ]


def step_rows(curves: Sequence[Curve]) -> list[StepRow]:
    """The step of each curve that holds on each day of the grid, as far as the curve is drawn."""
    rows = []
    for curve in curves:
        for risk in curve.at_risk:
            step = at_day(curve, risk.days)
            if risk.days > curve.last_day:
                continue
            told = (
                (step.returned, step.returned_low, step.returned_high, step.ended_otherwise) if step else (0.0, None, None, 0.0)
            )
            rows.append(StepRow(curve.level, risk.days, risk.n_at_risk, *told))
    return rows


def _count(heading: str, key: str) -> Column:
    return Column(heading, lambda row: number(getattr(row, key), "count"), (key,), numeric=True)


def _share(heading: str, key: str) -> Column:
    def told(row: object) -> str:
        share = getattr(row, key)
        return "not enough yet" if share is None else number(share, "share")

    return Column(heading, told, (key,), numeric=True)


def _ends(heading: str, low: str, high: str) -> Column:
    return Column(heading, lambda row: interval(getattr(row, low), getattr(row, high), "share"), (low, high), numeric=True)


def group_columns(split: str | None, level: str) -> list[Column]:
    """Group, then booking and return rate with their intervals and counts."""
    return [
        Column(plain(split).capitalize() if split else "Fits", lambda row: group_name(row.level)),
        _count("Fits asked to book", "n_asked"),
        _share("Booked", "booked"),
        _ends(f"{level} interval", "booked_low", "booked_high"),
        _count("Windows closed", "n_closed"),
        _share("Came back", "returned"),
        _ends(f"{level} interval", "returned_low", "returned_high"),
    ]


def step_columns(split: str | None, level: str) -> list[Column]:
    return [
        Column(plain(split).capitalize() if split else "Fits", lambda row: group_name(row.level)),
        Column("Day", lambda row: f"{row.days}", ("days",), numeric=True),
        _count("At risk", "n_at_risk"),
        _share("Seen again", "returned"),
        _ends(f"{level} interval", "returned_low", "returned_high"),
        _share("Booking came to nothing", "ended_otherwise"),
    ]


def overdue_columns(as_of: date | None, today: date | None) -> list[Column]:
    """Who is overdue since when: by the data's last day and, where it is named, by today."""
    counts = [_days_over("Days over" if today is None else f"Days over on {day(as_of)}", "days_over")]
    if today is not None:
        counts.append(_days_over(f"Days over today, {day(today)}", "days_over_today"))
    return [
        Column("Booking", lambda row: row.follow_up_id),
        Column("Fit", lambda row: row.session_id),
        Column("Rider", lambda row: row.rider_id),
        Column("Due on", lambda row: day(row.due_on)),
        *counts,
    ]


def _days_over(heading: str, key: str) -> Column:
    def told(row: object) -> str:
        days = getattr(row, key)
        return "not yet" if days is None else number(days, "count")

    return Column(heading, told, (key,), numeric=True)


def lasting_columns(level: str) -> list[Column]:
    return [
        Column("Outcome", lambda row: row.outcome.capitalize()),
        _count("Knees", "n_knees"),
        _count("Seen again", "n_seen"),
        _share("Held, of seen", "held"),
        _ends("Of all, bounds", "worst", "best"),
        _ends("With chance", "bounds_low", "bounds_high"),
        _share("Of all, if alike", "alike"),
        _ends(f"{level} interval", "alike_low", "alike_high"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def kept_columns(level: str) -> list[Column]:
    return [
        Column("Setup", lambda row: KEPT[row.figure]),
        _count("Follow-ups", "n"),
        _share("Share", "estimate"),
        _ends(f"{level} interval", "low", "high"),
    ]


def _mean(points: float | None) -> str:
    return "not enough yet" if points is None else bare_number(points, "points")


def _between(heading: str, low: str, high: str) -> Column:
    def told(row: object) -> str:
        ends = (getattr(row, low), getattr(row, high))
        return NOTHING if None in ends else f"{bare_number(ends[0], 'points')} to {bare_number(ends[1], 'points')}"

    return Column(heading, told, (low, high), numeric=True)


SAID: Final = [
    Column("Topic", lambda row: row.topic.capitalize()),
    _count("Fits", "n_fits"),
    _count("Answers", "n"),
    Column("Median", lambda row: _points(row.median_points), ("median_points",), numeric=True),
    Column(
        "Middle half",
        lambda row: NOTHING if row.median_points is None else f"{row.quartile_low_points:g} to {row.quartile_high_points:g}",
        ("quartile_low_points", "quartile_high_points"),
        numeric=True,
    ),
    Column("Mean", lambda row: _mean(row.mean_points), ("mean_points",), numeric=True),
    _between("Mean of all, bounds", "worst_points", "best_points"),
    _between("With chance", "bounds_low_points", "bounds_high_points"),
    Column("Mean of all, if alike", lambda row: _mean(row.alike_points), ("alike_points",), numeric=True),
    _between("Its interval", "alike_low_points", "alike_high_points"),
]


def rating_columns(level: str) -> list[Column]:
    """Topic, the pairs, both medians, and how many were better, the same, worse."""
    return [
        Column("Topic", lambda row: plain(row.topic).capitalize()),
        _count("Pairs", "n_pairs"),
        Column("Median at departure", lambda row: _points(row.median_from), ("median_from",), numeric=True),
        Column("Median at follow-up", lambda row: _points(row.median_to), ("median_to",), numeric=True),
        Column("Mean change", lambda row: _signed(row.mean_change_points), ("mean_change_points",), numeric=True),
        Column(f"{level} interval", _signed_ends, ("mean_low_points", "mean_high_points"), numeric=True),
        _share("Better", "share_better"),
        _share("The same", "share_same"),
        _share("Worse", "share_worse"),
    ]


def _signed(points: float | None) -> str:
    """A change in points with its sign; a rounded zero has none."""
    text = bare_number(points, "points")
    return text if points is None or points < 0 or not float(text) else f"+{text}"


def _signed_ends(row: RatingRow) -> str:
    ends = (row.mean_low_points, row.mean_high_points)
    return NOTHING if None in ends else f"{_signed(ends[0])} to {_signed(ends[1])}"


def _points(value: float | None) -> str:
    return "not enough yet" if value is None else f"{value:g}"
