"""Stages files: text cells become typed rows, rows that break a rule become findings with the line on which they stand."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from etl import check
from etl.derived import FILLED, UNMATCHED
from etl.read import REJECT_NO, RefusedFileError, SourceFile, lines_of, lines_of_bytes, physical_lines, source_relation
from etl.relation import changes_relation, forget_ragged, gives_other_rows
from shared.catalogue import Table
from shared.warehouse import Warehouse, quoted

SQL = Path(__file__).with_name("sql")
_CHUNK = 1 << 22
# What the words of a finding end in where its row is stored all the same.
KEPT = " The cell is kept as not recorded, and the rest of its row is stored."
# Of each of the files that are read as one: its number, and how many rows and records stand before its own.
READ_FILES = ["position", "file_no", "rows_before", "records_before"]


class Staged(NamedTuple):
    """How many records a file holds, how many of them are rejected, and how many are kept without a rejected cell."""

    read: int
    rejected: int
    partly: int


def begin(warehouse: Warehouse) -> None:
    """Empty tables for the findings and the files of one load."""
    warehouse.run(SQL / "raw/findings_table.sql")


def begin_table(warehouse: Warehouse, table: Table) -> None:
    """An empty staging table."""
    warehouse.run(SQL / "raw/stage_table.sql", table=table.name, columns=typed_columns(table))


def end_table(warehouse: Warehouse, table: Table) -> None:
    """Gives back what one table's staging took."""
    for name in ("staged", "fates", "repeated"):
        warehouse.run(f"DROP TABLE IF EXISTS {name}_{table.name}")


def stage(warehouse: Warehouse, source: SourceFile, file_no: int, rules: list[check.Rule], may_reject: int) -> Staged:
    """Reads one file into staging.

    Raises RefusedFileError, with nothing of the file left in staging, where more than `may_reject` records are rejected or
    hold a rejected cell.
    """
    table = source.table
    first = warehouse.value(f"SELECT count(*) FROM staged_{table.name}")
    file = {"file_no": file_no, "file": source.name, "table": table.name, "first_row": first}
    warehouse.run("INSERT INTO staged_files VALUES ($file_no, $file, $table, $first_row)", file)
    forget_ragged(warehouse)
    relation, parameters = relation_of(source, table)
    warehouse.run(
        SQL / "raw/stage.sql",
        {**parameters, "file_no": file_no},
        table=table.name,
        file_no="$file_no",
        values=check.stored_values(table, rules),
        is_sound=check.is_sound(rules),
        is_whole=check.is_whole(rules),
        reject_no=f"x_{REJECT_NO}",
        typed_cells=check.typed_cells(table, relation),
    )
    staged = warehouse.value(f"SELECT count(*) FROM staged_{table.name}") - first
    counts = "SELECT count(*) FILTER (NOT is_sound) AS unsound, count(*) FILTER (NOT is_whole) AS faulty"
    (row,) = warehouse.rows(f"{counts} FROM staged_{table.name} WHERE file_no = $file_no", {"file_no": file_no})
    unsound, n_faulty = row["unsound"], row["faulty"]
    n_ragged = 0 if source.form == ".parquet" else warehouse.value("SELECT count(DISTINCT line_byte_position) FROM ragged_rows")
    if n_faulty + n_ragged > may_reject:
        unstage(warehouse, table, [file_no])
        raise RefusedFileError(too_many_rejected(source))
    ragged = _ragged_findings(warehouse, source, file_no)
    if n_faulty:
        wanted = f"SELECT rowid - {first} + 1 AS record FROM staged_{table.name} WHERE file_no = {file_no} AND NOT is_whole"
        make_faulty(warehouse, source, file_no, wanted)
        add_findings(warehouse, table, rules)
    set_lines(warehouse, {file_no: source}, set(ragged))
    _keep_line_jumps(warehouse, source, file_no, staged, ragged)
    return Staged(staged + len(ragged), unsound + len(ragged), n_faulty - unsound)


def begin_files(warehouse: Warehouse, table: Table, names: Mapping[int, str]) -> None:
    """Notes the files that were staged together, by their numbers; a file without rows begins nowhere."""
    if names:
        warehouse.put("begun", pd.DataFrame({"file_no": list(names), "file": list(names.values())}))
        warehouse.run(SQL / "raw/begin_files.sql", table=table.name)


def unstage(warehouse: Warehouse, table: Table, file_nos: list[int]) -> None:
    """Takes the records of some files out of staging again."""
    warehouse.run(SQL / "raw/unstage.sql", {"file_nos": file_nos}, table=table.name, columns=quoted(table.column_names))


