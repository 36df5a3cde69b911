"""One mapped cell as SQL over the text cells c0, c1, … of a file; every word of the mapping is bound."""

import re
from collections.abc import Iterator
from collections.abc import Mapping as Words
from dataclasses import dataclass
from typing import Any

from etl.columns import position_of
from etl.derived import FILLED, bit_sql
from etl.known_words import codes_sql
from etl.mapping import PLACES, ColumnMapping, Form, date_forms_of
from etl.source import SourceFile
from shared.catalogue import Column
from shared.units import UNITS, conversion_factor

# Digits that a converted number keeps: far below any measure, far above the noise of a conversion.
_DECIMALS = 9
_NO_TEXT = "CAST(NULL AS VARCHAR)"


class Binder:
    """Gives each value that a statement needs a parameter of its own."""

    def __init__(self, parameters: dict[str, Any]) -> None:
        self._parameters = parameters

    def bind(self, value: Any) -> str:
        name = f"m{len(self._parameters)}"
        self._parameters[name] = value
        return f"${name}"

    def bind_text(self, value: object) -> str:
        """A constant of the mapping, as the text that a file would hold."""
        return self.bind(str(value).lower() if isinstance(value, bool) else str(value))

    def where_sql(self, source: SourceFile, where: Words[str, Any]) -> str:
        """SQL that is true where the named columns hold one of the named values, in any case of letters."""
        conditions = []
        for header, wanted in where.items():
            values = [wanted] if isinstance(wanted, str) else wanted
            listed = ", ".join(self.bind(value.strip().lower()) for value in values)
            conditions.append(f"coalesce(lower({cell_of(source, header)}), '') IN ({listed})")
        return " AND ".join(conditions) or "true"


@dataclass(frozen=True)
class Group:
    """The columns of one row that is made of a record: its number, and `own`, the columns of its entry of `each`."""

    number: int
    columns: dict[str, ColumnMapping]
    own: list[str]


@dataclass(frozen=True)
class Beside:
    """What the rows of one mapping carry beside their columns, to be joined with other rows: the columns for which a visit is
    found by rider and date, whether captures are numbered, and when a capture was recorded or a change was made."""

    matched: tuple[str, ...] = ()
    is_numbered: bool = False
    at: ColumnMapping | None = None

    @property
    def names(self) -> list[str]:
        """The names of all that is carried."""
        names = [f"{part}_{name}" for name in self.matched for part in ("rider", "date", "own")]
        return names + ["numbered", "no_at", "own_no"] * self.is_numbered + ["told_at"] * (self.at is not None)


def cell_of(source: SourceFile, header: str) -> str:
    """The text cell of a source column, or of what the file's place tells."""
    if header in PLACES and header not in source.headers:
        return f'"{header}"'
    return f"c{position_of(source.name, source.headers, [header])[header]}"


def group_sql(
    source: SourceFile, group: Group, names: tuple[str, ...], native: dict[str, str], beside: Beside, binder: Binder
) -> str:
    """A struct of the x_ columns of one row; `is_filled` is false where an entry of `each` finds all its cells empty."""
    side = _word_of(source, "side", group.columns["side"], binder) if "side" in group.columns else native.get("side", _NO_TEXT)
    fields = []
    for name in names:
        if name == FILLED:
            cell = _filled_sql(source, group, side, binder)
        elif name in group.columns:
            cell = cell_sql(source, source.table.column(name), group.columns[name], side, binder)
        else:
            cell = native.get(name, _NO_TEXT)
        fields.append(f"'x_{name}': {cell}")
    fields += [f"'{name}': {cell}" for name, cell in _beside_sql(source, group, beside, binder)]
    of_entry = {header for name in group.own for header in group.columns[name].origins if header not in PLACES}
    own = sorted(cell_of(source, header) for header in of_entry)
    filled = " OR ".join(f"{cell} IS NOT NULL" for cell in own) or "true"
    return f"{{{', '.join(fields)}, 'k': {group.number:d}, 'is_filled': {filled}}}"


