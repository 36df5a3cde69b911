"""Stages files: text cells become typed rows, rows that break a rule become findings with the line on which they stand."""

from collections.abc import Callable, Mapping
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from etl import check
from etl.derived import FILLED, UNMATCHED
from etl.read import REJECT_NO, RefusedFileError, SourceFile, lines_of, lines_of_bytes, source_relation
from etl.relation import changes_relation, forget_ragged, gives_other_rows, records_relation
from etl.together import Files, Group, as_one
from shared.catalogue import Table
from shared.warehouse import LoadingWarehouse, Warehouse, quoted

SQL = Path(__file__).with_name("sql")
# What the words of a finding end in where its row is stored all the same.
KEPT = " The cell is kept as not recorded, and the rest of its row is stored."
# Of each of the files that are read as one: its number, how many rows and records stand before its own, where they are staged.
_READ_FILES = ["position", "file_no", "rows_before", "records_before", "first_row"]


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


def stage(warehouse: LoadingWarehouse, group: Group, rules: list[check.Rule], may_reject: int) -> dict[int, Staged]:
    """Reads files that are read alike into staging; returns for each what it holds.

    Raises RefusedFileError where more than `may_reject` records are rejected or hold a rejected cell. After this or any other
    fault the files must be unstaged.
    """
    with as_one(group, warehouse.scratch) as files:
        table = files.source.table
        first = warehouse.value(f"SELECT count(*) FROM staged_{table.name}")
        forget_ragged(warehouse)
        relation, parameters = relation_of(files.source, table, placed=True)
        warehouse.run(
            SQL / "raw/stage.sql",
            {**parameters, "order": files.numbers},
            table=table.name,
            values=check.stored_values(table, rules),
            is_sound=check.is_sound(rules),
            is_whole=check.is_whole(rules),
            reject_no=f"x_{REJECT_NO}",
            typed_cells=check.typed_cells(table, relation),
        )
        counts = dict.fromkeys(group, Staged(0, 0, 0))
        for row in warehouse.rows(SQL / "raw/staged_counts.sql", {"first": first}, table=table.name):
            counts[row["file_no"]] = Staged(row["n"], row["unsound"], row["faulty"] - row["unsound"])
        n_faulty = sum(staged.rejected + staged.partly for staged in counts.values())
        is_parquet = files.source.form == ".parquet"
        n_ragged = 0 if is_parquet else warehouse.value("SELECT count(DISTINCT line_byte_position) FROM ragged_rows")
        if n_faulty + n_ragged > may_reject:
            raise RefusedFileError(too_many_rejected(files.source))
        warehouse.put("begun", pd.DataFrame({"file_no": files.numbers, "file": [one.name for one in group.values()]}))
        warehouse.run(SQL / "raw/begin_files.sql", table=table.name)
        ragged = _ragged_findings(warehouse, files) if n_ragged else {}
        if n_faulty:
            make_faulty(warehouse, files, "NOT staged.is_whole")
            add_findings(warehouse, table, rules)
            set_lines(warehouse, group)
        _keep_line_jumps(warehouse, files, {no: staged.read for no, staged in counts.items()}, ragged)
    n_of = {no: len(ragged.get(no, ())) for no in group}
    return {no: Staged(n.read + n_of[no], n.rejected + n_of[no], n.partly) for no, n in counts.items()}


def unstage(warehouse: Warehouse, group: Group) -> None:
    """Takes the records of some files out of staging again."""
    table = next(iter(group.values())).table
    warehouse.run(SQL / "raw/unstage.sql", {"file_nos": list(group)}, table=table.name, columns=quoted(table.column_names))


def too_many_rejected(source: SourceFile) -> str:
    """The sentence for a file with which more rows would be rejected than a load keeps."""
    most = f"{source.reading.most_rejected_rows:,}"
    return (
        f"{source.name}: with it more than {most} rows of this load would be rejected or hold a rejected cell, so that it is "
        "hardly an export of "
        f"{source.table.name}. Nothing of this file was loaded. Load its first rows alone to see what is wrong with them, or "
        "raise [reading] most_rejected_rows in the settings."
    )


