"""From staged rows to raw versions and core tables, in sets. Every function runs one named SQL file on one table."""

from pathlib import Path
from typing import Any

import pandas as pd

from etl import check
from etl.read import SourceFile, line_of_byte, physical_lines, source_relation
from shared.catalogue import Table, catalogue
from shared.warehouse import Warehouse, quoted

SQL = Path(__file__).with_name("sql")
SESSIONS = "fit_sessions"


def make_tables(warehouse: Warehouse, version: int) -> None:
    """The ledger and one raw and core table for each table of the catalogue, where they are missing."""
    warehouse.run(SQL / "raw/schema.sql")
    if warehouse.value("SELECT count(*) FROM raw.warehouse") == 0:
        warehouse.run("INSERT INTO raw.warehouse VALUES ($version)", {"version": version})
    for table in catalogue().values():
        columns = _typed_columns(table)
        warehouse.run(SQL / "raw/table.sql", table=table.name, columns=columns, key=", ".join(table.key))
        warehouse.run(f'CREATE TABLE IF NOT EXISTS core."{table.name}" ({columns})')


def begin_staging(warehouse: Warehouse) -> None:
    """Empty staging tables for one load."""
    warehouse.run(SQL / "raw/findings_table.sql")
    for table in catalogue().values():
        warehouse.run(SQL / "raw/stage_table.sql", table=table.name, columns=_typed_columns(table))


def stage(warehouse: Warehouse, source: SourceFile, file_no: int, rules: list[check.Rule]) -> tuple[int, int]:
    """Reads one file into staging. Returns how many records it holds and how many of them are rejected."""
    table = source.table
    first = warehouse.value(f"SELECT count(*) FROM staged_{table.name}")
    file = {"file_no": file_no, "file": source.name, "table": table.name, "first_row": first}
    warehouse.run("INSERT INTO staged_files VALUES ($file_no, $file, $table, $first_row)", file)
    _forget_ragged(warehouse)
    relation, parameters = source_relation(source, table.column_names)
    warehouse.run(
        SQL / "raw/stage.sql",
        {**parameters, "file_no": file_no},
        table=table.name,
        values=", ".join(check.stored_value(column) for column in table.columns),
        is_sound=check.is_sound(rules),
        typed_cells=check.typed_cells(table, relation),
    )
    ragged = _ragged_findings(warehouse, source, file_no)
    staged = warehouse.value(f"SELECT count(*) FROM staged_{table.name}") - first
    unsound = warehouse.value(
        f"SELECT count(*) FROM staged_{table.name} WHERE file_no = $file_no AND NOT is_sound", {"file_no": file_no}
    )
    if unsound:
        wanted = (
            f"SELECT rowid - {first} + 1 AS record FROM staged_{table.name} WHERE file_no = {file_no} AND NOT is_sound"
        )
        _make_faulty(warehouse, source, wanted)
        for rule in rules:
            before, after = check.finding_words(rule)
            _add_finding(warehouse, table, file_no, rule.rule, rule.column, rule.broken, before, after)
    _set_lines(warehouse, source, file_no, ragged)
    return staged + len(ragged), unsound + len(ragged)


def decide_fates(warehouse: Warehouse, table: Table) -> dict[str, int]:
    """Makes fates_<table>; returns how many rows each fate has."""
    same_content = " AND ".join(
        f'staged."{name}" IS NOT DISTINCT FROM earlier."{name}"' for name in table.column_names if name not in table.key
    )
    warehouse.run(
        SQL / "raw/fates.sql",
        table=table.name,
        key=quoted(table.key),
        columns=quoted(table.column_names),
        same_content=same_content or "true",
        same_key_as_repeated=_same_key(table, "repeated", "staged"),
        same_key_as_earlier=_same_key(table, "earlier", "staged"),
    )
    rows = warehouse.rows(f"SELECT fate, count(*) AS n FROM fates_{table.name} GROUP BY fate")
    return {row["fate"]: row["n"] for row in rows}


def add_versions(warehouse: Warehouse, table: Table, load_id: int) -> None:
    """Stores new rows and replaces changed ones; the earlier versions stay."""
    warehouse.run(
        SQL / "raw/add_versions.sql",
        {"load_id": load_id},
        table=table.name,
        columns=quoted(table.column_names),
        staged_columns=quoted(table.column_names, "staged."),
        same_key_as_earlier=_same_key(table, "earlier", "staged"),
    )


