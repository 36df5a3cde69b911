"""Can we trust it: what the warehouse holds, what was rejected or waits, and how complete the fits are."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from dashboard.questions.data import SQL
from dashboard.questions.data.answers_data import (
    AbsentRow,
    Data,
    ExamRow,
    LeftOutRow,
    LoadRow,
    QualityRow,
    ReasonRow,
    RejectRow,
    TableRow,
    WaitingRow,
    WarningRow,
)
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.numbers import spoken_percent, spoken_percent_below
from dashboard.questions.selection.scope import Scope, counted, fragments, scope_of
from dashboard.questions.selection.selection import Selection
from shared.catalogue import Table, catalogue
from shared.recorded import COSTS, cost_words
from shared.row_words import example_words
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.warehouse import Warehouse

METHOD = {
    "rejected": "rows that break a rule of the contract, kept whole",
    "cells": "faulty cells that may be empty: left out as not recorded, and their rows are in",
    "intervals": "Wilson",
}

# What is asked of each fit: the name of the check, the counting column, and the sentence.
_CHECKS = (
    ("exam_complete", "n_examined", "{share} of fits have arch and forefoot examined on both feet ({n} of {total})."),
    ("exam_missing", "n_unexamined", "{share} of fits have no exam of either foot ({n} of {total})."),
    ("recorded_twice", "n_recorded_twice", "{share} of fits were recorded at arrival and departure ({n} of {total})."),
    ("bike_measured", "n_bike_measured", "{share} of fits have the bicycle measured before leaving ({n} of {total})."),
    ("repeat_capture", "n_repeated", "{share} of fits hold a repeat capture with nothing changed ({n} of {total})."),
)
_NAMES = {
    "exam_complete": "Arch and forefoot examined on both feet",
    "exam_missing": "No exam of either foot",
    "recorded_twice": "Recorded at arrival and departure",
    "bike_measured": "Bicycle measured before leaving",
    "repeat_capture": "A repeat capture with nothing changed",
}


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember = at_once) -> Data:
    """Tables, loads and rejects of the whole warehouse; completeness of the selected fits."""
    scope = scope_of(warehouse, selection, settings, remember)
    whole: dict[str, Any] = {**whole_warehouse(warehouse, remember)}
    return Data(
        **scope.head(selection),
        method=METHOD,
        headline=_headline(whole["tables"]),
        quality=tuple(_quality(warehouse, scope, settings)),
        exams=tuple(_exams(warehouse, scope, settings)),
        absent=tuple(AbsentRow(stand, cost_words(stand)) for stand in scope.recorded.lacking(tuple(COSTS))),
        **whole,
    )


def whole_warehouse(warehouse: Warehouse, remember: Remember) -> dict[str, tuple[Any, ...]]:
    """The answer's lists on the whole warehouse, by their names in the answer; read once for all who ask."""
    whole: dict[str, tuple[Any, ...]] = remember(("whole warehouse",), lambda: _whole(warehouse))
    return whole


def _whole(warehouse: Warehouse) -> dict[str, tuple[Any, ...]]:
    """Reads the answer's lists on the whole warehouse, whatever is selected, by their names in the answer."""
    return {
        "tables": tuple(_table_row(warehouse, table) for table in catalogue().values()),
        "loads": tuple(LoadRow(**row) for row in warehouse.rows(SQL / "data_loads.sql")),
        "reasons": tuple(ReasonRow(**row) for row in warehouse.rows(SQL / "data_reasons.sql")),
        "rejects": tuple(RejectRow(**row) for row in warehouse.rows(SQL / "data_rejects.sql")),
        "warnings": tuple(_warnings(warehouse)),
        "waiting": tuple(WaitingRow(**row) for row in warehouse.rows(SQL / "data_waiting.sql")),
        "left_out": tuple(LeftOutRow(**row) for row in warehouse.rows(SQL / "data_left_out.sql")),
    }


def _warnings(warehouse: Warehouse) -> Iterator[WarningRow]:
    for row in warehouse.rows(SQL / "data_warnings.sql"):
        words = " ".join(example_words(row["table"], row.pop("examples")))
        yield WarningRow(**row, words=words)


def _table_row(warehouse: Warehouse, table: Table) -> TableRow:
    own = next((column.name for column in table.columns if column.type == "date" and column.required), None)
    dates = {
        f"{word}_date": f'(SELECT {function}("{own}") FROM core."{table.name}")' if own else "CAST(NULL AS DATE)"
        for word, function in (("first", "min"), ("last", "max"))
    }
    return TableRow(**warehouse.rows(SQL / "data_tables.sql", None, table=table.name, **dates)[0])


def _headline(tables: tuple[TableRow, ...]) -> str:
    stored, waiting, rejected = (sum(getattr(row, name) for row in tables) for name in ("stored", "waiting", "rejected"))
    total = stored + waiting + rejected
    if total == 0:
        return "The warehouse is empty: load exports to begin."
    n_cells = sum(row.cells for row in tables)
    cells = f" {counted(n_cells, 'faulty cell')} kept as not recorded, in rows that are in." if n_cells else ""
    left_out = f"{counted(rejected, 'row')} rejected and {counted(waiting, 'row')} waiting for a session"
    shares = f"{spoken_percent_below(stored / total)} of {counted(total, 'row')} are in the figures"
    return f"{shares}; {left_out}, each kept with its reason.{cells}"


def _quality(warehouse: Warehouse, scope: Scope, settings: Settings) -> Iterator[QualityRow]:
    row = warehouse.rows(SQL / "data_quality.sql", scope.parameters, **fragments())[0]
    total = row["n_fits"]
    for check, column, words in _CHECKS:
        n = row[column]
        if absent := scope.recorded.instead(check):
            yield QualityRow(check, 0, 0, None, None, None, f"{_NAMES[check]}: {absent}.")
            continue
        if total < settings.minimum.riders_shown:
            yield QualityRow(check, n, total, None, None, None, f"Not enough yet: {counted(total, 'fit')}.")
            continue
        events = np.repeat([1.0, 0.0], [n, total - n])
        share = clustered_share(events, np.arange(total), settings.intervals.level)
        sentence = words.format(share=spoken_percent(share.estimate), n=f"{n:,}", total=f"{total:,}")
        yield QualityRow(check, n, total, share.estimate, share.low, share.high, sentence)


def _exams(warehouse: Warehouse, scope: Scope, settings: Settings) -> Iterator[ExamRow]:
    if scope.recorded.instead("exam_complete"):
        return
    exams = catalogue()["foot_exams"]
    columns = [column for column in exams.column_names if column not in exams.key]
    counts = ", ".join(f'count(exams."{column}") AS "{column}"' for column in columns)
    row = warehouse.rows(SQL / "data_exams.sql", scope.parameters, **fragments(), counts=counts)[0]
    total = row["total"]
    for column in columns:
        n = total - row[column]
        yield ExamRow(column, n, total, share=n / total if total >= settings.minimum.rows_shown else None)
