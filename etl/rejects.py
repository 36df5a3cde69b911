"""Rejected rows: kept from load to load, released when they are mended."""

from collections.abc import Mapping

from etl.core import SESSIONS
from etl.mending import keep_layouts
from etl.merge import SQL, orphan_words, row_key, same_key
from etl.source import SourceFile
from etl.stage import KEPT
from shared.catalogue import Table
from shared.warehouse import Warehouse, quoted

# SQL of the line on which a version stands in its file: the record, and the lines that stand before it.
LINE_OF_VERSION = (
    "version.record + coalesce((SELECT arg_max(jumps.ahead, jumps.record) FROM raw.line_jumps AS jumps "
    "WHERE jumps.load_id = version.load_id AND jumps.file_no = version.file_no AND jumps.record <= version.record), 1)"
)


def leave_recorded(warehouse: Warehouse, table: Table) -> dict[int, int]:
    """Takes out of staging the rows with a faulty cell for which a value is recorded. Returns how many of each file."""
    has_any = (
        "SELECT count(*) FROM found INNER JOIN staged_files ON staged_files.file_no = found.file_no "
        'WHERE found.is_cell AND staged_files."table" = $table'
    )
    if not warehouse.value(has_any, {"table": table.name}):
        return {}
    others = [name for name in table.column_names if name not in table.key]
    cases = " ".join(f"WHEN '{name}' THEN recorded.\"{name}\" IS NOT NULL" for name in others)
    warehouse.run(
        SQL / "raw/leave_recorded.sql",
        {"kept": KEPT},
        table=table.name,
        columns=quoted(table.column_names),
        same_key=same_key(table, "recorded", "faulty"),
        is_recorded=f"CASE faulty.faulty_column {cases} END",
    )
    rows = warehouse.rows("SELECT file_no, count(*) AS n FROM recorded_already GROUP BY file_no")
    return {row["file_no"]: row["n"] for row in rows}


def cells_of(warehouse: Warehouse) -> dict[int, int]:
    """By the number of their file, how many cells were left out of rows that are stored."""
    rows = warehouse.rows('SELECT file_no, count(DISTINCT (record, "column")) AS n FROM found WHERE is_cell GROUP BY file_no')
    return {row["file_no"]: row["n"] for row in rows}


def keep_mended(warehouse: Warehouse, table: Table, load_id: int) -> None:
    """Notes which rejects the staged rows of one table bring again."""
    warehouse.run(SQL / "raw/keep_mended.sql", {"load_id": load_id}, table=table.name)


def keep_findings(warehouse: Warehouse, load_id: int, sources: Mapping[int, SourceFile]) -> int:
    """Keeps every finding of this load, and how its row was read; returns how many are new to the warehouse. `sources` by
    the number of their file."""
    files = {row["file_no"] for row in warehouse.rows("SELECT DISTINCT file_no FROM found")}
    if not files:
        return 0
    keep_layouts(warehouse, [(file_no, source) for file_no, source in sources.items() if file_no in files])
    warehouse.run(SQL / "raw/known_findings.sql")
    warehouse.run(SQL / "raw/keep_findings.sql", {"load_id": load_id})
    return int(warehouse.value("SELECT count(*) FROM numbered_findings WHERE NOT is_known"))


def add_new_orphans(warehouse: Warehouse, table: Table) -> None:
    """Adds a finding for each row of an earlier load that is an orphan now and was not found as this one: its rider has
    come, say, and the fitter has not; or a parent was taken back."""
    parents = "".join(
        f" WHEN '{key.column}' THEN '{orphan_words(key.target, key.table)}'"
        for key in table.foreign_keys
        if key.table != SESSIONS
    )
    if not parents:
        return
    cells = ", ".join(f"'{name}', CAST(version.\"{name}\" AS VARCHAR)" for name in table.column_names)
    warehouse.run(
        SQL / "raw/new_orphans.sql",
        table=table.name,
        line=LINE_OF_VERSION,
        words=f'CASE lost."column"{parents} END',
        cells=f"CAST(json_object({cells}) AS VARCHAR)",
    )


def release(warehouse: Warehouse, table: Table, load_id: int, since: int) -> int:
    """Releases the rejects of one table that loads since `since` have mended, and orphans whose parent has come.

    Returns how many findings this load released.
    """
    add_new_orphans(warehouse, table)
    if not warehouse.value('SELECT count(*) FROM raw.findings WHERE "table" = $table', {"table": table.name}):
        return 0
    version_key = row_key(table, "version.")
    warehouse.run(SQL / "raw/release.sql", {"since": since}, table=table.name, row_key=version_key)
    warehouse.run(SQL / "raw/release_orphans.sql", {"load_id": load_id}, table=table.name)
    released = "SELECT count(*) FROM raw.findings WHERE released_by = $load_id"
    return int(warehouse.value(released, {"load_id": load_id}))
