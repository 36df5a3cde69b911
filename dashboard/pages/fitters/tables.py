"""Columns of the tables on the Fitters page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from dashboard.components import html
from dashboard.components.table import Column
from dashboard.figures.funnel import difference
from dashboard.figures.theme import NOTHING, interval, number
from dashboard.questions.coaching.answers_fitters import FitterRow, ProcessRow

PROCESSES: Final = {
    "exam_complete": "Exam complete",
    "bike_measured": "Bicycle measured before leaving",
    "repeat_capture": "Repeat capture taken",
    "follow_up_booked": "Follow-up booked in time",
    "agreement": "Agrees with the exam",
}


def fitter_columns(unit: str, level: str) -> list[Column]:
    """Counts, observed, expected, ratio (of shares) and difference with intervals, and the difference drawn in."""
    points = ", points" if unit == "share" else ""
    return [
        Column("Fitter", lambda row: row.fitter_id),
        Column("Fits", lambda row: number(row.n_fits, "count"), ("n_fits",), numeric=True),
        Column("Riders", lambda row: number(row.n_riders, "count"), ("n_riders",), numeric=True),
        Column("Observed", _observed, ("observed",), numeric=True),
        Column("Expected", lambda row: number(row.expected, row.unit), ("expected",), numeric=True),
        *(_ratio(level) if unit == "share" else []),
        Column(
            f"Difference{points}",
            lambda row: difference(row.difference, row.unit),
            ("difference",),
            numeric=True,
        ),
        _ends("difference", f"{level} interval"),
        Column(
            f"Drawn toward zero{points}",
            lambda row: difference(row.shrunken_difference, row.unit),
            ("shrunken_difference",),
            numeric=True,
        ),
        _ends("shrunken", f"{level} interval"),
    ]


def _observed(row: FitterRow) -> str:
    return "not enough yet" if row.observed is None else number(row.observed, row.unit)


def _ratio(level: str) -> list[Column]:
    def ends(row: FitterRow) -> str:
        return NOTHING if row.ratio_low is None or row.ratio_high is None else f"{row.ratio_low:.2f} to {row.ratio_high:.2f}"

    return [
        Column("Ratio", lambda row: NOTHING if row.ratio is None else f"{row.ratio:.2f}", ("ratio",), numeric=True),
        Column(f"{level} interval", ends, ("ratio_low", "ratio_high"), numeric=True),
    ]


def _ends(name: str, heading: str) -> Column:
    low, high = f"{name}_low", f"{name}_high"

    def ends(row: FitterRow) -> str:
        if getattr(row, low) is None:
            return NOTHING
        return f"{difference(getattr(row, low), row.unit)} to {difference(getattr(row, high), row.unit)}"

    return Column(heading, ends, (low, high), numeric=True)


@dataclass(frozen=True)
class Done:
    """Holds what one fitter did: one row for each process."""

    fitter_id: str
    processes: dict[str, ProcessRow]


def done(rows: Sequence[ProcessRow]) -> list[Done]:
    """One row a fitter, in the order of the ids."""
    fitters = dict.fromkeys(row.fitter_id for row in rows)
    return [Done(name, {row.process: row for row in rows if row.fitter_id == name}) for name in fitters]


def process_columns() -> list[Column]:
    """A share with its interval and counts for each process."""
    return [
        Column("Fitter", lambda row: row.fitter_id),
        *(Column(name, _process(process), numeric=True) for process, name in PROCESSES.items()),
    ]


def _process(process: str) -> Callable[[Done], Any]:
    def text(row: Done) -> Any:
        done = row.processes.get(process)
        if done is None:
            return NOTHING
        of = html.Small(f"{done.n:,} of {done.total:,}")
        if done.share is None:
            return ["not enough yet", html.Br(), of]
        ends = html.Small(f" ({interval(done.low, done.high, 'share')})")
        return [number(done.share, "share"), ends, html.Br(), of]

    return text


def months(level: str) -> list[Column]:
    """The share of fits in agreement with the exam, by month."""
    return [
        Column("Month", lambda row: f"{date.fromisoformat(row.level):%B %Y}"),
        Column("Share", lambda row: number(row.share, "share"), ("share",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, "share"), ("low", "high"), numeric=True),
        Column("Agree", lambda row: number(row.n_in_agreement, "count"), ("n_in_agreement",), numeric=True),
        Column("Can be judged", lambda row: number(row.n_judged, "count"), ("n_judged",), numeric=True),
        Column("Fits", lambda row: number(row.n_fits, "count"), ("n_fits",), numeric=True),
    ]


def rules(level: str) -> list[Column]:
    """How often each rule of agreement was asked, and told a note or a flag."""
    return [
        Column("Rule", lambda row: f"{row.told[0].upper()}{row.told[1:]}", wide=True),
        Column("Asked", lambda row: number(row.n_asked, "count"), ("n_asked",), numeric=True),
        Column("Notes", lambda row: number(row.n_notes, "count"), ("n_notes",), numeric=True),
        Column("Flags", lambda row: number(row.n_flags, "count"), ("n_flags",), numeric=True),
        Column("Share flagged", lambda row: number(row.share_flagged, "share"), ("share_flagged",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, "share"), ("low", "high"), numeric=True),
    ]
