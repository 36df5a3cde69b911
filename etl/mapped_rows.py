"""The rows that a mapping makes of a file, as SQL: put together step by step, each step selects from the one before."""

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
from etl.file_cells import OF_LOG, filled_only, is_filled, place_sql, position_sql, read_sql, row_as_json, trimmed
from etl.mapped_cells import Beside, Binder, Group, group_sql
from etl.mapping import Cells, ColumnMapping, Columns, LogMapping, TableMapping
from etl.source import SourceFile

_DAY = 86_400  # seconds


@dataclass
class MappedRows:
    """The rows of one mapped source: `names` are the columns that are asked for."""

    source: SourceFile
    names: tuple[str, ...]
    whole: bool
    numbered: bool
    placed: bool = False
    parameters: dict[str, Any] = field(default_factory=dict)

    def sql(self, *, is_before: bool = False) -> tuple[str, dict[str, Any]]:
        """The whole relation, and its parameters; `is_before`: before anything is carried over from other captures."""
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
        source, prefix = (self.source.log, OF_LOG) if self.source.log else (self.source, "")
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
            told = "' capture_no:' || coalesce(numbers.fault, 'order')"
            fault = f"CASE WHEN r.numbered AND r.own_no IS NULL AND numbers.capture_no IS NULL THEN {told} END"
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
            # As it is carried over from a row that is stored with it (see prepare.py).
            empty = (
                float(spec.empty) if isinstance(spec.empty, int | float) and not isinstance(spec.empty, bool) else spec.empty
            )
            start = f", {binder.bind_text(empty)}" if empty is not None else ""
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
        relation, parameters = read_sql(source, prefix)
        self.parameters |= parameters
        cells = ", ".join(f"{trimmed(source, index)} AS c{index}" for index in range(len(source.headers)))
        cells += "".join(f', {place_sql(source, place, binder)} AS "{place}"' for place in source.used_places)
        beside = f", {row_as_json(source, binder)} AS received" if self.whole else ""
        beside += f", {position_sql(source)} AS position" if self.placed else ""
        return f"SELECT row_number() OVER () AS n{beside}, {cells} FROM {relation}{filled_only(source)}"

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
            condition += f" AND {is_filled(source, lambda index: f'c{index}')}"
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