def _filled_sql(source: SourceFile, group: Group, side: str, binder: Binder) -> str:
    """Which cells stand for an empty one, as bits; those that are carried are filled later on."""
    bits = []
    for name, spec in group.columns.items():
        if spec.empty is not None and not spec.carry and name in source.table.column_names:
            cell = _filled_from(source, source.table.column(name), spec, side, binder)
            bits.append(bit_sql(source.table, name, f"{cell} IS NULL"))
    return f"CAST(nullif({' + '.join(bits)}, 0) AS VARCHAR)" if bits else _NO_TEXT


def _beside_sql(source: SourceFile, group: Group, beside: Beside, binder: Binder) -> Iterator[tuple[str, str]]:
    form = _form_of(source)

    def own(name: str) -> str:
        return cell_of(source, f"@{name}") if f"@{name}" in source.headers else _NO_TEXT

    for name in beside.matched:
        spec = group.columns.get(name)
        rider, date = (spec.rider, spec.date) if spec else (None, None)
        yield f"rider_{name}", _text_of(source, rider, binder) if rider else _NO_TEXT
        day = _date("%Y-%m-%d", _text_of(source, date, binder), date_forms_of(date, form), binder) if date else _NO_TEXT
        yield f"date_{name}", day
        yield f"own_{name}", own(name)
    if beside.is_numbered:
        spec = group.columns.get("capture_no")
        is_numbered = spec is not None and spec.numbered is not None
        yield "numbered", str(is_numbered).lower()
        yield "no_at", _time(source, spec, binder) if spec and is_numbered else "CAST(NULL AS DOUBLE)"
        yield "own_no", own("capture_no")
    if beside.at is not None:
        yield "told_at", _time(source, beside.at, binder)


def _time(source: SourceFile, spec: ColumnMapping, binder: Binder) -> str:
    """SQL of a time as a number: seconds of a date and time, of a time of day, or whatever number stands there."""
    text = _text_of(source, spec, binder)
    tried = [f"try_strptime({text}, {binder.bind(form)})" for form in date_forms_of(spec, _form_of(source))]
    times = [f"CASE WHEN year({made}) >= 1000 THEN epoch({made}) END" for made in tried]
    times += [f"TRY_CAST(replace({text}, ',', '.') AS DOUBLE)", f"epoch(TRY_CAST({text} AS TIMESTAMP))"]
    return f"coalesce({', '.join(times)}, epoch(TRY_CAST({text} AS TIME)))"


def _form_of(source: SourceFile) -> Form:
    return source.mapping.form_of(source.table_mapping) if source.mapping else Form()


def cell_sql(source: SourceFile, column: Column, spec: ColumnMapping, side: str, binder: Binder) -> str:
    """The text of one mapped cell; of one that is carried from other rows, nothing stands for an empty one yet."""
    text = _filled_from(source, column, spec, side, binder)
    return f"coalesce({text}, {binder.bind_text(spec.empty)})" if spec.empty is not None and not spec.carry else text


def _filled_from(source: SourceFile, column: Column, spec: ColumnMapping, side: str, binder: Binder) -> str:
    """The cell as the file fills it."""
    if spec.rider:
        return _NO_TEXT
    text = _word_of(source, column.name, spec, binder)
    form = _form_of(source)
    if spec.numbered:
        return text
    if spec.value is None and column.type in {"number", "integer"}:
        text = _number(source, column, spec, text, side, spec.decimal or form.decimal)
    date_forms = date_forms_of(spec, form)
    if spec.value is None and date_forms and column.type in {"date", "datetime"}:
        text = _date("%Y-%m-%d" if column.type == "date" else "%Y-%m-%dT%H:%M:%S", text, date_forms, binder)
    return text


def _word_of(source: SourceFile, name: str, spec: ColumnMapping, binder: Binder) -> str:
    """The text of a column, with the words that fitledger knows translated where the mapping says so."""
    text = _text_of(source, spec, binder)
    is_known = spec.value is None and not spec.numbered and source.mapping is not None and source.mapping.words
    return codes_sql(name, text, binder.bind) if is_known else text


