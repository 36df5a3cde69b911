"""Columns of the tables on the Data page."""

from typing import Any, Final

from dashboard.components.table import Column
from dashboard.figures.names import plain
from dashboard.figures.theme import day, interval, number

QUALITY_KEY: Final = "check"


def _count(heading: str, key: str) -> Column:
    return Column(heading, lambda row: number(getattr(row, key), "count"), (key,), numeric=True)


def quality_columns(level: str) -> list[Column]:
    """Check, share with interval, counts, words."""
    return [
        Column("Check", lambda row: plain(row.check).capitalize()),
        Column("Share", lambda row: number(row.share, "share"), ("share",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, "share"), ("low", "high"), numeric=True),
        _count("n", "n"),
        _count("Of", "total"),
        Column("In words", lambda row: row.words, wide=True),
    ]


TABLES: Final = [
    Column("Table", lambda row: row.table),
    _count("Stored", "stored"),
    _count("Waiting", "waiting"),
    _count("Rejected", "rejected"),
    Column("First day", lambda row: day(row.first_date)),
    Column("Last day", lambda row: day(row.last_date)),
]

LOADS: Final = [
    Column("Load", lambda row: str(row.load_id)),
    Column("Loaded at", lambda row: row.loaded_at[:16].replace("T", " ")),
    _count("Files", "files"),
    _count("Read", "read"),
    _count("Stored", "stored"),
    _count("Replaced", "replaced"),
    _count("Unchanged", "unchanged"),
    _count("Rejected", "rejected"),
    _count("Waiting", "waiting"),
]

REASONS: Final = [
    Column("Reason", lambda row: plain(row.rule).capitalize()),
    Column("Table", lambda row: row.table),
    Column("State", lambda row: row.state),
    _count("Rows", "n"),
    Column("In words", lambda row: row.words, wide=True),
]


def _found(row: Any) -> str:
    return "empty" if row.value is None else row.value


REJECTS: Final = [
    Column("File and line", lambda row: f"{row.file}, line {row.line}"),
    Column("Column", lambda row: row.column),
    Column("Rule", lambda row: plain(row.rule)),
    Column("Found", _found),
    Column("What to do", lambda row: row.words, wide=True),
]
