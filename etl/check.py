"""Every rule of the contract on the cells of one row, made from the catalogue as SQL, once.

A rule is a condition that holds for a row that breaks it. A row is whole where no condition holds; the findings of the
other rows are listed with the same conditions, so that the two cannot disagree. A faulty cell that could as well be empty
is left out, and its row is sound all the same.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from datetime import date

from shared.catalogue import Column, RowRule, Table
from shared.units import UNITS

# ISO 8601 calendar date, with or without a time of day.
_ISO_DATE = r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})?)?"
_SHOWN = 80  # characters of a faulty value that a finding repeats


@dataclass(frozen=True)
class Rule:
    """`broken` is SQL over `x_<column>` (text) and `v_<column>` (typed); `expected` and `remedy` finish the sentence.

    `of_cell`: what breaks it is a cell that may be left out, so that the rest of the row stands. `broken_beside`: of a rule
    between cells, the condition once faulty cells are left out.
    """

    rule: str
    column: str
    broken: str
    expected: str
    remedy: str
    of_cell: bool = False
    broken_beside: str = ""


def typed_cells(table: Table, relation: str) -> str:
    """SQL of `relation` (columns x_<column>) with each cell's typed value `v_<column>` beside its text."""
    typed = ", ".join(f'{_typed(column)} AS "v_{column.name}"' for column in table.columns)
    return f"SELECT *, {typed} FROM ({relation})"


def rules_of(table: Table, load_date: date, matched: Collection[str] = ()) -> list[Rule]:
    """All rules on the cells of one row of a table, in the order in which findings are told; `matched`: columns that a mapping
    takes from other rows, which may not be found."""
    rules = []
    for column in table.columns:
        may_be_left_out = not (column.required or column.empty_counts)
        of_column = list(_column_rules(column, load_date))
        if column.name in matched:
            # What was not found has no other fault.
            is_found = f"coalesce(NOT contains(\"x_unmatched\", ' {column.name}:'), true)"
            of_column = [replace(rule, broken=f"({rule.broken}) AND {is_found}") for rule in of_column]
            of_column += _matched_rules(column.name)
        rules += [replace(rule, of_cell=may_be_left_out) for rule in of_column]
    left_out = _left_out(rules)
    return rules + [_row_rule(rule, left_out) for rule in table.row_rules]


def is_whole(rules: list[Rule]) -> str:
    """SQL that is true for a row that breaks no rule."""
    return " AND ".join(f"({rule.broken}) IS NOT TRUE" for rule in rules)


def is_sound(rules: list[Rule]) -> str:
    """SQL that is true for a row that can be stored: it breaks no rule, or only in cells that are left out."""
    beside = (rule.broken_beside or rule.broken for rule in rules if not rule.of_cell)
    return f"CASE WHEN {is_whole(rules)} THEN true ELSE {' AND '.join(f'({broken}) IS NOT TRUE' for broken in beside)} END"


def stored_value(column: Column) -> str:
    """SQL of the value that a sound cell is stored as."""
    return f'CAST("v_{column.name}" AS {column.sql_type})'


def stored_values(table: Table, rules: list[Rule]) -> str:
    """SQL of the values that a row is stored as, without its faulty cells."""
    left_out = _left_out(rules)
    return ", ".join(
        f"CASE WHEN {left_out[column.name]} THEN NULL ELSE {stored_value(column)} END"
        if column.name in left_out
        else stored_value(column)
        for column in table.columns
    )


def _left_out(rules: list[Rule]) -> dict[str, str]:
    """By column, SQL that is true where its cell is faulty and left out."""
    broken: dict[str, list[str]] = {}
    for rule in rules:
        if rule.of_cell:
            broken.setdefault(rule.column, []).append(f"({rule.broken}) IS TRUE")
    return {column: f"({' OR '.join(conditions)})" for column, conditions in broken.items()}


def finding_words(rule: Rule) -> tuple[str, str]:
    """What stands before and after the found value in a finding's sentence."""
    return f"{rule.column}: found ", f", expected {rule.expected}. {rule.remedy}"


def shown_value(column: str) -> str:
    """SQL of a faulty cell as a finding repeats it."""
    return f"coalesce(left(\"x_{column}\", {_SHOWN}), 'an empty cell')"


def _typed(column: Column) -> str:
    text = f'"x_{column.name}"'
    if column.type == "string":
        return f"lower({text})" if column.codes else text
    if column.type == "boolean":
        yes, no = (_listed(sorted({value.lower() for value in values})) for values in (column.true_values, column.false_values))
        return f"CASE WHEN lower({text}) IN ({yes}) THEN true WHEN lower({text}) IN ({no}) THEN false END"
    # Whole numbers pass through DOUBLE: other programs write them as 12.0 where a column has empty cells.
    return f"TRY_CAST({text} AS {'DOUBLE' if column.type == 'integer' else column.sql_type})"


def _column_rules(column: Column, load_date: date) -> Iterator[Rule]:
    text, value = f'"x_{column.name}"', f'"v_{column.name}"'
    if column.required:
        yield Rule("required", column.name, f"{text} IS NULL", "a value", "Fill the cell and load again.")
    if column.codes:
        expected = f"one of {', '.join(column.codes)}"
        remedy = "Correct the code, or translate it in a mapping, and load again."
        yield Rule("code", column.name, f"{value} NOT IN ({_listed(column.codes)})", expected, remedy)
    if column.type == "boolean":
        broken = f"{text} IS NOT NULL AND {value} IS NULL"
        yield Rule("code", column.name, broken, "true or false", "Correct the cell and load again.")
    if column.type in {"integer", "number"}:
        yield from _number_rules(column, text, value, load_date)
    if column.type in {"date", "datetime"}:
        yield from _date_rules(column, text, value, load_date)