def make_faulty(warehouse: Warehouse, files: Files, wanted: str, others: str = "") -> None:
    """Makes the table `faulty` of the records, whole, of staged files whose row `staged` fulfils the SQL `wanted`; `others` are
    joins of what that asks beside."""
    table = files.source.table
    extents = {row["file_no"]: row for row in warehouse.rows(SQL / "raw/extents.sql", {"nos": files.numbers}, table=table.name)}
    own = _records_before(warehouse, files) if len(files.group) > 1 and gives_other_rows(files.source) else None
    rows_before, read = 0, []
    for position, file_no in enumerate(files.group):
        if file_no in extents:
            records_before = rows_before if own is None else own[position]
            read.append((position, file_no, rows_before, records_before, extents[file_no]["first_row"]))
            rows_before += extents[file_no]["n"]
    warehouse.put("read_files", pd.DataFrame(read, columns=_READ_FILES))
    warehouse.run(SQL / "raw/wanted_records.sql", table=table.name, wanted=wanted, others=others)
    forget_ragged(warehouse)
    relation, parameters = relation_of(files.source, table, whole=True, numbered=True, placed=True)
    typed = check.typed_cells(table, "SELECT * FROM placed")
    warehouse.run(SQL / "raw/faulty.sql", parameters, relation=relation, typed_cells=typed)


def _records_before(warehouse: Warehouse, files: Files) -> list[int]:
    """How many records of the files stand before those of each."""
    relation, parameters = records_relation(files.source)
    forget_ragged(warehouse)
    counted = f"SELECT position, count(*) AS n FROM ({relation}) GROUP BY position"
    n_records = {row["position"]: row["n"] for row in warehouse.rows(counted, parameters)}
    return list(accumulate((n_records.get(position, 0) for position in range(len(files.group))), initial=0))


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


def set_lines(warehouse: Warehouse, group: Group) -> None:
    """Gives the findings of staged files that are read alike the lines of the files themselves."""
    places = []
    for row in warehouse.rows(SQL / "raw/records_found.sql", {"nos": list(group)}):
        lines = lines_of(group[row["file_no"]], set(row["records"]), set(row["uneven"] or ()))
        places += [(row["file_no"], record, line) for record, line in lines.items()]
    if places:
        warehouse.put("lines", pd.DataFrame(places, columns=["file_no", "record", "line"]))
        same = "found.source_record = lines.record AND found.file_no = lines.file_no"
        warehouse.run(f"UPDATE found SET line = lines.line FROM lines WHERE {same}")
        _keep_changes(warehouse, group)


def typed_columns(table: Table) -> str:
    """The columns of a table as SQL declares them."""
    return ", ".join(f'"{column.name}" {column.sql_type}' for column in table.columns)


def relation_of(
    source: SourceFile, table: Table, *, whole: bool = False, numbered: bool = False, placed: bool = False
) -> tuple[str, dict[str, object]]:
    """A source as SQL with the columns of its table and the numbers of the rejects that it mends, see `source_relation`."""
    names = (*table.column_names, REJECT_NO, FILLED, UNMATCHED)
    return source_relation(source, names, whole=whole, numbered=numbered, placed=placed)


def _keep_changes(warehouse: Warehouse, group: Group) -> None:
    """Keeps the changes of the setup that rejected rows follow from: a row cannot be read again without them."""
    source = next(iter(group.values()))
    table, mapped = source.table, source.table_mapping
    if mapped is None or mapped.log is None:
        return
    changes, parameters = changes_relation(source)
    forget_ragged(warehouse)
    warehouse.run(
        SQL / "raw/keep_changes.sql",
        {**parameters, "file_nos": list(group)},
        changes=changes,
        knee=knee_sql(table, lambda name: f'"x_{name}"'),
        knee_of_cells=knee_sql(table, lambda name: f"json_extract_string(cells, '$.\"{name}\"')"),
    )


def knee_sql(table: Table, cell: Callable[[str], str]) -> str:
    """SQL of what a log's changes are carried along: the key without the number of the capture, in any case of letters."""
    return (
        "concat_ws('|', " + ", ".join(f"coalesce(lower({cell(name)}), '')" for name in table.key if name != "capture_no") + ")"
    )


