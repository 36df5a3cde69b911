"""Columns of the tables on the Data page."""

from datetime import date
from typing import Any, Final

from dashboard.components.columns import count
from dashboard.components.table import Column
from dashboard.figures.loading import reason_name
from dashboard.figures.names import plain, table_name
from dashboard.figures.theme import NOTHING, day, finely, interval, number
from shared.units import UNITS

QUALITY_KEY: Final = "check"
FILES_NAMED: Final = 2


def quality_columns(level: str) -> list[Column]:
    """Makes the columns: check, share with interval, counts, words."""
    return [
        Column("Check", lambda row: plain(row.check).capitalize()),
        Column("Share", lambda row: number(row.share, "share"), ("share",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, "share"), ("low", "high"), numeric=True),
        count("n", "n"),
        count("Of", "total"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def _bare(column: str) -> str:
    """A column's name in words, without its unit: hip flexion."""
    suffix = next((unit.suffix for unit in UNITS.values() if column.endswith(unit.suffix)), "")
    return plain(column.removesuffix(suffix)).capitalize()


EXAMS: Final = [
    Column("Part of the exam", lambda row: _bare(row.column)),
    count("Feet without it", "n"),
    count("Of", "total"),
    Column("Share", lambda row: number(row.share, "share"), ("share",), numeric=True),
]


def noise_columns(level: str) -> list[Column]:
    """Makes the columns: outcome, typical error with interval, smallest real change, drift, pairs, words."""
    return [
        Column("Outcome", lambda row: plain(row.outcome).capitalize()),
        Column("Typical error", lambda row: finely(row.unit, row.typical_error), ("typical_error",), numeric=True),
        Column(
            f"{level} interval",
            lambda row: finely(row.unit, row.typical_error_low, row.typical_error_high),
            ("typical_error_low", "typical_error_high"),
            numeric=True,
        ),
        Column("Smallest real change", lambda row: number(row.mdc95, row.unit), ("mdc95",), numeric=True),
        count("Repeat pairs", "n_pairs"),
        count("Riders", "n_riders"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def _unbroken(words: str) -> str:
    return words.replace(" ", "\u00a0")


TABLES: Final = [
    Column("Table", lambda row: table_name(row.table).capitalize()),
    count("Stored", "stored"),
    count("Waiting", "waiting"),
    count("Rejected", "rejected"),
    count("Cells left out", "cells"),
    Column("First day", lambda row: _unbroken(day(row.first_date))),
    Column("Last day", lambda row: _unbroken(day(row.last_date))),
]


def _named(row: Any) -> str:
    names = row.names.split("\n") if row.names else []
    further = len(names) - FILES_NAMED
    return ", ".join(names[:FILES_NAMED]) + (f" and {further} more" if further > 0 else "") or NOTHING


def _brought(heading: str, key: str) -> Column:
    """A count that is gone where the load was taken back."""
    return Column(
        heading,
        lambda row: NOTHING if row.undone_at else number(getattr(row, key), "count"),
        (key,),
        numeric=True,
    )


LOADS: Final = [
    Column("Load", lambda row: str(row.load_id)),
    Column("Loaded at (UTC)", lambda row: moment(row.loaded_at)),
    Column("Files", _named, wide=True),
    *(_brought(name.capitalize(), name) for name in ("read", "stored", "replaced", "unchanged", "rejected", "waiting")),
]


def moment(written: str) -> str:
    """A time as 2 Jan 2026, 08:10."""
    return f"{_unbroken(day(date.fromisoformat(written[:10])))}, {written[11:16]}"


REASONS: Final = [
    Column("Reason", lambda row: reason_name(row.rule).capitalize()),
    Column("Table", lambda row: table_name(row.table)),
    Column("State", lambda row: row.state),
    count("Rows or cells", "n"),
    Column("For example", lambda row: row.words, wide=True),
]


def _value_found(row: Any) -> str:
    return "empty" if row.value is None else row.value


def _place(row: Any) -> str:
    return f"{row.file}, line {row.line}"


REJECTS: Final = [
    Column("File and line", _place),
    Column("Column", lambda row: row.column),
    Column("Reason", lambda row: reason_name(row.rule)),
    Column("Left out", lambda row: "the cell" if row.is_cell else "the row"),
    Column("Found", _value_found),
    Column("What to do", lambda row: row.words, wide=True),
]

WAITING: Final = [
    Column("Waits for", lambda row: f"{row.column} {row.value}"),
    Column("Table", lambda row: row.table),
    count("Rows", "n"),
    Column("File", lambda row: row.file, wide=True),
    Column("Load", lambda row: str(row.load_id), numeric=True),
]

WARNING_NAMES: Final = {
    "no_departure_bike": "Bicycle not measured at departure",
    "no_exam": "No exam",
    "far_value": "Far from the other values",
    "knee_jump": "Jump with nothing changed",
}

WARNINGS: Final = [
    Column("Warning", lambda row: WARNING_NAMES.get(row.rule, plain(row.rule).capitalize())),
    Column("Column", lambda row: f"{row.table}, {row.column}"),
    count("Rows", "n"),
    Column("For example", lambda row: row.words, wide=True),
]

NEW_WARNINGS: Final = [
    *WARNINGS[:3],
    Column("For example", lambda row: " ".join(row.examples), wide=True),
]


FILES: Final = [
    Column("File", lambda row: row.file),
    Column("Table", lambda row: row.table or ("refused" if row.refused else NOTHING)),
    *(count(name.capitalize(), name) for name in ("read", "stored", "replaced", "unchanged", "rejected", "waiting")),
    Column("In words", lambda row: row.words, wide=True),
]
