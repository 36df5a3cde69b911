"""Stages files: text cells become typed rows, rows that break a rule become findings with the line on which they stand."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from etl import check
from etl.read import REJECT_NO, RefusedFileError, SourceFile, lines_of_bytes, physical_lines, source_relation
from etl.relation import changes_relation, forget_ragged, gives_other_rows
from shared.catalogue import Table
from shared.warehouse import Warehouse, quoted

SQL = Path(__file__).with_name("sql")
_CHUNK = 1 << 22


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


def stage(warehouse: Warehouse, source: SourceFile, file_no: int, rules: list[check.Rule], may_reject: int) -> tuple[int, int]:
    """Reads one file into staging. Returns how many records it holds and how many of them are rejected.

    Raises RefusedFileError, with nothing of the file left in staging, where those are more than `may_reject`.
    """
    table = source.table
    first = warehouse.value(f"SELECT count(*) FROM staged_{table.name}")
    file = {"file_no": file_no, "file": source.name, "table": table.name, "first_row": first}
    warehouse.run("INSERT INTO staged_files VALUES ($file_no, $file, $table, $first_row)", file)
    forget_ragged(warehouse)
    relation, parameters = _relation(source, table)
    warehouse.run(
        SQL / "raw/stage.sql",
        {**parameters, "file_no": file_no},
        table=table.name,
        values=", ".join(check.stored_value(column) for column in table.columns),
        is_sound=check.is_sound(rules),
        reject_no=f"x_{REJECT_NO}",
        typed_cells=check.typed_cells(table, relation),
    )
    staged = warehouse.value(f"SELECT count(*) FROM staged_{table.name}") - first
    unsound = warehouse.value(
        f"SELECT count(*) FROM staged_{table.name} WHERE file_no = $file_no AND NOT is_sound", {"file_no": file_no}
    )
    n_ragged = 0 if source.form == ".parquet" else warehouse.value("SELECT count(DISTINCT line_byte_position) FROM ragged_rows")
    if unsound + n_ragged > may_reject:
        warehouse.run(SQL / "raw/unstage.sql", {"file_no": file_no}, table=table.name, columns=quoted(table.column_names))
        raise RefusedFileError(too_many_rejected(source))
    ragged = _ragged_findings(warehouse, source, file_no)
    if unsound:
        wanted = f"SELECT rowid - {first} + 1 AS record FROM staged_{table.name} WHERE file_no = {file_no} AND NOT is_sound"
        make_faulty(warehouse, source, wanted)
        for rule in rules:
            before, after = check.finding_words(rule)
            add_finding(warehouse, table, file_no, rule.rule, rule.column, rule.broken, before, after)
    set_lines(warehouse, source, file_no, ragged)
    _keep_line_jumps(warehouse, source, file_no, staged, ragged)
    return staged + len(ragged), unsound + len(ragged)


def too_many_rejected(source: SourceFile) -> str:
    """The sentence for a file with which more rows would be rejected than a load keeps."""
    most = f"{source.reading.most_rejected_rows:,}"
    return (
        f"{source.name}: with it more than {most} rows of this load would be rejected, so that it is hardly an export of "
        f"{source.table.name}. Nothing of this file was loaded. Load its first rows alone to see what is wrong with them, or "
        "raise [reading] most_rejected_rows in the settings."
    )


def make_faulty(warehouse: Warehouse, source: SourceFile, wanted: str) -> None:
    """Makes the table `faulty` of the records that the SQL `wanted` names, whole."""
    table = source.table
    warehouse.run(f"CREATE OR REPLACE TEMP TABLE wanted_records AS {wanted}")
    forget_ragged(warehouse)
    relation, parameters = _relation(source, table, whole=True, numbered=True)
    typed = check.typed_cells(table, "SELECT * FROM numbered SEMI JOIN wanted_records USING (record)")
    warehouse.run(SQL / "raw/faulty.sql", parameters, relation=relation, typed_cells=typed)


def add_finding(
    warehouse: Warehouse, table: Table, file_no: int, rule: str, column: str, broken: str, before: str, after: str
) -> None:
    """Adds a finding for each faulty row for which the SQL `broken` holds."""
    typed = (
        f"coalesce(CAST(TRY({check.stored_value(table.column(name))}) AS VARCHAR), \"x_{name}\", '')" for name in table.key
    )
    cells = ", ".join(f"'{name}', \"x_{name}\"" for name in table.column_names)
    warehouse.run(
        SQL / "raw/finding.sql",
        {"file_no": file_no, "rule": rule, "column": column, "before": before, "after": after},
        value=check.shown_value(column),
        broken=broken,
        cells=f"CAST(json_object({cells}) AS VARCHAR)",
        row_key=f"concat_ws('|', {', '.join(typed)})",
    )


def set_lines(warehouse: Warehouse, source: SourceFile, file_no: int, ragged: list[int]) -> None:
    """Gives this file's findings the line numbers of the file itself; `ragged` are the lines of its ragged rows."""
    wanted = "SELECT DISTINCT record FROM found WHERE file_no = $file_no AND line IS NULL"
    records = [row["record"] for row in warehouse.rows(wanted, {"file_no": file_no})]
    if not records:
        return
    if not ragged:
        known = "SELECT DISTINCT line FROM found WHERE file_no = $file_no AND rule = 'cells'"
        ragged = [row["line"] for row in warehouse.rows(known, {"file_no": file_no})]
    lines = physical_lines(source, records, set(ragged), warehouse)
    warehouse.put("lines", pd.DataFrame({"record": list(lines), "line": list(lines.values())}))
    update = "UPDATE found SET line = lines.line FROM lines WHERE found.record = lines.record AND file_no = $file_no"
    warehouse.run(update, {"file_no": file_no})
    _keep_changes(warehouse, source, file_no)


def typed_columns(table: Table) -> str:
    """The columns of a table as SQL declares them."""
    return ", ".join(f'"{column.name}" {column.sql_type}' for column in table.columns)


def _relation(
    source: SourceFile, table: Table, *, whole: bool = False, numbered: bool = False
) -> tuple[str, dict[str, object]]:
    return source_relation(source, (*table.column_names, REJECT_NO), whole=whole, numbered=numbered)


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
    if n_records == 0 or (not ragged and _is_one_line_a_record(source, n_records)):
        return
    if source.form == ".parquet":
        jumps = pd.Series({1: 0})
    else:
        lines = physical_lines(source, list(range(1, n_records + 1)), set(ragged), warehouse)
        ahead = pd.Series(lines).sort_index() - np.arange(1, len(lines) + 1)
        jumps = ahead[ahead != ahead.shift(fill_value=1)]
    warehouse.put("jumps", pd.DataFrame({"record": jumps.index, "ahead": jumps.to_numpy()}))
    keep = "INSERT INTO raw.line_jumps SELECT $load_id, $file_no, record, ahead FROM jumps ORDER BY record"
    warehouse.run(keep, {"load_id": next_load(warehouse), "file_no": file_no})


def next_load(warehouse: Warehouse) -> int:
    """The number that a load on this warehouse gets; no number is given twice."""
    return 1 + (warehouse.value("SELECT max(load_id) FROM raw.loads") or 0)


def _is_one_line_a_record(source: SourceFile, n_records: int) -> bool:
    if source.form != ".csv" or gives_other_rows(source):
        return False
    breaks, last = 0, b"\n"
    with source.readable_path.open("rb") as file:
        for chunk in iter(lambda: file.read(_CHUNK), b""):
            breaks += chunk.count(b"\n")
            last = chunk[-1:]
    return breaks + (last != b"\n") == n_records + 1
