"""A source as SQL: its rows in their order, each column of the table as text `x_<column>`.

No text of a file reaches SQL: columns are taken by position, headers and a mapping's words are bound.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from etl.mapped_cells import Binder, Group, group_sql
from etl.mapping import Cells, ColumnMapping, LogMapping, TableMapping
from etl.mending import GUARDED
from etl.source import SourceFile
from shared.paths import pattern_of
from shared.warehouse import Warehouse

_NO_TEXT = "CAST(NULL AS VARCHAR)"
# Before the names of what belongs to the reading of a log.
_OF_LOG = "log_"


def source_relation(
    source: SourceFile, text_columns: Iterable[str], *, whole: bool = False, numbered: bool = False, placed: bool = False
) -> tuple[str, dict[str, Any]]:
    """SQL that gives the file's rows in their order, each asked column as text `x_<column>`, and its parameters.

    With `whole`, the column `received` holds the row as received, as JSON text. With `numbered`, `source_record` is the
    number of the file's own record that the row is made of. With `placed`, `position` is the number of the file among those
    that are read as one.
    """
    names = tuple(text_columns)
    if source.table_mapping is not None:
        return _Mapped(source, names, whole=whole, numbered=numbered, placed=placed).sql()
    relation, parameters = _read(source)
    picked = [
        f'{_trimmed(source, source.cells[name])} AS "x_{name}"' if name in source.cells else f'{_NO_TEXT} AS "x_{name}"'
        for name in names
    ]
    if whole:
        binder = Binder(parameters)
        picked.append(f"{_row_as_json(source, binder)} AS received")
    if numbered:
        picked.append("row_number() OVER () AS source_record")
    if placed:
        picked.append(_position(source))
    if source.mended:
        picked.append(f"{_is_filled(source, lambda index: _trimmed(source, index))} AS is_filled")
        rows = f"SELECT {', '.join(picked)} FROM {relation}{_filled_only(source)}"
        return f"SELECT * EXCLUDE (is_filled) FROM ({rows}) WHERE is_filled", parameters
    return f"SELECT {', '.join(picked)} FROM {relation}{_filled_only(source)}", parameters


def gives_other_rows(source: SourceFile) -> bool:
    """Whether the rows of the relation are not simply the records of the file, one for one."""
    mapped = source.table_mapping
    return source.mended is not None or (mapped is not None and bool(mapped.where or mapped.log or mapped.each))


def records_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of the records of files that are read as one, each with the `position` of its file, and its parameters."""
    relation, parameters = _read(source)
    return f"SELECT {_position(source)} FROM {relation}{_filled_only(source)}", parameters


def changes_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of the rows of a source's log: n, `received` and the x_ columns of the key; None where there is no log."""
    mapped = source.table_mapping
    if mapped is None or mapped.log is None:
        raise ValueError(f"{source.name} has no log")
    whole = _Mapped(source, tuple(source.table.key), whole=True, numbered=False)
    return whole.changes(mapped.log, Binder(whole.parameters)), whole.parameters


