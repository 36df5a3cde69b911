"""Columns of the tables on the Returns page."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from dashboard.components import columns, html
from dashboard.components.table import Column
from dashboard.figures.names import plain
from dashboard.figures.returns import BECAME, KEPT
from dashboard.figures.returns_curve import Curve, at_day, group_name
from dashboard.figures.theme import NOTHING, bare_number, interval, number
from dashboard.questions.returns.answers_returns import ReturnFigure
from dashboard.questions.studio.answers_ratings import RatingRow


@dataclass(frozen=True)
class GroupRow:
    """One group's booking rate, return rate and share that held, as the table prints them: three figures of the answer."""

    level: str | None
    n_asked: int
    booked: float | None
    booked_low: float | None
    booked_high: float | None
    n_closed: int
    returned: float | None
    returned_low: float | None
    returned_high: float | None
    n_measured: int
    held: float | None
    held_low: float | None
    held_high: float | None


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
    by_figure_and_level = {(row.figure, row.level): row for row in figures}
    rows = []
    for level in dict.fromkeys(row.level for row in figures):
        parts = [by_figure_and_level[figure, level] for figure in ("booked", "return_rate", "held")]
        rows.append(GroupRow(level, *(value for row in parts for value in (row.n, row.estimate, row.low, row.high))))  # type: ignore[arg-type]
    return rows


def step_rows(curves: Sequence[Curve]) -> list[StepRow]:
    """The step of each curve that holds on each day of the grid, as far as the curve is drawn."""
    rows = []
    for curve in curves:
        for risk in curve.at_risk:
            step = at_day(curve, risk.days)
            if risk.days > curve.last_day:
                continue
            shares = (
                (step.returned, step.returned_low, step.returned_high, step.ended_otherwise) if step else (0.0, None, None, 0.0)
            )
            rows.append(StepRow(curve.level, risk.days, risk.n_at_risk, *shares))
    return rows


def group_columns(split: str | None) -> list[Column]:
    """Makes the columns: group, then each share with its interval and what it is a share of."""
    return [
        Column(plain(split).capitalize() if split else "Fits", lambda row: group_name(row.level)),
        _told("Booked", "booked", "n_asked", "fits"),
        _told("Came back", "returned", "n_closed", "fits"),
        _told("Held", "held", "n_measured", "measured again"),
    ]


def _told(heading: str, key: str, of: str, noun: str) -> Column:
    """A share, its interval and its count in one cell."""
    keys = (key, f"{key}_low", f"{key}_high", of)

    def cell(row: object) -> list[object]:
        share, low, high, n = (getattr(row, name) for name in keys)
        counted = html.Small(f"of {number(n, 'count')} {noun}", className="quiet")
        if share is None:
            return ["not enough yet", html.Br(), counted]
        return [number(share, "share"), f" ({interval(low, high, 'share')})", html.Br(), counted]

    return Column(heading, cell, keys)


def held_columns(level: str) -> list[Column]:
    return [
        Column("What became of them", lambda row: BECAME[row.became]),
        columns.count("Fits", "n"),
        columns.share("Share", "share"),
        columns.ends(f"{level} interval", "low", "high", "share"),
        columns.ends("Of all, bounds", "bounds_low", "bounds_high", "share"),
        columns.ends("With chance", "chance_low", "chance_high", "share"),
    ]


def step_columns(split: str | None, level: str) -> list[Column]:
    return [
        Column(plain(split).capitalize() if split else "Fits", lambda row: group_name(row.level)),
        Column("Day", lambda row: f"{row.days}", ("days",), numeric=True),
        columns.count("Still counted", "n_at_risk"),
        columns.share("Seen again", "returned"),
        columns.ends(f"{level} interval", "returned_low", "returned_high", "share"),
        columns.share("Booking came to nothing", "ended_otherwise"),
    ]


def lasting_columns(level: str) -> list[Column]:
    return [
        Column("Outcome", lambda row: row.outcome.capitalize()),
        columns.count("Knees", "n_knees"),
        columns.count("Seen again", "n_seen"),
        columns.share("Held, of seen", "held"),
        columns.ends("Of all, bounds", "worst", "best", "share"),
        columns.ends("With chance", "bounds_low", "bounds_high", "share"),
        columns.share("Of all, if alike", "alike"),
        columns.ends(f"{level} interval", "alike_low", "alike_high", "share"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def worth_columns(level: str) -> list[Column]:
    return [
        Column("Rated", lambda row: row.topic.capitalize()),
        Column("It was", lambda row: row.verdict),
        columns.count("Fits", "n"),
        columns.share("Share", "share"),
        columns.ends(f"{level} interval", "low", "high", "share"),
    ]


def kept_columns(level: str) -> list[Column]:
    return [
        Column("Setup", lambda row: KEPT[row.figure]),
        columns.count("Follow-ups", "n"),
        columns.share("Share", "estimate"),
        columns.ends(f"{level} interval", "low", "high", "share"),
    ]


def _mean(points: float | None) -> str:
    return "not enough yet" if points is None else bare_number(points, "points")


def _between(heading: str, low: str, high: str) -> Column:
    def ends_words(row: object) -> str:
        ends = sorted(end for end in (getattr(row, low), getattr(row, high)) if end is not None)
        return NOTHING if len(ends) < 2 else f"{bare_number(ends[0], 'points')} to {bare_number(ends[1], 'points')}"

    return Column(heading, ends_words, (low, high), numeric=True)


SAID: Final = [
    Column("Topic", lambda row: row.topic.capitalize()),
    columns.count("Fits", "n_fits"),
    columns.count("Answers", "n"),
    Column("Middle answer", lambda row: _points(row.median_points), ("median_points",), numeric=True),
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
    """Makes the columns: topic, pairs, both medians, and how many were better, the same, worse."""
    return [
        Column("Topic", lambda row: plain(row.topic).capitalize()),
        columns.count("Pairs", "n_pairs"),
        Column("Middle at departure", lambda row: _points(row.median_from), ("median_from",), numeric=True),
        Column("Middle at follow-up", lambda row: _points(row.median_to), ("median_to",), numeric=True),
        Column("Mean change", lambda row: _signed(row.mean_change_points), ("mean_change_points",), numeric=True),
        Column(f"{level} interval", _signed_ends, ("mean_low_points", "mean_high_points"), numeric=True),
        columns.share("Better", "share_better"),
        columns.share("The same", "share_same"),
        columns.share("Worse", "share_worse"),
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
