"""Matches the columns of a file with those of its table, natively or through a mapping; guesses no unit and no sign."""

import difflib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from etl.mapping import PLACES, ColumnMapping, LogMapping, TableMapping, unit_line
from etl.source import RefusedFileError
from shared.catalogue import Column, Table
from shared.units import UNITS

# What stands beside a quantity's name when a column holds it in another form.
_BESIDE = {
    "deg", "degree", "degrees", "rad", "radian", "radians", "mrad", "mm", "cm", "m", "in", "inch", "inches", "ft", "kg", "g",
    "lb", "lbs", "pound", "pounds", "w", "watt", "watts", "kw", "rpm", "hz", "days", "left", "right", "l", "r",
}  # fmt: skip


@dataclass(frozen=True)
class Matched:
    """`cells` maps names of the contract to positions; `unknown` are the file's columns that nothing takes."""

    cells: dict[str, int]
    unknown: tuple[str, ...]


def match_native(name: str, table: Table, headers: tuple[str, ...]) -> Matched:
    """Matches by the contract's own names. Raises RefusedFileError where one is missing, twice, or in another form."""
    cells, unknown = _by_contract_name(name, table, headers)
    _refuse_other_forms(name, table, set(cells), unknown)
    missing = [column.name for column in table.columns if column.required and column.name not in cells]
    if missing:
        raise RefusedFileError(_missing_words(name, table, missing, unknown))
    return Matched(cells, tuple(unknown))


def match_mapped(name: str, table: Table, headers: tuple[str, ...], mapped: TableMapping) -> Matched:
    """Matches what the mapping names, then the contract's own names for what it leaves open."""
    used = position_of(name, headers, _sources(mapped, is_log=False))
    if mapped.log and not mapped.log.files:
        used |= position_of(name, headers, _sources(mapped, is_log=True))
    taken = set(used.values())
    is_left_out = {header.lower() for header in (headers if "*" in mapped.ignore else mapped.ignore)}
    named = mapped_columns(mapped)
    rest = tuple(
        "" if index in taken or header.lower() in is_left_out or header.lower() in named else header
        for index, header in enumerate(headers)
    )
    cells, unknown = _by_contract_name(name, table, rest)
    _refuse_other_forms(name, table, set(cells) | named, unknown)
    missing = [
        column.name for column in table.columns if column.required and column.name not in cells and column.name not in named
    ]
    if missing:
        raise RefusedFileError(_missing_words(name, table, missing, unknown))
    return Matched(cells, tuple(unknown))


def mapped_columns(mapped: TableMapping) -> set[str]:
    """The columns of the table that a mapping sets."""
    groups = [mapped.columns, *mapped.each]
    if mapped.log:
        groups += [mapped.log.columns, *mapped.log.each]
    return {column for columns in groups for column in columns}


def position_of(name: str, headers: tuple[str, ...], wanted: Iterable[str]) -> dict[str, int]:
    """Where each source column of a mapping stands. Raises RefusedFileError where one is missing or stands twice."""
    positions = {}
    for source in wanted:
        places = [index for index, header in enumerate(headers) if header == source.strip()]
        if not places:
            places = [index for index, header in enumerate(headers) if header.lower() == source.strip().lower()]
        if not places and source in PLACES:
            continue  # told by the file's place, not by its columns
        if len(places) != 1:
            raise RefusedFileError(_not_once_words(name, headers, source, len(places)))
        positions[source] = places[0]
    return positions


def log_sources(log: LogMapping) -> list[str]:
    """Every column of the file that a log of changes is read from."""
    return [*_group_sources([log.columns, *log.each], log.where), *(log.changed_at.named if log.changed_at else [])]


def places_of(mapped: TableMapping | LogMapping) -> tuple[str, ...]:
    """What a mapping takes from the places of its files."""
    if isinstance(mapped, LogMapping):
        return tuple(place for place in PLACES if place in log_sources(mapped))
    named = set(_sources(mapped, is_log=False))
    if mapped.log and not mapped.log.files:
        named |= set(log_sources(mapped.log))
    return tuple(place for place in PLACES if place in named)