def _text_of(source: SourceFile, spec: ColumnMapping, binder: Binder) -> str:
    """The cell before numbers and dates are made of it: constant or joined columns, chosen and translated."""
    if spec.value is not None:
        text = f"CAST({binder.bind_text(spec.value)} AS VARCHAR)"
    else:
        # || is empty where one part is: half a key is no key.
        between = f" || {binder.bind(spec.joined_with)} || " if len(spec.sources) > 1 else ""
        text = between.join(_part(source, spec, header) for header in spec.sources)
    if spec.where:
        text = f"CASE WHEN {binder.where_sql(source, spec.where)} THEN {text} END"
    if spec.strip:
        words = f"(?:\\s*(?:{'|'.join(re.escape(word) for word in sorted(spec.strip, key=len, reverse=True))})\\s*)+"
        front, end = binder.bind(f"^{words}"), binder.bind(f"{words}$")
        text = f"nullif(regexp_replace(regexp_replace({text}, {front}, '', 'i'), {end}, '', 'i'), '')"
    if spec.pattern:
        pattern = binder.bind(spec.pattern)
        # A text that does not fit stays as it was found, for the rule to show it.
        taken = f"nullif(trim(regexp_extract({text}, {pattern}, {spec.group_no:d})), '')"
        text = f"CASE WHEN regexp_matches({text}, {pattern}) THEN {taken} ELSE {text} END"
    if spec.codes:
        cases = " ".join(
            f"WHEN {binder.bind(code.strip().lower())} THEN {binder.bind_text(meant)}" for code, meant in spec.codes.items()
        )
        text = f"CASE lower({text}) {cases} ELSE {text} END"
    return f"({text})"


def _part(source: SourceFile, spec: ColumnMapping, header: str) -> str:
    cell = cell_of(source, header)
    return f"regexp_replace({cell}, '^0+([0-9]+)$', '\\1')" if spec.without_zeros else cell


def _number(source: SourceFile, column: Column, spec: ColumnMapping, text: str, side: str, decimal: str | None) -> str:
    plain = text
    if decimal == ",":
        # What is no number with its commas turned stays as it was found, for the rule to show it.
        turned = f"replace({text}, ',', '.')"
        plain = f"CASE WHEN TRY_CAST({turned} AS DOUBLE) IS NULL THEN {text} ELSE {turned} END"
        if source.has_text_numbers:
            # With a decimal comma, a point would part thousands; it is shown with its reason, and the row is rejected.
            parted = f"contains({text}, '.') AND regexp_full_match({text}, '[-+]?[0-9.,]+(?:[eE][-+]?[0-9]+)?')"
            plain = f"CASE WHEN {parted} THEN {text} || ' (a point beside decimal commas)' ELSE {plain} END"
    factor = _factor(column, spec)
    if factor == 1 and spec.flip is False:
        return plain
    value = f"TRY_CAST({plain} AS DOUBLE)"
    sign = "-1" if spec.flip is True else "1"
    if spec.flip in {"left", "right"}:
        sign = f"CASE WHEN lower({side}) = '{spec.flip}' THEN -1 ELSE 1 END"
    # Adding zero turns a negative zero into a plain one. What is no number stays as it was, for the rule to show it.
    made = f"round({value} * {factor!r} * {sign}, {_DECIMALS}) + 0.0"
    is_number = f"isfinite({value}) AND NOT contains({plain}, '_')"
    return f"CASE WHEN {is_number} THEN CAST({made} AS VARCHAR) ELSE {plain} END"


def _factor(column: Column, spec: ColumnMapping) -> float:
    if spec.unit is None or column.unit not in UNITS:
        return 1.0
    return conversion_factor(spec.unit, UNITS[column.unit].pint_name)


def _date(iso_form: str, text: str, date_forms: list[str], binder: Binder) -> str:
    if not date_forms:
        return text
    tried = ", ".join(_tried_date(text, binder.bind(form), iso_form) for form in date_forms)
    return f"coalesce({tried}, {text})"


def _tried_date(text: str, form: str, iso_form: str) -> str:
    # %Y takes two digits too, as of the first century: such a date is of another form.
    made = f"try_strptime({text}, {form})"
    return f"CASE WHEN year({made}) >= 1000 THEN strftime({made}, '{iso_form}') END"
