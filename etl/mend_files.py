"""Writes the rejected rows as files to mend: one for each way in which rows of a table were read."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from etl.mapping import ColumnMapping, TableMapping
from etl.mending import BESIDE, CHANGE, CHANGES, REJECT_NO, heading, kept_layout, mapping_of
from etl.source import Layout
from etl.stage import knee_sql
from shared.catalogue import Table, catalogue
from shared.errors import UsageError
from shared.statistics.wording import counted
from shared.warehouse import Warehouse

SQL = Path(__file__).with_name("sql") / "raw"
Cells = list[str | None]
_Row = dict[str, Any]
# A row with the place where its record stood: load, file, record.
_Placed = tuple[int, int, int, Cells]


@dataclass(frozen=True)
class MendFile:
    """Rows to be mended: `name` without an ending. `mapping`: the text of the mapping that they were read by, if any;
    `n_rejects` is zero for the changes beside another file, which its rows follow from."""

    name: str
    table: str
    headings: tuple[str, ...]
    rows: list[Cells]
    n_rejects: int
    mapping_name: str = ""
    mapping: str = ""


@dataclass
class ToMend:
    """All files to mend, and by table how many rejects cannot be written, since an earlier version did not keep how they were
    read."""

    files: list[MendFile] = field(default_factory=list)
    lost: dict[str, int] = field(default_factory=dict)

    @property
    def lost_words(self) -> list[str]:
        """What is not written, and what to do about it."""
        return [
            f"{counted(n, 'rejected row')} of {table} cannot be written: an earlier fitledger did not keep the mapping by "
            "which they were read. Load their export again, which changes nothing else, and write them then."
            for table, n in self.lost.items()
        ]


def to_mend(warehouse: Warehouse, table_name: str = "") -> ToMend:
    """The rejected rows of one table, or of every one, in the columns of the files that they came from, with the reasons
    beside them; mended, they can be loaded again.

    Rows in contract form stand in the table's own columns. Raises UsageError where there is no table of that name.
    """
    if table_name and table_name not in catalogue():
        raise UsageError(f"{table_name!r} is no table; expected one of {', '.join(catalogue())}.")
    found = ToMend()
    for name, table in catalogue().items():
        if table_name in {"", name}:
            rows = warehouse.rows(SQL / "rejected_rows.sql", {"table": name})
            if n_lost := sum(row["is_lost"] for row in rows):
                found.lost[name] = n_lost
            _add_files(found, warehouse, table, [row for row in rows if not row["is_lost"]])
    return found


def _add_files(found: ToMend, warehouse: Warehouse, table: Table, rows: list[_Row]) -> None:
    by_layout: dict[str | None, list[_Row]] = {}
    for row in rows:
        by_layout.setdefault(row["layout"], []).append(row)
    n_files = 0
    for key, alike in sorted(by_layout.items(), key=lambda pair: pair[0] is not None):
        layout = kept_layout(warehouse, key) if key else None
        if key and layout is None:
            found.lost[table.name] = found.lost.get(table.name, 0) + len(alike)
            continue
        for part in _Writer(warehouse, table, layout, alike).files(n_files):
            found.files.append(part)
            n_files += bool(part.n_rejects)


@dataclass
class _Writer:
    """Rejects of one table that were read alike."""

    warehouse: Warehouse
    table: Table
    layout: Layout | None
    rows: list[_Row]

    def files(self, n_before: int) -> Iterator[MendFile]:
        layout = self.layout
        if layout is None:
            yield self._file(f"{self.table.name}-rejects", self.table.column_names, self._cells_of(self.rows, "cells"))
            return
        mapping = mapping_of(layout)[1]
        if mapping.log is None:
            name = _numbered(self.table, n_before)
            yield self._file(name, layout.headers, self._cells_of(self.rows, "received", mapping))
            return
        for number, (rows, changes) in enumerate(self._parts(), n_before):
            name = _numbered(self.table, number)
            cells = self._cells_of(rows, "received", mapping)
            if mapping.log.files:
                yield self._file(name, layout.headers, cells)
                told = [[*_picked(change, _once(layout.log_headers)), str(n)] for _, _, n, change in changes]
                yield MendFile(
                    name + CHANGES, self.table.name, (*_once(layout.log_headers), heading(CHANGE, layout)), told, 0
                )  # fmt: skip
            else:
                headers, beside = _once(layout.headers), [None] * (1 + len(BESIDE))
                between: list[_Placed] = [(*at, [*_picked(change, headers), *beside]) for *at, change in changes]  # type: ignore[misc]
                yield self._file(name, layout.headers, sorted([*cells, *between], key=lambda cell: cell[:3]))

    def _file(self, name: str, headers: Iterable[str], cells: list[_Placed]) -> MendFile:
        rows = [row for *_, row in cells]
        headings = (*_once(headers), heading(REJECT_NO, self.layout), *BESIDE)
        n_rejects = sum(row[-len(BESIDE) - 1] is not None for row in rows)
        mapping = (self.layout.mapping_name, self.layout.mapping) if self.layout else ("", "")
        return MendFile(name, self.table.name, headings, rows, n_rejects, *mapping)

    def _cells_of(self, rows: list[_Row], given: str, mapping: TableMapping | None = None) -> list[_Placed]:
        """One row a record of the file, in their order, with the numbers and reasons of all rejects that were made of it;
        before each, the place where it stood."""
        records: dict[tuple[int, int, int], list[_Row]] = {}
        for row in rows:
            record = row["source_record"] if mapping and row["source_record"] is not None else -row["reject_no"]
            records.setdefault((row["load_id"], row["file_no"], record), []).append(row)
        told: list[_Placed] = []
        headers = _once(self.layout.headers if self.layout else self.table.column_names)
        for (load_id, file_no, record), alike in records.items():
            columns = [name for row in alike for name in _own_names(row, mapping)]
            words = " ".join(dict.fromkeys(row["words"] for row in alike))
            if alike[0]["ragged"]:
                words += f" Received: {alike[0]['ragged']}"
            beside = ["; ".join(dict.fromkeys(names)) for names in ([row["rule"] for row in alike], columns)]
            numbers = "; ".join(str(row["reject_no"]) for row in alike)
            told.append((load_id, file_no, record, [*_picked(alike[0][given], headers), numbers, *beside, words]))
        return told

    def _parts(self) -> Iterator[tuple[list[_Row], list[tuple[int, int, int, str]]]]:
        """Rejects with the changes that they follow from. A knee's changes of two files are two stories, so that the rejects of
        each stand in a part of their own."""
        kept = self.warehouse.rows(
            SQL / "kept_changes.sql",
            {"table": self.table.name},
            knee=knee_sql(self.table, lambda name: f"json_extract_string(cells, '$.\"{name}\"')"),
        )
        knees = {(row["load_id"], row["file_no"], row["record"]): row["knee"] for row in kept}
        changes = {(row["load_id"], row["file_no"], row["knee"]): row["changes"] for row in kept if row["changes"]}
        seen: dict[str, list[tuple[int, int]]] = {}
        parts: dict[int, list[_Row]] = {}
        wanted: dict[int, dict[tuple[int, int, str], None]] = {}
        for row in self.rows:
            file = (row["load_id"], row["file_no"])
            knee = knees.get((*file, row["source_record"]), "")
            files = seen.setdefault(knee, [])
            if file not in files:
                files.append(file)
            part = files.index(file)
            parts.setdefault(part, []).append(row)
            wanted.setdefault(part, {})[(*file, knee)] = None
        for part, rows in sorted(parts.items()):
            told = {
                (load_id, file_no, change["n"]): change["received"]
                for load_id, file_no, knee in wanted[part]
                for change in json.loads(changes.get((load_id, file_no, knee), "[]"))
            }
            yield rows, sorted((*place, change) for place, change in told.items())


def _numbered(table: Table, n_before: int) -> str:
    return f"{table.name}-rejects" + (f"-{n_before + 1}" if n_before else "")


def _once(headers: Iterable[str]) -> tuple[str, ...]:
    """The headings of a file that a mapping can name: those that are not empty, each once."""
    return tuple(dict.fromkeys(header for header in headers if header))


def _picked(text: str, headers: Iterable[str]) -> Cells:
    """The cells of a record under its headings, as received."""
    cells: dict[str, Any] = {}
    for name, cell in json.loads(text, object_pairs_hook=list):
        cells.setdefault(name, cell)
    return [cells.get(header) for header in headers]


def _own_names(row: _Row, mapping: TableMapping | None) -> list[str]:
    """The file's own names of the columns in which a row is at fault."""
    if mapping is None:
        return list(row["columns"])
    cells = json.loads(row["cells"])
    groups = [mapping.columns, *(each for each in mapping.each if _is_of(each, cells))]
    if mapping.log:
        groups += [mapping.log.columns, *mapping.log.each]
    named = []
    for column in row["columns"]:
        sources = [source for group in groups if column in group for source in group[column].origins]
        named += sources or [column]
    return named


def _is_of(each: dict[str, ColumnMapping], cells: dict[str, Any]) -> bool:
    """Whether a row may have been made by an entry of `each`: its constants are those of the row."""
    return all(spec.value is None or str(spec.value) == str(cells.get(name)) for name, spec in each.items())
