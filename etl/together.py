"""Stages many small files of one form with one statement: what a statement costs is paid once, and not for every file.

A rig writes a file a session, so that a studio hands over thousands. Files that are read alike are given numbers for names
in a folder of their own, and read by their pattern; each row knows its file by that number.
"""

import shutil
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from etl import check, stage
from etl.read import REJECT_NO, SourceFile, lines_of
from etl.relation import forget_ragged, gives_other_rows, records_relation
from shared.paths import pattern_of
from shared.warehouse import LoadingWarehouse

SQL = Path(__file__).with_name("sql") / "raw"
# Larger files gain nothing, and would be read twice where one of them is at fault.
_MOST_BYTES = 16_000_000
_MOST_FILES = 2_000

Group = dict[int, SourceFile]
# Of each file by its number: a row of staged_counts.sql.
Counts = Mapping[int, Mapping[str, Any]]


def groups_of(sources: Mapping[int, SourceFile]) -> list[Group]:
    """The sources of one table by their numbers, those together that are read alike, in the order of their first file."""
    groups: dict[Any, list[Group]] = {}
    for file_no, source in sources.items():
        alike = groups.setdefault(_form_of(file_no, source), [{}])
        if len(alike[-1]) == _MOST_FILES:
            alike.append({})
        alike[-1][file_no] = source
    return [group for alike in groups.values() for group in alike]


def _form_of(file_no: int, source: SourceFile) -> Any:
    """What is the same for files that are read alike; a file that must be read alone has its own."""
    mapped = source.table_mapping
    alone = source.form == ".parquet" or source.mended or (mapped and mapped.log and not mapped.log.files)
    try:
        if alone or source.readable_path.stat().st_size > _MOST_BYTES:
            return file_no
    except OSError:
        return file_no  # gone since; whoever reads it says so
    cells = tuple(source.cells.items())
    return (source.form, source.separator, source.skip_lines, source.headers, id(mapped), id(source.log), cells)


def stage_together(
    warehouse: LoadingWarehouse, group: Group, rules: list[check.Rule], may_reject: int
) -> dict[int, stage.Staged]:
    """Reads the files of a group into staging; returns for each what it holds.

    What is not told must be staged alone: files with rows whose cells cannot be told apart, and all of them where together they
    reject more than they may, or where the reader did not keep their rows apart.
    """
    with as_one(group, warehouse.scratch) as source:
        counts = _staged(warehouse, source, list(group), rules)
        uneven = _uneven(warehouse)
        n_faulty = sum(row["faulty"] for row in counts.values())
        in_order = [file_no for file_no in group if file_no in counts]
        is_apart = list(counts) == in_order and all(row["is_together"] for row in counts.values())
        if not uneven and is_apart and n_faulty <= may_reject:
            if n_faulty:
                _find(warehouse, group, counts, rules)
            _keep_jumps(warehouse, source, group, counts)
            return {file_no: _told(counts.get(file_no)) for file_no in group}
    stage.unstage(warehouse, source.table, list(group))
    even = {file_no: one for position, (file_no, one) in enumerate(group.items()) if position not in uneven}
    return stage_together(warehouse, even, rules, may_reject) if uneven and len(even) > 1 else {}


def _told(row: Mapping[str, Any] | None) -> stage.Staged:
    return stage.Staged(row["n"], row["unsound"], row["faulty"] - row["unsound"]) if row else stage.Staged(0, 0, 0)


class as_one:  # noqa: N801, it reads as a verb
    """The files of a group as one source under their numbers, for as long as the block runs."""

    def __init__(self, group: Group, scratch: Path) -> None:
        self._group = group
        self._folder = Path(tempfile.mkdtemp(dir=scratch))

    def __enter__(self) -> SourceFile:
        for position, source in enumerate(self._group.values()):
            name = self._folder / f"{position:06d}.csv"
            try:
                name.symlink_to(source.readable_path.absolute())
            except OSError:  # a system that does not let everybody make links
                shutil.copyfile(source.readable_path, name)
        first = next(iter(self._group.values()))
        pattern = f"{pattern_of(self._folder)}/*.csv"
        places = tuple(place for source in self._group.values() for place in source.places)
        return replace(first, readable_path=self._folder, pattern=pattern, places=places)

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self._folder, ignore_errors=True)