def too_many_rejected(source: SourceFile) -> str:
    """The sentence for a file with which more rows would be rejected than a load keeps."""
    most = f"{source.reading.most_rejected_rows:,}"
    return (
        f"{source.name}: with it more than {most} rows of this load would be rejected or hold a rejected cell, so that it is "
        "hardly an export of "
        f"{source.table.name}. Nothing of this file was loaded. Load its first rows alone to see what is wrong with them, or "
        "raise [reading] most_rejected_rows in the settings."
    )


def make_faulty(warehouse: Warehouse, source: SourceFile, file_no: int, wanted: str) -> None:
    """Makes the table `faulty` of the records of one file that the SQL `wanted` names, whole."""
    make_faulty_of(warehouse, source, pd.DataFrame([(0, file_no, 0, 0)], columns=READ_FILES), wanted)


def make_faulty_of(warehouse: Warehouse, source: SourceFile, files: pd.DataFrame, wanted: str) -> None:
    """The same of files that are read as one: a row a file in `files`, with the columns READ_FILES."""
    warehouse.put("read_files", files)
    warehouse.run(f"CREATE OR REPLACE TEMP TABLE wanted_records AS {wanted}")
    forget_ragged(warehouse)
    relation, parameters = relation_of(source, source.table, whole=True, numbered=True, placed=True)
    typed = check.typed_cells(source.table, "SELECT * FROM placed")
    warehouse.run(SQL / "raw/faulty.sql", parameters, relation=relation, typed_cells=typed)


def add_findings(warehouse: Warehouse, table: Table, rules: list[check.Rule]) -> None:
    """Adds a finding for each rule that a faulty row breaks."""
    is_sound = check.is_sound(rules)
    for rule in rules:
        before, after = check.finding_words(rule)
        is_cell = is_sound if rule.of_cell else "false"
        add_finding(warehouse, table, rule.rule, rule.column, rule.broken, before, after, is_cell)


def add_finding(
    warehouse: Warehouse, table: Table, rule: str, column: str, broken: str, before: str, after: str, is_cell: str = "false"
) -> None:
    """Adds a finding for each faulty row for which the SQL `broken` holds; of its cell alone where the SQL `is_cell` holds."""
    typed = (
        f"coalesce(CAST(TRY({check.stored_value(table.column(name))}) AS VARCHAR), \"x_{name}\", '')" for name in table.key
    )
    cells = ", ".join(f"'{name}', \"x_{name}\"" for name in table.column_names)
    warehouse.run(
        SQL / "raw/finding.sql",
        {"rule": rule, "column": column, "before": before, "after": after, "kept": KEPT},
        is_cell=is_cell,
        value=check.shown_value(column),
        broken=broken,
        cells=f"CAST(json_object({cells}) AS VARCHAR)",
        row_key=f"concat_ws('|', {', '.join(typed)})",
    )


def set_lines(warehouse: Warehouse, sources: Mapping[int, SourceFile], ragged: set[int]) -> None:
    """Gives the findings of some files, by their numbers, the lines of the files themselves; `ragged` are the lines of ragged
    rows, where one file alone has any."""
    wanted = (
        "SELECT file_no, list(DISTINCT source_record) AS records FROM found "
        "WHERE line IS NULL AND list_contains($nos, file_no) GROUP BY file_no"
    )
    places = []
    for row in warehouse.rows(wanted, {"nos": list(sources)}):
        file_no, source = row["file_no"], sources[row["file_no"]]
        known = "SELECT DISTINCT line FROM found WHERE file_no = $file_no AND rule = 'cells'"
        uneven = ragged or {row["line"] for row in warehouse.rows(known, {"file_no": file_no})}
        lines = lines_of(source, set(row["records"]), uneven)
        places += [(file_no, record, line) for record, line in lines.items()]
    if not places:
        return
    warehouse.put("lines", pd.DataFrame(places, columns=["file_no", "record", "line"]))
    same = "found.source_record = lines.record AND found.file_no = lines.file_no"
    warehouse.run(f"UPDATE found SET line = lines.line FROM lines WHERE {same}")
    for file_no, source in sources.items():
        _keep_changes(warehouse, source, file_no)


def typed_columns(table: Table) -> str:
    """The columns of a table as SQL declares them."""
    return ", ".join(f'"{column.name}" {column.sql_type}' for column in table.columns)


def relation_of(
    source: SourceFile, table: Table, *, whole: bool = False, numbered: bool = False, placed: bool = False
) -> tuple[str, dict[str, object]]:
    """A source as SQL with the columns of its table and the numbers of the rejects that it mends, see `source_relation`."""
    names = (*table.column_names, REJECT_NO, FILLED, UNMATCHED)
    return source_relation(source, names, whole=whole, numbered=numbered, placed=placed)


