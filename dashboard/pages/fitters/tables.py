"""Columns of the tables on the Fitters page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from dashboard.components import columns, html
from dashboard.components.table import Column
from dashboard.figures.funnel import difference
from dashboard.figures.theme import NOTHING, interval, number
from dashboard.pages.fitters.named import Names, called
from dashboard.questions.coaching.answers_fitters import FitterRow, ProcessRow

PROCESSES: Final = {
    "exam_complete": "Exam complete",
    "bike_measured": "Bicycle measured before leaving",
    "repeat_capture": "Repeat capture taken",
    "follow_up_booked": "Follow-up booked in time",
    "agreement": "Agrees with the exam",
}


def fitter_columns(unit: str, level: str, names: Names) -> list[Column]:
    """Counts, observed and expected figure, and their difference with its interval."""
    points = ", points" if unit == "share" else ""
    return [
        Column("Fitter", lambda row: called(row.fitter_id, names)),
        columns.count("Fits", "n_fits"),
        columns.count("Riders", "n_riders"),
        Column("Observed", _observed, ("observed",), numeric=True),
        columns.figure("Expected", "expected"),
        Column(
            f"Difference{points}",
            lambda row: difference(row.difference, row.unit),
            ("difference",),
            numeric=True,
        ),
        Column(f"{level} interval", _ends, ("difference_low", "difference_high"), numeric=True),
    ]


def _observed(row: FitterRow) -> str:
    return "not enough yet" if row.observed is None else number(row.observed, row.unit)


def _ends(row: FitterRow) -> str:
    if row.difference_low is None or row.difference_high is None:
        return NOTHING
    return f"{difference(row.difference_low, row.unit)} to {difference(row.difference_high, row.unit)}"


@dataclass(frozen=True)
class Done:
    """Holds what one fitter did: one row for each process."""

    fitter_id: str
    processes: dict[str, ProcessRow]


def done(rows: Sequence[ProcessRow]) -> list[Done]:
    """One row a fitter, in the order of the ids."""
    fitters = dict.fromkeys(row.fitter_id for row in rows)
    return [Done(name, {row.process: row for row in rows if row.fitter_id == name}) for name in fitters]


def process_columns(names: Names | None = None) -> list[Column]:
    """The fits, and a share with its interval for each process; `names` of fitters, for readers who may see them."""
    return [
        Column("Fitter", lambda row: called(row.fitter_id, names or {})),
        Column("Fits", lambda row: number(max(one.total for one in row.processes.values()), "count"), numeric=True),
        *(Column(name, _process(process), numeric=True) for process, name in PROCESSES.items()),
    ]


def _process(process: str) -> Callable[[Done], Any]:
    def text(row: Done) -> Any:
        done = row.processes.get(process)
        if done is None:
            return NOTHING
        if done.share is None and "not recorded" in done.words:
            return "not recorded here"
        if done.share is None:
            return ["not enough yet", html.Br(), html.Small(f"{done.n:,} of {done.total:,}")]
        return [number(done.share, "share"), html.Br(), html.Small(interval(done.low, done.high, "share"))]

    return text


def months(level: str) -> list[Column]:
    """The share of fits in agreement with the exam, by month."""
    return [
        Column("Month", lambda row: f"{date.fromisoformat(row.level):%B %Y}"),
        columns.share("Share", "share"),
        columns.ends(f"{level} interval", unit="share"),
        columns.count("Agree", "n_in_agreement"),
        columns.count("Can be judged", "n_judged"),
        columns.count("Fits", "n_fits"),
    ]


def rules(level: str) -> list[Column]:
    """How often each rule of agreement was asked, and told a note or a flag."""
    return [
        Column("Rule", lambda row: f"{row.told[0].upper()}{row.told[1:]}", wide=True),
        columns.count("Asked", "n_asked"),
        columns.count("Notes", "n_notes"),
        columns.count("Flags", "n_flags"),
        columns.share("Share flagged", "share_flagged"),
        columns.ends(f"{level} interval", unit="share"),
    ]