def _staged(
    warehouse: LoadingWarehouse, source: SourceFile, order: list[int], rules: list[check.Rule]
) -> dict[int, dict[str, Any]]:
    table = source.table
    first = warehouse.value(f"SELECT count(*) FROM staged_{table.name}")
    forget_ragged(warehouse)
    relation, parameters = stage.relation_of(source, table, placed=True)
    warehouse.run(
        SQL / "stage.sql",
        {**parameters, "order": order},
        table=table.name,
        file_no="list_extract($order, position + 1)",
        values=check.stored_values(table, rules),
        is_sound=check.is_sound(rules),
        is_whole=check.is_whole(rules),
        reject_no=f"x_{REJECT_NO}",
        typed_cells=check.typed_cells(table, relation),
    )
    return {row["file_no"]: row for row in warehouse.rows(SQL / "staged_counts.sql", {"first": first}, table=table.name)}


def _uneven(warehouse: LoadingWarehouse) -> set[int]:
    """The positions of the files with rows whose cells could not be told apart."""
    if not warehouse.value("SELECT count(*) FROM ragged_rows"):
        return set()
    paths = warehouse.rows(
        "SELECT DISTINCT scans.file_path FROM ragged_rows AS rows INNER JOIN ragged_scans AS scans "
        "ON scans.scan_id = rows.scan_id AND scans.file_id = rows.file_id"
    )
    return {int(Path(row["file_path"]).stem) for row in paths}


def _find(warehouse: LoadingWarehouse, group: Group, counts: Counts, rules: list[check.Rule]) -> None:
    """Findings of the rows that break a rule, of all files with such rows at once."""
    faulty = {file_no: group[file_no] for file_no, row in counts.items() if row["faulty"]}
    with as_one(faulty, warehouse.scratch) as source:
        relation, parameters = records_relation(source)
        forget_ragged(warehouse)
        counted = f"SELECT position, count(*) AS n FROM ({relation}) GROUP BY position"
        n_records = {row["position"]: row["n"] for row in warehouse.rows(counted, parameters)}
        rows_before, records_before, files = 0, 0, []
        for position, file_no in enumerate(faulty):
            files.append((position, file_no, rows_before, records_before, counts[file_no]["first_row"]))
            rows_before += counts[file_no]["n"]
            records_before += n_records[position]
        wanted = (
            "SELECT staged.rowid - files.first_row + files.rows_before + 1 AS record "
            f"FROM staged_{source.table.name} AS staged "
            "INNER JOIN read_files AS files ON files.file_no = staged.file_no WHERE NOT staged.is_whole"
        )
        told = pd.DataFrame(files, columns=[*stage.READ_FILES, "first_row"])
        stage.make_faulty_of(warehouse, source, told, wanted)
    stage.add_findings(warehouse, source.table, rules)
    stage.set_lines(warehouse, faulty, set())


def _keep_jumps(warehouse: LoadingWarehouse, source: SourceFile, group: Group, counts: Mapping[int, Mapping[str, Any]]) -> None:
    """Keeps where lines run ahead of records, of the files in which they do."""
    records = dict(_records_of(warehouse, source, group)) if gives_other_rows(source) else {}
    jumps = {}
    for file_no, row in counts.items():
        one = group[file_no]
        if not stage.is_one_line_a_record(one, row["n"]):
            own = records.get(file_no, list(range(1, row["n"] + 1)))
            lines = lines_of(one, set(own), set())
            jumps[file_no] = stage.jumps_of(one, [lines[record] for record in own])
    if jumps:
        stage.put_line_jumps(warehouse, jumps)


def _records_of(warehouse: LoadingWarehouse, source: SourceFile, group: Group) -> Iterator[tuple[int, list[int]]]:
    """Of each file the numbers of its own records of which its rows are made."""
    relation, parameters = stage.relation_of(source, source.table, numbered=True, placed=True)
    forget_ragged(warehouse)
    found = warehouse.frame(f"SELECT position, source_record FROM ({relation})", parameters)
    relation, parameters = records_relation(source)
    forget_ragged(warehouse)
    counted = warehouse.frame(
        f"SELECT position, count(*) AS n FROM ({relation}) GROUP BY position ORDER BY position", parameters
    )
    before = (counted["n"].cumsum() - counted["n"]).set_axis(counted["position"])
    numbers = list(group)
    for position, rows in found.groupby("position", sort=True):
        yield numbers[int(position)], (rows["source_record"] - before[position]).tolist()  # type: ignore[arg-type]