def build_core(warehouse: Warehouse, table: Table) -> None:
    """Rebuilds core.<table> from the current rows whose references name something, and lists the others."""
    resolved = "".join(f" AND {_resolves(key.column, key.table, key.target)}" for key in table.foreign_keys)
    warehouse.run(
        SQL / "core/build.sql",
        table=table.name,
        columns=quoted(table.column_names),
        key=quoted(table.key),
        resolved=resolved,
    )


def list_unresolved(warehouse: Warehouse, table: Table) -> None:
    """Makes unresolved_<table>: the current rows that core leaves out, with the reference that names nothing."""
    failing = [(key, f"NOT {_resolves(key.column, key.table, key.target)}") for key in table.foreign_keys]
    # A missing rider or fitter comes first: such a row does not only wait for a session.
    failing.sort(key=lambda pair: pair[0].table == SESSIONS)

    def case(values: list[str]) -> str:
        branches = "".join(f" WHEN {test} THEN {value}" for (_, test), value in zip(failing, values, strict=True))
        return f"CASE{branches} END" if failing else "NULL"

    warehouse.run(
        SQL / "core/unresolved.sql",
        table=table.name,
        key=quoted(table.key, "version."),
        column_name=case([f"'{key.column}'" for key, _ in failing]),
        value=case([f'CAST(version."{key.column}" AS VARCHAR)' for key, _ in failing]),
        is_waiting=case([str(key.table == SESSIONS).lower() for key, _ in failing]),
        same_key=_same_key(table, "resolved", "version"),
    )
    warehouse.run(SQL / "raw/waiting.sql", table=table.name)


def final_fates(warehouse: Warehouse, table: Table) -> list[dict[str, Any]]:
    """Rows of file_no, final_fate and n of one table."""
    return warehouse.rows(SQL / "raw/counts.sql", table=table.name, same_key=_same_key(table, "unresolved", "staged"))


def find_duplicates(warehouse: Warehouse, source: SourceFile, file_no: int) -> None:
    """Adds a finding for each row whose key stands again in this load with other content."""
    table = source.table
    key = " + ".join(table.key)
    after = f", expected one row only: the same {key} stands again in this load with other content, so none of its rows is stored. Leave the wrong one out and load again."
    _find_fate(warehouse, source, file_no, "duplicate_key", table.key[0], "fates.fate = 'duplicate'", after)


def find_orphans(warehouse: Warehouse, source: SourceFile, file_no: int) -> None:
    """Adds a finding for each row that names a rider or fitter who is not there."""
    for key in source.table.foreign_keys:
        if key.table != SESSIONS:
            after = f", expected the {key.target} of a row in {key.table}. Load that row, and this one is taken in by itself; or correct the id."
            condition = f"unresolved.is_waiting = false AND unresolved.column_name = '{key.column}' AND fates.fate <> 'duplicate'"
            _find_fate(warehouse, source, file_no, "orphan", key.column, condition, after)


def _find_fate(
    warehouse: Warehouse, source: SourceFile, file_no: int, rule: str, column: str, condition: str, after: str
) -> None:
    table = source.table
    unresolved = (
        f"LEFT JOIN unresolved_{table.name} AS unresolved ON {_same_key(table, 'unresolved', 'staged')}"
        if rule == "orphan"
        else ""
    )
    wanted = (
        f"SELECT staged.rowid - staged_files.first_row + 1 AS record FROM staged_{table.name} AS staged "
        f"INNER JOIN fates_{table.name} AS fates ON fates.staged_row = staged.rowid "
        f"INNER JOIN staged_files ON staged_files.file_no = staged.file_no {unresolved} "
        f"WHERE staged.file_no = {file_no} AND {condition}"
    )
    if warehouse.value(f"SELECT count(*) FROM ({wanted})"):
        _make_faulty(warehouse, source, wanted)
        _add_finding(warehouse, table, file_no, rule, column, "true", f"{column}: found ", after)
        _set_lines(warehouse, source, file_no, [])


def keep_rejects(warehouse: Warehouse, load_id: int) -> int:
    """Keeps the findings of this load in raw.rejects; returns how many are new."""
    before = warehouse.value("SELECT count(*) FROM raw.rejects")
    warehouse.run(SQL / "raw/keep_rejects.sql", {"load_id": load_id})
    return int(warehouse.value("SELECT count(*) FROM raw.rejects") - before)


