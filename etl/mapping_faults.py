"""What the catalogue says against a mapping: its tables, columns, units, and what a text is taken apart by."""

import re
from collections.abc import Iterator, Mapping

from etl.mapping_keys import ColumnMapping, LogMapping, TableMapping
from shared.catalogue import Table, catalogue
from shared.errors import UsageError
from shared.toml_file import nearest, shortened
from shared.units import UNITS, conversion_factor
from shared.warehouse import takes_pattern

# What the warehouse's patterns do not know, so that none of them can take long.
_BEYOND = re.compile(r"\(\?(?:[=!>(#]|<[=!]|P=)|\\[1-9Z]|[*+?}]\+")


def nearest_words(wrong: str, valid: list[str]) -> str:
    """The valid name that is nearest to a wrong one, in words."""
    near = nearest(wrong, valid)
    return f"the nearest one is {near}" if near else "none may stand here"


def faults_of(tables: Mapping[str, TableMapping]) -> Iterator[str]:
    """What the catalogue says against the mapping: tables, columns and units."""
    for name, mapped in tables.items():
        if name not in catalogue():
            yield f"tables.{shortened(name)} is no table of the contract; {nearest_words(name, list(catalogue()))}."
            continue
        table = catalogue()[name]
        places = [("", mapped.columns, mapped.each)]
        if mapped.log:
            places.append((".log", mapped.log.columns, mapped.log.each))
            if "capture_no" not in table.key:
                yield f"tables.{name}.log: only a table with capture_no can be made from a log of changes."
            yield from _log_faults(f"tables.{name}.log", mapped.log)
        for part, common, each in places:
            groups = [(f"{part}.columns", common), *((f"{part}.each.{no}", one) for no, one in enumerate(each, 1))]
            for place, columns in groups:
                for column, spec in columns.items():
                    yield from _column_faults(table, f"tables.{name}{place}.{shortened(column)}", column, spec)


def _log_faults(place: str, log: LogMapping) -> Iterator[str]:
    if (log.captured_at is None) != (log.changed_at is None):
        yield f"{place}: captured_at and changed_at go together: the time of a capture, and that of a change. Give both."
    elif log.changed_at and not log.files:
        yield f"{place}: times tell a log apart that is a file of its own. Give files, or leave captured_at and changed_at out."
    elif log.changed_at and any("capture_no" in columns for columns in (log.columns, *log.each)):
        yield f"{place}: a change holds from a time or from a capture on, not both. Leave capture_no or the times out."


def _column_faults(table: Table, place: str, name: str, spec: ColumnMapping) -> list[str]:
    if name not in table.column_names:
        return [f"{place} is no column of {table.name}; {nearest_words(name, list(table.column_names))}."]
    column = table.column(name)
    faults = []
    if column.unit in UNITS and spec.sources and spec.sources != [name] and spec.unit is None:
        faults.append(f"{place}: no unit is given, and none is guessed. Write {unit_line(name, spec.sources[0], column.unit)}.")
    if spec.unit is not None:
        if column.unit not in UNITS:
            faults.append(f"{place}: {name} bears no unit. Leave unit = {spec.unit!r} out.")
        elif spec.value is not None:
            faults.append(f"{place}: a constant is written in {column.unit}. Leave unit = {spec.unit!r} out.")
        else:
            faults += _unit_faults(place, spec.unit, UNITS[column.unit].pint_name)
    if spec.flip is not False and column.type not in {"number", "integer"}:
        faults.append(f"{place}: {name} is no number, so its sign cannot be flipped. Leave flip out.")
    if spec.flip in {"left", "right"} and "side" not in table.column_names:
        faults.append(f"{place}: {table.name} has no side. Write flip = true or false.")
    if spec.adds and (column.type not in {"number", "integer"} or ".log." not in place):
        faults.append(f"{place}: adds sums up the changes of a number in a log. Leave adds out.")
    if (spec.date_form or spec.date_forms) and column.type not in {"date", "datetime"} and not spec.numbered:
        faults.append(f"{place}: {name} is no date. Leave date_form out.")
    return [*faults, *_other_row_faults(table, place, name, spec), *_text_faults(place, spec)]


def _other_row_faults(table: Table, place: str, name: str, spec: ColumnMapping) -> Iterator[str]:
    """What is wrong with what is taken from other rows."""
    if spec.numbered and (name != "capture_no" or ".log." in place or not spec.sources):
        yield f"{place}: numbered gives captures their numbers by the order of a time. Only capture_no of a table takes it."
    if spec.rider and not any(key.column == name and key.table == "fit_sessions" for key in table.foreign_keys):
        yield f"{place}: by rider and date a visit is found. Only a column that names a visit takes it."
    if spec.rider and spec.at_least_days > (spec.within_days or 0):
        yield f"{place}: at_least_days is more than within_days, so that no fit could be found. Correct one of them."
    if spec.carry and (table.name != "foot_setups" or name in table.key):
        yield f"{place}: only the setup of a foot is carried over, and nothing that was measured. Leave carry out."
    for inner, given in (("rider", spec.rider), ("date", spec.date)):
        yield from _text_faults(f"{place}.{inner}", given) if given else ()
    if spec.carry and spec.adds:
        yield f"{place}: changes that are summed up begin at what empty says. Leave carry or adds out."


def _text_faults(place: str, spec: ColumnMapping) -> Iterator[str]:
    """What is wrong with what a text is taken apart by."""
    for word in spec.strip:
        if re.search(r"[\d+\-−]", word):
            yield f"{place}: strip takes words and units off, and {word!r} could be part of a number. Leave it out."
    if spec.pattern is None:
        if spec.group:
            yield f"{place}: group is one of a pattern. Give pattern, or leave group out."
        return
    try:
        groups = re.compile(spec.pattern)
    except re.error as fault:
        yield f"{place}: {spec.pattern!r} is no regular expression ({fault}). Correct it."
        return
    if _BEYOND.search(spec.pattern):
        yield f"{place}: a pattern may not look ahead, behind or back at its own groups. Write it without."
    elif spec.group and spec.group not in groups.groupindex:
        named = ", ".join(groups.groupindex) or "none"
        yield f"{place}: the pattern has no group named {spec.group!r}; its named groups: {named}."
    elif not spec.group and groups.groups != 1:
        yield f"{place}: the pattern has {groups.groups} groups. Write one as (?P<name>…), and name it in group."
    elif not takes_pattern(spec.pattern):
        yield f"{place}: the warehouse cannot search with {shortened(spec.pattern)}. Write a simpler pattern."


def unit_line(column: str, source: str, unit: str) -> str:
    """The line of a mapping that states a column's unit."""
    return f'{column} = {{ from = "{source}", unit = "{unit}" }}, with the unit that the file is in'


def _unit_faults(place: str, unit: str, target: str) -> list[str]:
    try:
        factor = conversion_factor(unit, target)
    except UsageError as fault:
        return [f"{place}: {fault}"]
    return [] if factor > 0 else [f"{place}: unit {unit!r} cannot be turned into {target!r}."]