def _keep_changes(warehouse: Warehouse, source: SourceFile, file_no: int) -> None:
    """Keeps the changes of the setup that rejected rows follow from: a row cannot be read again without them."""
    table, mapped = source.table, source.table_mapping
    if mapped is None or mapped.log is None:
        return
    changes, parameters = changes_relation(source)
    forget_ragged(warehouse)
    warehouse.run(
        SQL / "raw/keep_changes.sql",
        {**parameters, "file_no": file_no},
        changes=changes,
        knee=knee_sql(table, lambda name: f'"x_{name}"'),
        knee_of_cells=knee_sql(table, lambda name: f"json_extract_string(cells, '$.\"{name}\"')"),
    )


def knee_sql(table: Table, cell: Callable[[str], str]) -> str:
    """SQL of what a log's changes are carried along: the key without the number of the capture, in any case of letters."""
    return (
        "concat_ws('|', " + ", ".join(f"coalesce(lower({cell(name)}), '')" for name in table.key if name != "capture_no") + ")"
    )


def _ragged_findings(warehouse: Warehouse, source: SourceFile, file_no: int) -> list[int]:
    """Findings of the rows whose cells could not be told apart; returns the lines on which they start."""
    if source.form == ".parquet":
        return []
    rows = warehouse.frame(SQL / "raw/ragged.sql")
    if rows.empty:
        return []
    lines = lines_of_bytes(source.readable_path, rows["line_byte_position"].tolist())
    words = [
        f"row: {_ragged_words(kind, message)}, as the first line has. "
        "Check the separators and quotes of this row and load again."
        for kind, message in zip(rows["error_type"], rows["error_message"], strict=True)
    ]
    warehouse.put("ragged_told", pd.DataFrame({"line": lines, "received": rows["csv_line"], "words": words}))
    warehouse.run(SQL / "raw/ragged_findings.sql", {"file_no": file_no, "column": source.headers[0]})
    return lines


def _ragged_words(error_type: str, message: str) -> str:
    if "Expected Number of Columns" in message:
        expected, n_cells = (part.split(":")[1].split()[0] for part in (message, message[message.index("Found") :]))
        return f"found {n_cells} cells, expected {expected}"
    return f"found {error_type.lower()}, expected cells parted by the same separator"


def _keep_line_jumps(warehouse: Warehouse, source: SourceFile, file_no: int, n_records: int, ragged: list[int]) -> None:
    """Keeps by how many lines the file runs ahead of its records where that is not one, the header's, all the way."""
    if n_records == 0 or (not ragged and is_one_line_a_record(source, n_records)):
        return
    lines = physical_lines(source, list(range(1, n_records + 1)), set(ragged), warehouse)
    put_line_jumps(warehouse, {file_no: jumps_of(source, [lines[record] for record in sorted(lines)])})


def jumps_of(source: SourceFile, lines: list[int]) -> "pd.Series[int]":
    """By how many lines each record runs ahead of its number, where that is another number than before."""
    if source.form == ".parquet":
        return pd.Series({1: 0})
    ahead = pd.Series(lines, index=range(1, len(lines) + 1)) - np.arange(1, len(lines) + 1)
    return ahead[ahead != ahead.shift(fill_value=1)]


def put_line_jumps(warehouse: Warehouse, jumps: Mapping[int, "pd.Series[int]"]) -> None:
    """Keeps the jumps of some files by their numbers."""
    rows = [(file_no, record, int(ahead)) for file_no, ahead_of in jumps.items() for record, ahead in ahead_of.items()]
    warehouse.put("jumps", pd.DataFrame(rows, columns=["file_no", "record", "ahead"]))
    keep = "INSERT INTO raw.line_jumps SELECT $load_id, file_no, record, ahead FROM jumps ORDER BY file_no, record"
    warehouse.run(keep, {"load_id": next_load(warehouse)})


def next_load(warehouse: Warehouse) -> int:
    """The number that a load on this warehouse gets; no number is given twice."""
    return 1 + (warehouse.value("SELECT max(load_id) FROM raw.loads") or 0)


def is_one_line_a_record(source: SourceFile, n_records: int) -> bool:
    """Whether the records of a file stand on its lines one for one, after the header."""
    if source.form != ".csv" or gives_other_rows(source):
        return False
    breaks, last = 0, b"\n"
    with source.readable_path.open("rb") as file:
        for chunk in iter(lambda: file.read(_CHUNK), b""):
            breaks += chunk.count(b"\n")
            last = chunk[-1:]
    return breaks + (last != b"\n") == n_records + 1