def _number_rules(column: Column, text: str, value: str, load_date: date) -> Iterator[Rule]:
    remedy = "Correct the value and load again" + (
        "; if the column is in another unit, set it in a mapping." if column.unit in UNITS else "."
    )
    # An underscore between digits is a habit of programming languages, no number of an export.
    broken = f"{text} IS NOT NULL AND ({value} IS NULL OR NOT isfinite({value}) OR contains({text}, '_'))"
    kind = "a whole number" if column.type == "integer" else "a number"
    yield Rule("number", column.name, broken, kind, remedy)
    if column.type == "integer":
        yield Rule("whole_number", column.name, f"isfinite({value}) AND {value} <> floor({value})", kind, remedy)
    highest = load_date.year if column.latest == "load_year" else column.maximum
    limits = [f"{value} {sign} {limit}" for sign, limit in (("<", column.minimum), (">", highest)) if limit is not None]
    if limits:
        expected = f"{kind} {_span(column.minimum, highest)}{_unit(column)}"
        yield Rule("range", column.name, f"isfinite({value}) AND ({' OR '.join(limits)})", expected, remedy)


def _date_rules(column: Column, text: str, value: str, load_date: date) -> Iterator[Rule]:
    form = "a date such as 2026-01-31" if column.type == "date" else "a time such as 2026-01-31T09:30:00"
    broken = f"{text} IS NOT NULL AND ({value} IS NULL OR NOT regexp_full_match({text}, '{_ISO_DATE}'))"
    yield Rule("date", column.name, broken, form, "Correct the date, or set its form in a mapping, and load again.")
    limits = []
    if column.minimum is not None:
        limits.append(f"{value} < CAST('{column.minimum}' AS {column.sql_type})")
    if column.latest == "load_date":
        limits.append(f"CAST({value} AS DATE) > DATE '{load_date.isoformat()}'")
    if limits:
        earliest = str(column.minimum)[:10]
        span = f"from {earliest} to {load_date.isoformat()}" if column.latest else f"not before {earliest}"
        yield Rule("date", column.name, " OR ".join(limits), f"a date {span}", "Correct the date and load again.")


# By what was not found: the rule, what was expected and what to do.
_NOT_FOUND = {
    "none": (
        "no_fit",
        "a rider and a date in whose days before the mapping finds a fit, and there is none",
        "Load the fit first, correct rider or date, or write the visit under {mark} in the file to mend, and load again.",
    ),
    "several": (
        "several_fits",
        "one fit on the nearest day, and there are several",
        "Write the right visit under {mark} in the file to mend, and load again.",
    ),
    "order": (
        "order",
        "a time that can be read in every row of this visit, since its captures are numbered by them",
        "Correct the time, or write the number under {mark} in the file to mend, and load again.",
    ),
    "earlier": (
        "earlier",
        "a time after those of the captures of this visit that are loaded already, which keep their numbers",
        "Take the load that brought them back (fitledger undo) and load all captures of the visit in one, or write a number "
        "that is free under {mark} in the file to mend, and load again.",
    ),
    "time": (
        "order",
        "a time that can be read in every change and capture of this visit, since the setup follows from their order",
        "Correct the time and load again.",
    ),
}


def _matched_rules(column: str) -> Iterator[Rule]:
    for kind in ("order", "earlier", "time") if column == "capture_no" else ("none", "several"):
        rule, expected, remedy = _NOT_FOUND[kind]
        broken = f"contains(\"x_unmatched\", ' {column}:{kind}')"
        yield Rule(rule, column, broken, expected, remedy.format(mark=f"@{column}"))


def _row_rule(rule: RowRule, left_out: dict[str, str]) -> Rule:
    remedy = "Correct the row and load again."

    def is_empty(name: str) -> str:
        return f'("x_{name}" IS NULL OR {left_out.get(name, "false")})'

    if rule.kind == "any_of":
        broken = " AND ".join(f'"x_{name}" IS NULL' for name in rule.columns)
        beside = " AND ".join(map(is_empty, rule.columns))
        expected = f"a value in at least one of {', '.join(rule.columns)}"
        return Rule(rule.rule, rule.column, broken, expected, remedy, broken_beside=beside)
    if rule.kind == "required_when":
        is_when = f"\"v_{rule.when_column}\" = '{rule.when_value}'"
        broken, beside = f'{is_when} AND "x_{rule.column}" IS NULL', f"{is_when} AND {is_empty(rule.column)}"
        expected = f"a date, since {rule.when_column} is {rule.when_value}"
        return Rule(rule.rule, rule.column, broken, expected, remedy, broken_beside=beside)
    if rule.kind == "not_before":
        broken = f'"v_{rule.column}" < "v_{rule.other_column}"'
        beside = f"{broken} AND NOT {is_empty(rule.column)}"
        return Rule(rule.rule, rule.column, broken, f"a date not before {rule.other_column}", remedy, broken_beside=beside)
    raise ValueError(f"datapackage.json: rowRules kind {rule.kind!r} is not known")


def _listed(codes: tuple[str, ...] | list[str]) -> str:
    return ", ".join("'" + code.replace("'", "''") + "'" for code in codes)


def _span(lowest: float | str | None, highest: float | str | None) -> str:
    if lowest is None:
        return f"up to {highest}"
    return f"from {lowest}" + ("" if highest is None else f" to {highest}")


def _unit(column: Column) -> str:
    return f" {UNITS[column.unit].sign}" if column.unit in UNITS else ""
