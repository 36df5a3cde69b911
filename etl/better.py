"""What would make a warehouse's figures better: repeats, exams and bookings, counted over its fits."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from shared.statistics.wording import counted
from shared.warehouse import Warehouse

SQL: Final = Path(__file__).with_name("sql") / "recorded.sql"


@dataclass(frozen=True)
class Better:
    """One thing to record more of: of `n_fits` fits it is there in `n_recorded`."""

    what: str
    n_recorded: int
    n_fits: int
    words: str

    @property
    def share(self) -> float:
        return self.n_recorded / self.n_fits if self.n_fits else 0.0


def what_is_better(warehouse: Warehouse) -> tuple[Better, ...]:
    """The three, the least recorded first."""
    (row,) = warehouse.rows(SQL)
    n = row["n_fits"]
    three = (
        Better("repeats", row["n_repeats"], n, _words(
            row["n_repeats"], n, "hold a repeat, two captures with nothing changed between them",
            "Record one capture of each visit twice: from repeats comes how much a knee differs from itself, "
            "beside which every change is judged",
        )),
        Better("exams", row["n_exams"], n, _words(
            row["n_exams"], n, "have an exam of the feet",
            "Record foot_exams at the first visit: without it a fit is in no figure by type of foot",
        )),
        Better("bookings", row["n_bookings"], n, _words(
            row["n_bookings"], n, "have a booking in follow_ups",
            "Export the calendar as follow_ups: from it comes whom to call, who comes back and whether a fit holds",
        )),
    )  # fmt: skip
    return tuple(sorted(three, key=lambda one: one.share))


def _words(n_recorded: int, n_fits: int, have: str, advice: str) -> str:
    if n_fits == 0:
        return f"No fit is there yet. {advice}."
    if n_recorded == n_fits:
        return f"All {counted(n_fits, 'fit')} {have}: nothing to do."
    return f"{n_recorded:,} of {counted(n_fits, 'fit')} {have}. {advice}."