def idle_changes(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL that counts the changes of a source's log that belong to no capture of it, and its parameters."""
    mapped = source.table_mapping
    if mapped is None or mapped.log is None:
        return "SELECT 0", {}
    whole = _Mapped(source, tuple(source.table.column_names), whole=False, numbered=False)
    binder = Binder(whole.parameters)
    knee = [f'"x_{name}"' for name in source.table.key if name != "capture_no"]
    same = " AND ".join(f"lower(change.{name}) = lower(capture.{name})" for name in knee)
    rows, changes = whole.rows(binder), whole.changes(mapped.log, binder)
    return f"SELECT count(*) FROM ({changes}) AS change ANTI JOIN ({rows}) AS capture ON {same}", whole.parameters


def _read(source: SourceFile, prefix: str = "") -> tuple[str, dict[str, Any]]:
    """The set-based reader on a source, its columns named c0, c1, …"""
    names = [f"c{index}" for index in range(len(source.headers))]
    if source.form == ".parquet":
        relation = f"read_parquet(${prefix}path, hive_partitioning = false) AS given({', '.join(names)})"
        return relation, {f"{prefix}path": pattern_of(source.readable_path)}
    columns = ", ".join(f"'{name}': 'VARCHAR'" for name in names)
    relation = (
        f"read_csv(${prefix}path, header = true, auto_detect = false, delim = ${prefix}separator, quote = '\"', "
        f"escape = '\"', columns = {{{columns}}}, ignore_errors = true, store_rejects = true, null_padding = false, "
        f"skip = {source.skip_lines:d}, compression = 'none', hive_partitioning = false, filename = {bool(source.pattern)}, "
        f"rejects_table = '{prefix}ragged_rows', rejects_scan = '{prefix}ragged_scans', "
        f"rejects_limit = {source.reading.most_rejected_rows + 1:d})"
    )
    path = source.pattern or pattern_of(source.readable_path)
    return relation, {f"{prefix}path": path, f"{prefix}separator": source.separator}


def _position(source: SourceFile) -> str:
    return f"{'CAST(parse_filename(filename, true) AS INTEGER)' if source.pattern else '0'} AS position"


def forget_ragged(warehouse: Warehouse) -> None:
    """Forgets what the set-based reader set aside at its last reading, of a file and of its log."""
    for prefix in ("", _OF_LOG):
        for part in ("rows", "scans"):
            warehouse.run(f"DROP TABLE IF EXISTS {prefix}ragged_{part}")


def _filled_only(source: SourceFile) -> str:
    """A blank line of a file with one column is read as an empty cell; it is no row, as in other files."""
    is_blank_read = source.form == ".csv" and len(source.headers) == 1
    return " WHERE nullif(trim(c0, ' \t'), '') IS NOT NULL" if is_blank_read else ""


def _place(source: SourceFile, place: str, binder: Binder) -> str:
    """What the place of a row's file tells."""
    told = binder.bind([one[place] for one in source.places])
    position = _position(source).removesuffix(" AS position")
    return f"nullif(CAST(list_extract({told}, {position} + 1) AS VARCHAR), '')"


def _is_filled(source: SourceFile, cell: Callable[[int], str]) -> str:
    """A row of a file to mend that was left without any cell, as one whose cells could not be told apart, is no row."""
    own = [cell(index) for index, header in enumerate(source.headers) if header]
    return f"coalesce({', '.join(own)}, '') <> ''"


def _cell(source: SourceFile, index: int) -> str:
    """A cell as it was received: of a file to mend, without the apostrophe that keeps a spreadsheet from running it."""
    cell = f"CAST(c{index} AS VARCHAR)" if source.form == ".parquet" else f"c{index}"
    if source.mended:
        guard = GUARDED.replace("'", "''")
        cell = f"regexp_replace({cell}, '{guard}', '\\1')"
    return cell


def _trimmed(source: SourceFile, index: int) -> str:
    cell = _cell(source, index)
    # Trimming costs as much as reading: only a cell that is empty, begins below "!" or ends in a blank is looked at.
    return (
        f"CASE WHEN {cell} < '!' OR suffix({cell}, ' ') OR suffix({cell}, '\t') THEN nullif(trim({cell}, ' \t'), '') "
        f"ELSE {cell} END"
    )


def _row_as_json(source: SourceFile, binder: Binder) -> str:
    pairs = ", ".join(
        f"{binder.bind(name)}, {_cell(source, index)}" for index, name in enumerate(source.headers) if name or not source.mended
    )
    pairs += "".join(f", '{place}', {_place(source, place, binder)}" for place in source.used_places)
    return f"CAST(json_object({pairs}) AS VARCHAR)"


@dataclass
class _Mapped:
    """The relation of a mapped source, put together step by step; each step selects from the one before."""

    source: SourceFile
    names: tuple[str, ...]
    whole: bool
    numbered: bool
    placed: bool = False
    parameters: dict[str, Any] = field(default_factory=dict)

    def sql(self) -> tuple[str, dict[str, Any]]:
        mapped = self._mapping()
        binder = Binder(self.parameters)
        rows = self.rows(binder)
        if mapped.log is not None:
            rows = self._carried(rows, self.changes(mapped.log, binder), mapped.log, binder)
        return self._picked(rows), self.parameters

    def rows(self, binder: Binder) -> str:
        """The rows that the mapping makes of the file, before a log is carried into them."""
        mapped = self._mapping()
        return self._rows(self.source, self._given(self.source, "", binder), _groups(mapped), mapped.where, binder)

    def changes(self, log: LogMapping, binder: Binder) -> str:
        """The rows of the log."""
        # What stands for an empty cell in the log stands before the first change, not in every change.
        groups = [
            replace(group, columns={name: spec.model_copy(update={"empty": None}) for name, spec in group.columns.items()})
            for group in _groups(log)
        ]
        source, prefix = (self.source.log, _OF_LOG) if self.source.log else (self.source, "")
        return self._rows(source, self._given(source, prefix, binder), groups, log.where, binder, is_native=False)

    def _mapping(self) -> TableMapping:
        if self.source.table_mapping is None:
            raise ValueError(f"{self.source.name} has no mapping")
        return self.source.table_mapping

    def _given(self, source: SourceFile, prefix: str, binder: Binder) -> str:
        relation, parameters = _read(source, prefix)
        self.parameters |= parameters
        cells = ", ".join(f"{_trimmed(source, index)} AS c{index}" for index in range(len(source.headers)))
        cells += "".join(f', {_place(source, place, binder)} AS "{place}"' for place in source.used_places)
        beside = f", {_row_as_json(source, binder)} AS received" if self.whole else ""
        beside += f", {_position(source)}" if self.placed else ""
        return f"SELECT row_number() OVER () AS n{beside}, {cells} FROM {relation}{_filled_only(source)}"

    @property
    def _beside(self) -> str:
        """The columns that are passed on beside the cells."""
        return ", received" * self.whole + ", position" * self.placed

    def _rows(
        self,
        source: SourceFile,
        given: str,
        groups: list[Group],
        where: Cells,
        binder: Binder,
        *,
        is_native: bool = True,
    ) -> str:
        """Rows of n, k (the entry of `each`), received and the x_ columns."""
        native = {name: f"c{index}" for name, index in source.cells.items()} if is_native else {}
        structs = [group_sql(source, group, self.names, native, binder) for group in groups]
        condition = binder.where_sql(source, where)
        if source.mended:
            condition += f" AND {_is_filled(source, lambda index: f'c{index}')}"
        fields = ", ".join(f'r."x_{name}" AS "x_{name}"' for name in self.names)
        return (
            f"SELECT n, r.k AS k{self._beside}, {fields} FROM (SELECT n{self._beside}, unnest([{', '.join(structs)}]) AS r "
            f"FROM ({given}) WHERE {condition}) WHERE r.is_filled"
        )

    def _carried(self, rows: str, changes: str, log: LogMapping, binder: Binder) -> str:
        """The rows of captures, each with the changes that came before it."""
        table = self.source.table
        carried = {name: spec for group in _groups(log) for name, spec in group.columns.items() if name not in table.key}
        knee = ", ".join(f'lower("x_{name}")' for name in table.key if name != "capture_no")
        order = 'TRY_CAST("x_capture_no" AS DOUBLE), is_capture, n' if self.source.log else "n, is_capture"
        over = f"OVER (PARTITION BY {knee} ORDER BY {order} ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)"
        cells = [_carried_cell(name, carried[name], over, binder) if name in carried else f'"x_{name}"' for name in self.names]
        both = f"SELECT 1 AS is_capture, * FROM ({rows}) UNION ALL SELECT 0 AS is_capture, * FROM ({changes})"
        return (
            f"SELECT * FROM (SELECT is_capture, n, k{self._beside}, {', '.join(cells)} FROM ({both})) "
            "WHERE is_capture = 1 ORDER BY n, k"
        )

    def _picked(self, rows: str) -> str:
        picked = [f'"x_{name}"' for name in self.names]
        picked += ["received"] * self.whole + ["n AS source_record"] * self.numbered + ["position"] * self.placed
        return f"SELECT {', '.join(picked)} FROM ({rows})"


def _groups(mapped: TableMapping | LogMapping) -> list[Group]:
    return [Group(no, {**mapped.columns, **each}, list(each)) for no, each in enumerate(mapped.each or [{}])]


def _carried_cell(name: str, spec: ColumnMapping, over: str, binder: Binder) -> str:
    """A capture's own cell, or the state that the changes before it left."""
    change = f'CASE WHEN is_capture = 0 THEN "x_{name}" END'
    state = f"last_value({change} IGNORE NULLS) {over}"
    if spec.adds:
        # A change that is no number must not be passed over: it is shown in place of the sum, and the row is rejected.
        odd = f'CASE WHEN is_capture = 0 AND TRY_CAST("x_{name}" AS DOUBLE) IS NULL THEN "x_{name}" END'
        total = f"CAST(round(sum(TRY_CAST({change} AS DOUBLE)) {over}, 9) AS VARCHAR)"
        state = f"last_value({odd} IGNORE NULLS) {over}, {total}"
    start = f", {binder.bind_text(spec.empty)}" if spec.empty is not None else ""
    return f'coalesce(CASE WHEN is_capture = 1 THEN "x_{name}" END, {state}{start}) AS "x_{name}"'
