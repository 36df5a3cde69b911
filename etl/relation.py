"""A source as SQL: its rows in their order, each column of the table as text `x_<column>`.

No text of a file reaches SQL: columns are taken by position, headers and a mapping's words are bound.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from etl.derived import (
    CARRIED_FROM,
    FILLED,
    UNMATCHED,
    bit_sql,
    carried_columns,
    matched_columns,
    matched_join,
    specs_of,
)
from etl.mapped_cells import Beside, Binder, Group, group_sql
from etl.mapping import Cells, ColumnMapping, Columns, LogMapping, TableMapping
from etl.mending import GUARDED
from etl.source import SourceFile
from shared.paths import pattern_of
from shared.warehouse import Warehouse

_NO_TEXT = "CAST(NULL AS VARCHAR)"
# Before the names of what belongs to the reading of a log.
_OF_LOG = "log_"
_DAY = 86_400  # seconds


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
        return _Mapped(source, names, whole=whole, numbered=numbered, placed=placed).sql(is_before=is_before)
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
    return whole.changes_alone(mapped.log), whole.parameters


def times_relation(source: SourceFile) -> tuple[str, dict[str, Any]]:
    """SQL of session_id, side and time of each row whose capture is numbered by the order of that time, and its parameters."""
    return _Mapped(source, ("session_id", "side"), whole=False, numbered=False).times()


def idle_changes(source: SourceFile, staged: str) -> tuple[str, dict[str, Any]]:
    """SQL that counts the changes of a source's log that belong to no row of `staged`, and its parameters."""
    mapped = source.table_mapping
    if mapped is None or mapped.log is None:
        raise ValueError(f"{source.name} has no log")
    knee = [name for name in source.table.key if name != "capture_no"]
    whole = _Mapped(source, tuple(knee), whole=False, numbered=False)
    same = " AND ".join(f'lower(change."x_{name}") = lower(capture."{name}")' for name in knee)
    changes = f"SELECT * FROM ({whole.changes_alone(mapped.log)})"
    return f"SELECT count(DISTINCT n) FROM ({changes}) AS change ANTI JOIN {staged} AS capture ON {same}", whole.parameters


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
    # A visit is found again as a mended row is loaded, unless somebody writes it there; a capture's number is known only now.
    pairs += "".join(f", '{name}', NULL" for name in source.made if name != "@capture_no")
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

    def sql(self, *, is_before: bool = False) -> tuple[str, dict[str, Any]]:
        mapped = self._mapping()
        binder = Binder(self.parameters)
        rows = self.rows(binder)
        if mapped.log is not None:
            changes = self.changes(mapped.log, binder, "SELECT * FROM captures")
            carried = self._carried("SELECT * FROM captures", changes, mapped.log, binder)
            rows = f"WITH captures AS MATERIALIZED ({rows}) {carried}"
        if carried_columns(mapped) and not is_before:
            rows = self._carried_over(rows, mapped, binder)
        return self._picked(rows), self.parameters

    def times(self) -> tuple[str, dict[str, Any]]:
        """See `times_relation`."""
        by_side = any(spec.numbered == "side" for _, spec in specs_of(self._mapping()))
        side = 'lower("x_side")' if by_side else "''"
        rows = self.rows(Binder(self.parameters), is_numbered=False)
        return f'SELECT "x_session_id", {side}, no_at FROM ({rows}) WHERE numbered AND own_no IS NULL', self.parameters

    def rows(self, binder: Binder, *, is_numbered: bool = True) -> str:
        """The rows that the mapping makes of the file, before a log is carried into them."""
        mapped = self._mapping()
        beside = self._beside_of(mapped.columns, mapped.each, mapped.log.captured_at if mapped.log else None)
        given = self._given(self.source, "", binder)
        rows = self._rows(self.source, given, _groups(mapped), mapped.where, beside, binder)
        rows = self._matched(rows, beside, mapped)
        return self._numbered(rows, beside, binder) if is_numbered and beside.is_numbered else rows

    def changes(self, log: LogMapping, binder: Binder, captures: str) -> str:
        """The rows of the log; where it names no visit, a row a visit of the same day among the `captures`."""
        # What stands for an empty cell in the log stands before the first change, not in every change.
        groups = [
            replace(group, columns={name: spec.model_copy(update={"empty": None}) for name, spec in group.columns.items()})
            for group in _groups(log)
        ]
        source, prefix = (self.source.log, _OF_LOG) if self.source.log else (self.source, "")
        beside = self._beside_of(log.columns, log.each, log.changed_at)
        changes = self._rows(source, self._given(source, prefix, binder), groups, log.where, beside, binder, is_native=False)
        changes = self._matched(changes, beside, log)
        if log.changed_at and not any("session_id" in group.columns for group in groups):
            of_day = f'SELECT DISTINCT "x_session_id" AS visit, floor(told_at / {_DAY}) AS day FROM ({captures})'
            changes = (
                f'SELECT changes.* REPLACE (visits.visit AS "x_session_id") FROM ({changes}) AS changes '
                f"INNER JOIN ({of_day}) AS visits ON visits.day = floor(changes.told_at / {_DAY})"
            )
        return changes

    def changes_alone(self, log: LogMapping) -> str:
        """The rows of the log in a statement of their own."""
        binder = Binder(self.parameters)
        if log.changed_at is None:
            return self.changes(log, binder, "")
        rows = self.rows(binder)
        return f"WITH captures AS MATERIALIZED ({rows}) {self.changes(log, binder, 'SELECT * FROM captures')}"

    def _beside_of(self, columns: Columns, each: list[Columns], at: ColumnMapping | None) -> Beside:
        specs = [(name, spec) for group in (columns, *each) for name, spec in group.items()]
        matched = tuple(dict.fromkeys(name for name, spec in specs if spec.rider))
        return Beside(matched, any(spec.numbered for _, spec in specs), at)

    def _matched(self, rows: str, beside: Beside, mapped: TableMapping | LogMapping) -> str:
        """The rows with the visits that are found by rider and date."""
        for name in beside.matched:
            spec = next(group[name] for group in (mapped.columns, *mapped.each) if name in group and group[name].rider)
            asked = f"r.rider_{name} IS NOT NULL AND r.date_{name} IS NOT NULL AND r.own_{name} IS NULL"
            cells = []
            if name in self.names:
                found = (
                    f"CASE WHEN {asked} THEN CASE WHEN f_{name}.n_fits = 1 THEN f_{name}.session_id "
                    f"ELSE r.rider_{name} || ', ' || r.date_{name} END ELSE coalesce(r.own_{name}, r.\"x_{name}\") END"
                )
                cells.append(f'{found} AS "x_{name}"')
            if UNMATCHED in self.names:
                fault = (
                    f"CASE WHEN {asked} AND f_{name}.n_fits IS NULL THEN ' {name}:none' "
                    f"WHEN {asked} AND f_{name}.n_fits > 1 THEN ' {name}:several' END"
                )
                cells.append(f'nullif(concat(r."x_{UNMATCHED}", {fault}), \'\') AS "x_{UNMATCHED}"')
            found = f"r.* REPLACE ({', '.join(cells)})" if cells else "r.*"
            rows = f"WITH given AS MATERIALIZED ({rows}) SELECT {found} FROM given AS r {matched_join(name, spec)}"
        return rows

    def _numbered(self, rows: str, beside: Beside, binder: Binder) -> str:
        """The rows with the numbers of their captures."""
        by_side = any(spec.numbered == "side" for _, spec in specs_of(self._mapping()))
        number = 'coalesce(r.own_no, CAST(numbers.capture_no AS VARCHAR), r."x_capture_no")'
        cells = []
        if "capture_no" in self.names:
            cells.append(f'CASE WHEN r.numbered THEN {number} ELSE r."x_capture_no" END AS "x_capture_no"')
        if UNMATCHED in self.names:
            fault = "CASE WHEN r.numbered AND r.own_no IS NULL AND numbers.capture_no IS NULL THEN ' capture_no:order' END"
            cells.append(f'nullif(concat(r."x_{UNMATCHED}", {fault}), \'\') AS "x_{UNMATCHED}"')
        if self.whole and "@capture_no" not in self.source.headers:
            told = "coalesce(to_json(CAST(numbers.capture_no AS VARCHAR)), 'null')"
            cells.append(f"left(r.received, length(r.received) - 1) || ',\"@capture_no\":' || {told} || '}}' AS received")
        if not cells:
            return rows
        side = 'lower(r."x_side") IS NOT DISTINCT FROM numbers.side' if by_side else "numbers.side = ''"
        return (
            f"SELECT r.* REPLACE ({', '.join(cells)}) FROM ({rows}) AS r LEFT JOIN numbers_{self.source.table.name} AS numbers "
            f"ON numbers.scope = {binder.bind(self.source.scope)} "
            f'AND numbers.session_id IS NOT DISTINCT FROM r."x_session_id" AND {side} AND numbers.told_at = r.no_at'
        )

    def _carried_over(self, rows: str, mapped: TableMapping, binder: Binder) -> str:
        """The rows with what is carried over from the captures before."""
        table = self.source.table
        specs = {name: spec for name, spec in specs_of(mapped) if spec.carry and name in self.names}
        cells, bits = [], ['coalesce(TRY_CAST(r."x_filled" AS BIGINT), 0)']
        for name, spec in specs.items():
            own, before = f'r."x_{name}"', f'before."x_{name}"'
            start = f", {binder.bind_text(spec.empty)}" if spec.empty is not None else ""
            cells.append(f'coalesce({own}, {before}{start}) AS "x_{name}"')
            bits.append(bit_sql(table, name, f"{own} IS NULL AND {before} IS NOT NULL", CARRIED_FROM))
            if start:
                bits.append(bit_sql(table, name, f"coalesce({own}, {before}) IS NULL"))
        if FILLED in self.names:
            cells.append(f'CAST(nullif({" + ".join(bits)}, 0) AS VARCHAR) AS "x_{FILLED}"')
        same = " AND ".join(
            f"before.{name} IS NOT DISTINCT FROM {cell}"
            for name, cell in (
                ("session_id", 'r."x_session_id"'),
                ("capture_no", 'TRY_CAST(r."x_capture_no" AS DOUBLE)'),
                ("side", 'lower(r."x_side")'),
            )
        )
        if not cells:
            return rows
        return (
            f"SELECT r.* REPLACE ({', '.join(cells)}) FROM ({rows}) AS r LEFT JOIN carried_{table.name} AS before "
            f"ON before.scope = {binder.bind(self.source.scope)} AND {same}"
        )

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
    def _beside_names(self) -> list[str]:
        """The columns that are passed on beside the cells."""
        return ["received"] * self.whole + ["position"] * self.placed

    @property
    def _beside(self) -> str:
        return "".join(f", {name}" for name in self._beside_names)

    def _rows(
        self,
        source: SourceFile,
        given: str,
        groups: list[Group],
        where: Cells,
        beside: Beside,
        binder: Binder,
        *,
        is_native: bool = True,
    ) -> str:
        """Rows of n, k (the entry of `each`), received, the x_ columns and what they carry beside."""
        native = {name: f"c{index}" for name, index in source.cells.items()} if is_native else {}
        structs = [group_sql(source, group, self.names, native, beside, binder) for group in groups]
        condition = binder.where_sql(source, where)
        if source.mended:
            condition += f" AND {_is_filled(source, lambda index: f'c{index}')}"
        fields = ", ".join(
            [*(f'r."x_{name}" AS "x_{name}"' for name in self.names), *(f"r.{name} AS {name}" for name in beside.names)]
        )
        return (
            f"SELECT n, r.k AS k{self._beside}, {fields} FROM (SELECT n{self._beside}, unnest([{', '.join(structs)}]) AS r "
            f"FROM ({given}) WHERE {condition}) WHERE r.is_filled"
        )

    def _carried(self, rows: str, changes: str, log: LogMapping, binder: Binder) -> str:
        """The rows of captures, each with the changes that came before it."""
        table = self.source.table
        carried = {name: spec for group in _groups(log) for name, spec in group.columns.items() if name not in table.key}
        knee = ", ".join(f'lower("x_{name}")' for name in table.key if name != "capture_no")
        if log.changed_at:
            order = "told_at, is_capture, n"
        else:
            order = 'TRY_CAST("x_capture_no" AS DOUBLE), is_capture, n' if self.source.log else "n, is_capture"
        over = f"OVER (PARTITION BY {knee} ORDER BY {order} ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)"
        states = {name: _carried_cell(name, carried[name], over) for name in carried if name in self.names}
        cells = []
        for name in self.names:
            cell = f'"x_{name}"'
            if name in states:
                cell = states[name]
                if (empty := carried[name].empty) is not None and not carried[name].carry:
                    cell = f"coalesce({cell}, {binder.bind_text(empty)})"
            elif name == FILLED:
                bits = [
                    bit_sql(table, column, f"{state} IS NULL")
                    for column, state in states.items()
                    if carried[column].empty is not None and not carried[column].carry
                ]
                cell = f"CAST(nullif({' + '.join(['coalesce(TRY_CAST(x_filled AS BIGINT), 0)', *bits])}, 0) AS VARCHAR)"
            elif name == UNMATCHED and log.changed_at:
                fault = f"CASE WHEN bool_or(told_at IS NULL) OVER (PARTITION BY {knee}) THEN ' capture_no:time' END"
                cell = f"nullif(concat(\"x_{UNMATCHED}\", {fault}), '')"
            cells.append(f'{cell} AS "x_{name}"')
        columns = ", ".join(["n", "k", *self._beside_names, *(f'"x_{name}"' for name in self.names)])
        columns += ", told_at" if log.changed_at else ""
        both = f"SELECT 1 AS is_capture, {columns} FROM ({rows}) UNION ALL SELECT 0, {columns} FROM ({changes})"
        return (
            f"SELECT * FROM (SELECT is_capture, n, k{self._beside}, {', '.join(cells)} FROM ({both})) "
            "WHERE is_capture = 1 ORDER BY n, k"
        )

    def _picked(self, rows: str) -> str:
        picked = [f'"x_{name}"' for name in self.names]
        picked += ["received"] * self.whole + ["n AS source_record"] * self.numbered + ["position"] * self.placed
        mapped = self._mapping()
        # Joins keep no order; a log's rows are in theirs already.
        is_joined = bool(matched_columns(mapped) or carried_columns(mapped))
        return f"SELECT {', '.join(picked)} FROM ({rows}){' ORDER BY n, k' if is_joined else ''}"


def _groups(mapped: TableMapping | LogMapping) -> list[Group]:
    return [Group(no, {**mapped.columns, **each}, list(each)) for no, each in enumerate(mapped.each or [{}])]


def _carried_cell(name: str, spec: ColumnMapping, over: str) -> str:
    """A capture's own cell, or the state that the changes before it left."""
    change = f'CASE WHEN is_capture = 0 THEN "x_{name}" END'
    state = f"last_value({change} IGNORE NULLS) {over}"
    if spec.adds:
        # A change that is no number must not be passed over: it is shown in place of the sum, and the row is rejected.
        odd = f'CASE WHEN is_capture = 0 AND TRY_CAST("x_{name}" AS DOUBLE) IS NULL THEN "x_{name}" END'
        total = f"CAST(round(sum(TRY_CAST({change} AS DOUBLE)) {over}, 9) AS VARCHAR)"
        state = f"last_value({odd} IGNORE NULLS) {over}, {total}"
    return f'coalesce(CASE WHEN is_capture = 1 THEN "x_{name}" END, {state})'