def _ragged_findings(warehouse: Warehouse, files: Files) -> dict[int, set[int]]:
    """Findings of the rows whose cells could not be told apart; returns of each file the lines on which they start."""
    rows = warehouse.frame(SQL / "raw/ragged.sql")
    lines = lines_of_bytes(files.source.readable_path, rows["line_byte_position"].tolist())
    places = [files.place_of(line) for line in lines]
    number = int(files.source.is_joined)
    words = [
        f"row: {_ragged_words(kind, message, number)}, as the first line has. "
        "Check the separators and quotes of this row and load again."
        for kind, message in zip(rows["error_type"], rows["error_message"], strict=True)
    ]
    received = [text.split(files.source.separator, number)[-1] if number else text for text in rows["csv_line"]]
    told = pd.DataFrame(places, columns=["file_no", "line"]).assign(received=received, words=words)
    warehouse.put("ragged_told", told)
    warehouse.run(SQL / "raw/ragged_findings.sql", {"column": files.source.headers[0]})
    ragged: dict[int, set[int]] = {}
    for file_no, line in places:
        ragged.setdefault(file_no, set()).add(line)
    return ragged


def _ragged_words(error_type: str, message: str, number: int) -> str:
    """`number` is 1 where the number of its file stands before the row."""
    if "Expected Number of Columns" in message:
        expected, n_cells = (int(part.split(":")[1].split()[0]) for part in (message, message[message.index("Found") :]))
        return f"found {n_cells - number} cells, expected {expected - number}"
    return f"found {error_type.lower()}, expected cells parted by the same separator"


def _keep_line_jumps(warehouse: Warehouse, files: Files, n_rows: Mapping[int, int], ragged: Mapping[int, set[int]]) -> None:
    """Keeps by how many lines the files run ahead of their records where that is not one, the header's, all the way."""
    is_own = not gives_other_rows(files.source)
    plain = files.stands_line_by_line(n_rows) - set(ragged) if is_own else set()
    moved = [no for no, n in n_rows.items() if n and no not in plain]
    if not moved:
        return
    records = {no: list(range(1, n_rows[no] + 1)) for no in moved} if is_own else records_of(warehouse, files)
    jumps = {}
    for no in moved:
        lines = lines_of(files.group[no], set(records[no]), ragged.get(no, set()))
        jumps[no] = jumps_of(files.group[no], [lines[record] for record in records[no]])
    put_line_jumps(warehouse, jumps)


def records_of(warehouse: Warehouse, files: Files) -> dict[int, list[int]]:
    """Of each file the numbers of its own records of which its rows are made."""
    relation, parameters = relation_of(files.source, files.source.table, numbered=True, placed=True)
    forget_ragged(warehouse)
    found = warehouse.arrays(f"SELECT position, source_record FROM ({relation})", parameters)
    before = _records_before(warehouse, files) if len(files.group) > 1 else [0]
    bounds = np.searchsorted(found["position"], np.arange(1, len(files.group)))
    of_each = zip(files.group, before, np.split(found["source_record"], bounds), strict=False)
    return {file_no: (records - n).tolist() for file_no, n, records in of_each}


def jumps_of(source: SourceFile, lines: list[int]) -> dict[int, int]:
    """By records, by how many lines each runs ahead of its number, where that is another number than before."""
    if source.form == ".parquet":
        return {1: 0}
    ahead = np.array(lines, dtype=np.int64) - np.arange(1, len(lines) + 1)
    # A record stands on the line after its number, that of the headings being the first, unless it is told otherwise.
    places = np.flatnonzero(np.diff(ahead, prepend=1))
    return dict(zip((places + 1).tolist(), ahead[places].tolist(), strict=True))


def put_line_jumps(warehouse: Warehouse, jumps: Mapping[int, Mapping[int, int]]) -> None:
    """Keeps the jumps of some files by their numbers."""
    rows = [(file_no, record, ahead) for file_no, ahead_of in jumps.items() for record, ahead in ahead_of.items()]
    warehouse.put("jumps", pd.DataFrame(rows, columns=["file_no", "record", "ahead"]))
    keep = "INSERT INTO raw.line_jumps SELECT $load_id, file_no, record, ahead FROM jumps ORDER BY file_no, record"
    warehouse.run(keep, {"load_id": next_load(warehouse)})


def next_load(warehouse: Warehouse) -> int:
    """The number that a load on this warehouse gets; no number is given twice."""
    return 1 + (warehouse.value("SELECT max(load_id) FROM raw.loads") or 0)