def release_mended(warehouse: Warehouse, table: Table, load_id: int) -> None:
    """Takes rows out of the rejects that have been mended since, or whose parent has come."""
    warehouse.run(
        SQL / "raw/release_mended.sql",
        {"load_id": load_id},
        table=table.name,
        staged_row_key=_row_key(table, "staged."),
        unresolved_row_key=_row_key(table, "unresolved."),
    )


def _make_faulty(warehouse: Warehouse, source: SourceFile, wanted: str) -> None:
    table = source.table
    warehouse.run(f"CREATE OR REPLACE TEMP TABLE wanted_records AS {wanted}")
    _forget_ragged(warehouse)
    relation, parameters = source_relation(source, table.column_names, whole=True)
    typed = check.typed_cells(table, "SELECT * FROM numbered SEMI JOIN wanted_records USING (record)")
    warehouse.run(SQL / "raw/faulty.sql", parameters, relation=relation, typed_cells=typed)


def _add_finding(
    warehouse: Warehouse, table: Table, file_no: int, rule: str, column: str, broken: str, before: str, after: str
) -> None:
    typed = (
        f"coalesce(CAST(TRY({check.stored_value(table.column(name))}) AS VARCHAR), \"x_{name}\", '')"
        for name in table.key
    )
    warehouse.run(
        SQL / "raw/finding.sql",
        {"file_no": file_no, "rule": rule, "column": column, "before": before, "after": after},
        value=check.shown_value(column),
        broken=broken,
        row_key=f"concat_ws('|', {', '.join(typed)})",
    )


def _ragged_findings(warehouse: Warehouse, source: SourceFile, file_no: int) -> list[int]:
    """Findings of the rows whose cells could not be told apart; returns the lines on which they start."""
    if source.form == ".parquet":
        return []
    lines = []
    for row in warehouse.rows(SQL / "raw/ragged.sql"):
        line = line_of_byte(source, row["line_byte_position"])
        lines.append(line)
        finding = {
            "file_no": file_no,
            "line": line,
            "column": source.headers[0],
            "rule": "cells",
            "received": row["csv_line"],
        }
        words = (
            f"row: {_ragged_words(row['error_type'], row['error_message'])}, as the first line has. "
            "Check the separators and quotes of this row and load again."
        )
        warehouse.run(SQL / "raw/ragged_finding.sql", {**finding, "words": words})
    return lines


def _ragged_words(error_type: str, message: str) -> str:
    if "Expected Number of Columns" in message:
        expected, found = (part.split(":")[1].split()[0] for part in (message, message[message.index("Found") :]))
        return f"found {found} cells, expected {expected}"
    return f"found {error_type.lower()}, expected cells parted by the same separator"


def _forget_ragged(warehouse: Warehouse) -> None:
    warehouse.run("DROP TABLE IF EXISTS ragged_rows")
    warehouse.run("DROP TABLE IF EXISTS ragged_scans")


def _set_lines(warehouse: Warehouse, source: SourceFile, file_no: int, ragged: list[int]) -> None:
    """Gives this file's findings the line numbers of the file itself."""
    wanted = "SELECT DISTINCT record FROM findings WHERE file_no = $file_no AND line IS NULL"
    records = [row["record"] for row in warehouse.rows(wanted, {"file_no": file_no})]
    if not records:
        return
    if not ragged:
        known = "SELECT DISTINCT line FROM findings WHERE file_no = $file_no AND rule = 'cells'"
        ragged = [row["line"] for row in warehouse.rows(known, {"file_no": file_no})]
    lines = physical_lines(source, records, set(ragged))
    warehouse.put("lines", pd.DataFrame({"record": list(lines), "line": list(lines.values())}))
    update = (
        "UPDATE findings SET line = lines.line FROM lines WHERE findings.record = lines.record AND file_no = $file_no"
    )
    warehouse.run(update, {"file_no": file_no})


def _typed_columns(table: Table) -> str:
    return ", ".join(f'"{column.name}" {column.sql_type}' for column in table.columns)


def _same_key(table: Table, left: str, right: str) -> str:
    return " AND ".join(f'{left}."{name}" = {right}."{name}"' for name in table.key)


def _row_key(table: Table, prefix: str) -> str:
    return "concat_ws('|', " + ", ".join(f'CAST({prefix}"{name}" AS VARCHAR)' for name in table.key) + ")"


def _resolves(column: str, table: str, target: str) -> str:
    """SQL that is true where a version's reference is empty or names a row of core."""
    return (
        f'(version."{column}" IS NULL OR EXISTS '
        f'(SELECT 1 FROM core."{table}" AS parent WHERE parent."{target}" = version."{column}"))'
    )
