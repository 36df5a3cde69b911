"""A source as SQL: its rows in their order, each column of the table as text `x_<column>`.

No text of a file reaches SQL: columns are taken by position, headers and a mapping's words are bound.
"""

from collections.abc import Iterable
from typing import Any

from etl.file_cells import (
    filled_only,
    forget_ragged,
    is_filled,
    position_sql,
    read_sql,
    row_as_json,
    trimmed,
)
from etl.mapped_cells import Binder
from etl.mapped_rows import MappedRows
from etl.source import SourceFile

__all__ = [
    "cells_relation", "changes_relation", "forget_ragged", "gives_other_rows", "idle_changes", "records_relation",
    "source_relation", "times_relation",
]  # fmt: skip
_NO_TEXT = "CAST(NULL AS VARCHAR)"


def source_relation(
    source: SourceFile,
    text_columns: Iterable[str],
    *,
    whole: bool = False,
    numbered: bool = False,
    placed: bool = False,
    is_before: bool = False,
) -> tuple[str, dict[str, Any]]:
    """SQL that gives the file's rows in their order, each asked column as text `x_<column>`, and its parameters.

    With `whole`, the column `received` holds the row as received, as JSON text. With `numbered`, `source_record` is the
    number of the file's own record that the row is made of. With `placed`, `position` is the number of the file among those
    that are read as one. `is_before`: before anything is carried over from other captures.
    """
    names = tuple(text_columns)
    if source.table_mapping is not None:
        return MappedRows(source, names, whole=whole, numbered=numbered, placed=placed).sql(is_before=is_before)
    relation, parameters = read_sql(source)
    picked = [
        f'{trimmed(source, source.cells[name])} AS "x_{name}"' if name in source.cells else f'{_NO_TEXT} AS "x_{name}"'
        for name in names
    ]
    if whole:
        binder = Binder(parameters)
        picked.append(f"{row_as_json(source, binder)} AS received")
    if numbered:
        picked.append("row_number() OVER () AS source_record")
    if placed:
        picked.append(f"{position_sql(source)} AS position")
    if source.mended:
        picked.append(f"{is_filled(source, lambda index: trimmed(source, index))} AS is_filled")
        rows = f"SELECT {', '.join(picked)} FROM {relation}{filled_only(source)}"
        return f"SELECT * EXCLUDE (is_filled) FROM ({rows}) WHERE is_filled", parameters
    return f"SELECT {', '.join(picked)} FROM {relation}{filled_only(source)}", parameters


def gives_other_rows(source: SourceFile) -> bool:
    """Whether the rows of the relation are not simply the records of the file, one for one."""
    mapped = source.table_mapping
    return source.mended is not None or (mapped is not None and bool(mapped.where or mapped.log or mapped.each))


def records_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of the records of files that are read as one, each with the `position` of its file, and its parameters."""
    relation, parameters = read_sql(source)
    return f"SELECT {position_sql(source)} AS position FROM {relation}{filled_only(source)}", parameters


def cells_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of a file's own cells as text, under its headings by number, and its parameters."""
    relation, parameters = read_sql(source)
    cells = ", ".join(f"{trimmed(source, index)} AS c{index}" for index in range(len(source.headers)))
    return f"SELECT {cells} FROM {relation}{filled_only(source)}", parameters


def changes_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of the rows of a source's log: n, `received` and the x_ columns of the key; None where there is no log."""
    mapped = source.table_mapping
    if mapped is None or mapped.log is None:
        raise ValueError(f"{source.name} has no log")
    whole = MappedRows(source, tuple(source.table.key), whole=True, numbered=False)
    return whole.changes_alone(mapped.log), whole.parameters


def times_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of session_id, side and time of each row whose capture is numbered by the order of that time, and its parameters."""
    return MappedRows(source, ("session_id", "side"), whole=False, numbered=False).times()


def idle_changes(source: SourceFile, staged: str) -> tuple[str, dict[str, Any]]:
    """SQL that counts the changes of a source's log that belong to no row of `staged`, and its parameters."""
    mapped = source.table_mapping
    if mapped is None or mapped.log is None:
        raise ValueError(f"{source.name} has no log")
    knee = [name for name in source.table.key if name != "capture_no"]
    whole = MappedRows(source, tuple(knee), whole=False, numbered=False)
    same = " AND ".join(f'lower(change."x_{name}") = lower(capture."{name}")' for name in knee)
    changes = f"SELECT * FROM ({whole.changes_alone(mapped.log)})"
    return f"SELECT count(DISTINCT n) FROM ({changes}) AS change ANTI JOIN {staged} AS capture ON {same}", whole.parameters
