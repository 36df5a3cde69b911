"""Looks through the files of a table once, before any of them is staged, for what their rows take from one another, and keeps
it in temporary tables. A file to mend is looked through on its own: what it does not hold stands in the warehouse.
"""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from etl import together
from etl.derived import CARRIED_FROM, carried_columns, specs_of
from etl.relation import forget_ragged, source_relation, times_relation
from etl.relation import idle_changes as changes_left_over
from etl.report import Filled
from etl.source import SourceFile
from shared.catalogue import Table
from shared.warehouse import LoadingWarehouse, quoted

SQL = Path(__file__).with_name("sql") / "raw"


def scope_of(source: SourceFile, file_no: int) -> str:
    """Which files are looked through together."""
    return f"mend {file_no}" if source.mended else ""


def prepare(warehouse: LoadingWarehouse, table: Table, sources: Mapping[int, SourceFile]) -> None:
    """Looks through the files of one table for what their rows take from one another."""
    numbered = {
        no: source for no, source in sources.items() if any(spec.numbered for _, spec in specs_of(source.table_mapping))
    }
    if numbered:
        _prepare_numbers(warehouse, table, numbered)
    carried = {no: source for no, source in sources.items() if carried_columns(source.table_mapping)}
    if carried:
        _prepare_carried(warehouse, table, carried)


def _prepare_numbers(warehouse: LoadingWarehouse, table: Table, sources: Mapping[int, SourceFile]) -> None:
    warehouse.run(SQL / "times_table.sql", table=table.name)
    for scope, source in _read_together(warehouse, sources):
        relation, parameters = times_relation(source)
        forget_ragged(warehouse)
        warehouse.run(f"INSERT INTO times_{table.name} SELECT $scope, * FROM ({relation})", {**parameters, "scope": scope})
    warehouse.run(SQL / "capture_numbers.sql", table=table.name)


def keep_numbers(warehouse: LoadingWarehouse, table: Table, sources: Iterable[SourceFile], load_id: int) -> None:
    """Keeps the times by which the rows of one table that are stored were numbered, for the loads that follow."""
    if any(spec.numbered for source in sources for _, spec in specs_of(source.table_mapping)):
        warehouse.run(SQL / "keep_numbers.sql", {"load_id": load_id}, table=table.name)


def _prepare_carried(warehouse: LoadingWarehouse, table: Table, sources: Mapping[int, SourceFile]) -> None:
    columns: dict[str, str] = {}
    for source in sources.values():
        columns |= carried_columns(source.table_mapping)
    names = list(columns)
    key = [f'"x_{name}"' for name in table.key]
    texts = ", ".join(_same_text(table, name, f'"x_{name}"') for name in names)
    declared = ", ".join(f'"x_{name}" VARCHAR' for name in (*table.key, *names))
    warehouse.run(f"CREATE OR REPLACE TEMP TABLE stood_{table.name} (scope VARCHAR, {declared})")
    for scope, source in _read_together(warehouse, sources):
        relation, parameters = source_relation(source, (*table.key, *names), is_before=True)
        forget_ragged(warehouse)
        insert = f"INSERT INTO stood_{table.name} SELECT $scope, {', '.join(key)}, {texts} FROM ({relation})"
        warehouse.run(insert, {**parameters, "scope": scope})
    over = {"visit": "visit", "rider": "ever"}
    warehouse.run(
        SQL / "carried.sql",
        table=table.name,
        columns=quoted([f"x_{name}" for name in names]),
        kept=", ".join(_same_text(table, name, f'CAST(setups."{name}" AS VARCHAR)') for name in names),
        carried=", ".join(
            f'last_value("x_{name}" IGNORE NULLS) OVER {over[how]} AS "x_{name}"' for name, how in columns.items()
        ),
    )


def _same_text(table: Table, column: str, text: str) -> str:
    """SQL of a cell as it is carried over: the same text whether a file or the warehouse tells it."""
    if table.column(column).type in {"number", "integer"}:
        return f"coalesce(CAST(TRY_CAST({text} AS DOUBLE) AS VARCHAR), {text})"
    return f"lower({text})"


def _read_together(warehouse: LoadingWarehouse, sources: Mapping[int, SourceFile]) -> Iterator[tuple[str, SourceFile]]:
    for group in together.groups_of(sources):
        with together.as_one(group, warehouse.scratch) as files:
            yield scope_of(files.source, files.numbers[0]), files.source


def filled(warehouse: LoadingWarehouse, table: Table, sources: Iterable[SourceFile]) -> tuple[Filled, ...]:
    """Which cells of the staged rows of one table a mapping filled."""
    values: dict[str, list[str]] = {}
    ways: list[tuple[int, str, str]] = []
    carried: dict[str, str] = {}
    for mapped in {id(source.table_mapping): source.table_mapping for source in sources}.values():
        carried |= carried_columns(mapped)
        for name, spec in specs_of(mapped):
            if spec.empty is not None:
                values.setdefault(name, []).append(str(spec.empty).lower() if isinstance(spec.empty, bool) else str(spec.empty))
    for name, given in values.items():
        ways.append((table.column_names.index(name), name, f"stand for {' or '.join(dict.fromkeys(given))}"))
    far = {"visit": "the visit", "rider": "the rider's captures, of earlier visits too"}
    for name, how in carried.items():
        place = CARRIED_FROM + table.column_names.index(name)
        ways.append((place, name, f"were filled from the last one before in {far[how]}"))
    if not ways:
        return ()
    sums = ", ".join(f"count(*) FILTER (filled & {1 << place:d} <> 0) AS w{no}" for no, (place, *_) in enumerate(ways))
    (row,) = warehouse.rows(f"SELECT {sums} FROM staged_{table.name} WHERE is_sound")
    return tuple(Filled(table.name, name, how, row[f"w{no}"]) for no, (_, name, how) in enumerate(ways) if row[f"w{no}"])


def idle_changes(warehouse: LoadingWarehouse, table: Table, sources: Mapping[int, SourceFile]) -> dict[int, str]:
    """By the number of the first file that a log is of, what is told of its changes that belong to no row of its files."""
    of_log: dict[int, list[int]] = {}
    for file_no, source in sources.items():
        if source.table_mapping and source.table_mapping.log:
            of_log.setdefault(id(source.log or source), []).append(file_no)
    found = {}
    for file_nos in of_log.values():
        staged = f"(SELECT * FROM staged_{table.name} WHERE list_contains($file_nos, file_no))"
        statement, parameters = changes_left_over(sources[file_nos[0]], staged)
        forget_ragged(warehouse)
        if n := int(warehouse.value(statement, {**parameters, "file_nos": file_nos})):
            files = "this file" if len(file_nos) == 1 else f"its {len(file_nos)} files"
            found[file_nos[0]] = f"{n} of the log's changes belong to no capture of {files}"
    return found