def mapped_sources(mapped: TableMapping) -> list[str]:
    """Every column of the file that its rows are read from, but for those of a log between them."""
    return _sources(mapped, is_log=False)


def _sources(mapped: TableMapping, *, is_log: bool) -> list[str]:
    if is_log:
        return log_sources(mapped.log) if mapped.log else []
    captured_at = mapped.log.captured_at if mapped.log else None
    own = _group_sources([mapped.columns, *mapped.each], mapped.where)
    return [*own, *(captured_at.named if captured_at else [])]


def _group_sources(groups: list[dict[str, ColumnMapping]], where: Iterable[str]) -> Iterator[str]:
    yield from where
    for columns in groups:
        for spec in columns.values():
            yield from spec.named


def _by_contract_name(name: str, table: Table, headers: tuple[str, ...]) -> tuple[dict[str, int], list[str]]:
    cells: dict[str, int] = {}
    unknown: list[str] = []
    for index, header in enumerate(headers):
        own = header.strip().lower()
        if own in cells:
            raise RefusedFileError(f"{name}: the column {own} stands twice in the first line. Leave one of them out.")
        if own in table.column_names:
            cells[own] = index
        elif header.strip():
            unknown.append(header.strip())
    return cells, unknown


def _refuse_other_forms(name: str, table: Table, covered: set[str], unknown: list[str]) -> None:
    """A quantity of the table in another unit, or in none that is told, is refused with the line that would map it."""
    lines = []
    for column in table.columns:
        if column.unit in UNITS and column.name not in covered:
            for header in unknown:
                if (unit := _unit_beside(header, column)) is not None:
                    lines.append(_mapping_line(column, header, unit))
    if lines:
        raise RefusedFileError(
            f"{name}: {', '.join(header for header in unknown if any(_quoted(header) in line for line in lines))} "
            f"is not in the form of the contract, and no unit or sign is guessed. Nothing of this file was loaded. Add under "
            f"[tables.{table.name}.columns] of a mapping.toml: {'; '.join(lines)}."
        )


def _unit_beside(header: str, column: Column) -> str | None:
    """The unit that a column of another form names, or "" where it names none; None where it is another thing."""
    words = [word for word in re.split(r"[^a-z]+", header.lower()) if word]
    stem = column.name.removesuffix(UNITS[str(column.unit)].suffix).split("_")
    beside = words[len(stem) :]
    if words[: len(stem)] != stem or not set(beside) <= _BESIDE:
        return None
    return next((word for word in beside if word not in {"left", "right", "l", "r"}), "")


def _mapping_line(column: Column, header: str, unit: str) -> str:
    if unit:
        return f"{column.name} = {{ from = {_quoted(header)}, unit = {_quoted(unit)} }}"
    return unit_line(column.name, header, str(column.unit))


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _missing_words(name: str, table: Table, missing: list[str], unknown: list[str]) -> str:
    near = {column: difflib.get_close_matches(column, unknown, n=1, cutoff=0.6) for column in missing}
    hints = [f"{likely[0]} may be {column}" for column, likely in near.items() if likely]
    unknown_words = ", ".join(unknown[:20]) + (f" and {len(unknown) - 20} more" if len(unknown) > 20 else "")
    return (
        f"{name}: the required column{'s' if len(missing) > 1 else ''} {', '.join(missing)} of table {table.name} "
        f"{'are' if len(missing) > 1 else 'is'} missing. "
        + (f"Found instead: {unknown_words}{' (' + '; '.join(hints) + ')' if hints else ''}. " if unknown else "")
        + "Nothing of this file was loaded. Add or rename the column and load again."
    )


def _not_once_words(name: str, headers: tuple[str, ...], source: str, n_found: int) -> str:
    if n_found:
        return (
            f"{name}: the column {source!r}, which the mapping names, stands {n_found} times in the first line. Leave one out."
        )
    near = difflib.get_close_matches(source, [header for header in headers if header], n=1, cutoff=0.0)
    nearest = f"; the nearest one is {near[0]!r}" if near else ""
    return (
        f"{name}: the mapping names the column {source!r}, which is not there{nearest}. Nothing of this file was loaded. "
        "Correct the mapping and load again."
    )
