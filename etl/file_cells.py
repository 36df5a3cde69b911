"""A file as SQL: the set-based reader on it, its cells c0, c1, … as text, and what of its place and its rows is told beside."""

from collections.abc import Callable
from typing import Any

from etl.mapped_cells import Binder
from etl.mending import GUARDED
from etl.source import SourceFile
from shared.paths import pattern_of
from shared.warehouse import Warehouse

# Before the names of what belongs to the reading of a log.
OF_LOG = "log_"


def read_sql(source: SourceFile, prefix: str = "") -> tuple[str, dict[str, Any]]:
    """The set-based reader on a source, its columns named c0, c1, …"""
    names = [f"c{index}" for index in range(len(source.headers))]
    if source.form == ".parquet":
        relation = f"read_parquet(${prefix}path, hive_partitioning = false) AS given({', '.join(names)})"
        return relation, {f"{prefix}path": pattern_of(source.readable_path)}
    number = "'position': 'INTEGER', " if source.is_joined else ""
    columns = number + ", ".join(f"'{name}': 'VARCHAR'" for name in names)
    relation = (
        f"read_csv(${prefix}path, header = {not source.is_joined}, auto_detect = false, delim = ${prefix}separator, "
        f"quote = '\"', escape = '\"', columns = {{{columns}}}, ignore_errors = true, store_rejects = true, "
        f"null_padding = false, skip = {0 if source.is_joined else source.skip_lines:d}, compression = 'none', "
        "hive_partitioning = false, "
        f"rejects_table = '{prefix}ragged_rows', rejects_scan = '{prefix}ragged_scans', "
        f"rejects_limit = {source.reading.most_rejected_rows + 1:d})"
    )
    return relation, {f"{prefix}path": pattern_of(source.readable_path), f"{prefix}separator": source.separator}


def position_sql(source: SourceFile) -> str:
    """The number of a row's file among those that are read as one."""
    return "position" if source.is_joined else "0"


def forget_ragged(warehouse: Warehouse) -> None:
    """Forgets what the set-based reader set aside at its last reading, of a file and of its log."""
    for prefix in ("", OF_LOG):
        for part in ("rows", "scans"):
            warehouse.run(f"DROP TABLE IF EXISTS {prefix}ragged_{part}")


def filled_only(source: SourceFile) -> str:
    """A blank line of a file with one column is read as an empty cell; it is no row, as in other files."""
    is_blank_read = source.form == ".csv" and len(source.headers) == 1
    return " WHERE nullif(trim(c0, ' \t'), '') IS NOT NULL" if is_blank_read else ""


def place_sql(source: SourceFile, place: str, binder: Binder) -> str:
    """What the place of a row's file tells."""
    told = binder.bind([one[place] for one in source.places])
    return f"nullif(CAST(list_extract({told}, {position_sql(source)} + 1) AS VARCHAR), '')"


def is_filled(source: SourceFile, cell: Callable[[int], str]) -> str:
    """A row of a file to mend that was left without any cell, as one whose cells could not be told apart, is no row."""
    own = [cell(index) for index, header in enumerate(source.headers) if header]
    return f"coalesce({', '.join(own)}, '') <> ''"


def cell_text(source: SourceFile, index: int) -> str:
    """A cell as it was received: of a file to mend, without the apostrophe that keeps a spreadsheet from running it."""
    cell = f"CAST(c{index} AS VARCHAR)" if source.form == ".parquet" else f"c{index}"
    if source.mended:
        guard = GUARDED.replace("'", "''")
        cell = f"regexp_replace({cell}, '{guard}', '\\1')"
    return cell


def trimmed(source: SourceFile, index: int) -> str:
    """A cell without blanks around it."""
    cell = cell_text(source, index)
    # Trimming costs as much as reading: only a cell that is empty, begins below "!" or ends in a blank is looked at.
    return (
        f"CASE WHEN {cell} < '!' OR suffix({cell}, ' ') OR suffix({cell}, '\t') THEN nullif(trim({cell}, ' \t'), '') "
        f"ELSE {cell} END"
    )


def row_as_json(source: SourceFile, binder: Binder) -> str:
    """The row as received, as JSON text."""
    pairs = ", ".join(
        f"{binder.bind(name)}, {cell_text(source, index)}"
        for index, name in enumerate(source.headers)
        if name or not source.mended
    )
    pairs += "".join(f", '{place}', {place_sql(source, place, binder)}" for place in source.used_places)
    # A visit is found again as a mended row is loaded, unless somebody writes it there; a capture's number is known only now.
    pairs += "".join(f", '{name}', NULL" for name in source.made if name != "@capture_no")
    return f"CAST(json_object({pairs}) AS VARCHAR)"
