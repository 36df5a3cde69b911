"""What is asked of whoever looks after a studio's exports, and the lines of a mapping that answer it."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from etl.mapping import ColumnMapping, Mapping
from shared.catalogue import catalogue
from shared.units import UNITS

_SIDES: Final = frozenset({"left", "right"})
_FLIPPED: Final = {False: frozenset[str](), True: _SIDES, "left": frozenset({"left"}), "right": frozenset({"right"})}


@dataclass(frozen=True)
class Question:
    """One thing that the data make doubtful and that no program can know: it is asked, and nothing is changed.

    kind: mirrored (one side has the other sign), reversed (a whole column has), exchanged (left and right), unit, near_ids or
    clash. words: the question with what it rests on. mend: what to write where the answer is yes. keep: lines of [confirmed] in
    the mapping, which say that all is right as it is, so that it is not asked again.
    """

    kind: str
    table: str
    column: str
    studio: str
    words: str
    mend: str
    keep: str

    @property
    def lines(self) -> tuple[str, str, str]:
        """The question, and the two answers that it may have, as they are printed."""
        return self.words, f"If so: {self.mend}", f"If it is right as it is, under [confirmed] of mapping.toml: {self.keep}"


def keys_of(mappings: Iterable[Mapping]) -> frozenset[str]:
    """What the mappings of a load confirm."""
    return frozenset(key for mapping in mappings for key in mapping.confirmed)


def is_kept(confirmed: frozenset[str], what: str, studio: str) -> bool:
    """Whether something is confirmed, of this studio or of all."""
    return bool(confirmed & {what, key_of(what, studio)})


def key_of(what: str, studio: str) -> str:
    """The key under which something is confirmed; `studio` where it is asked of one of several."""
    return f"{what} {studio}" if studio else what


def kept(*keys: str) -> str:
    """The lines that confirm these keys; the reader writes who looked and why."""
    return "; ".join(f'{json.dumps(key, ensure_ascii=False)} = "looked at, and why it is right"' for key in keys)


@dataclass(frozen=True)
class Lines:
    """Writes lines of a mapping for columns as they are read now: `mappings` are those of the files of this load."""

    mappings: tuple[Mapping, ...] = ()

    def flipped(self, table: str, column: str, sides: frozenset[str] = _SIDES) -> str:
        """The line that turns the sign of a column over, or of one side of it, from how it is read now."""
        spec = self._spec(table, column)
        if spec is None:
            side = "both sides" if sides == _SIDES else f"the {next(iter(sides))} side"
            return f"turn flip over where [[tables.{table}.each]] reads {column} of {side} (flip = true, or leave it out)."
        wanted = _FLIPPED[spec.flip] ^ sides
        flip = "" if not wanted else "true" if wanted == _SIDES else f'"{next(iter(wanted))}"'
        return self._line(table, column, spec, unit=spec.unit, flip=flip)

    def in_unit(self, table: str, column: str, unit: str) -> str:
        """The line that reads a column in another unit."""
        spec = self._spec(table, column)
        if spec is None:
            return f'write unit = "{unit}" where [[tables.{table}.each]] reads {column}.'
        return self._line(table, column, spec, unit=unit, flip=json.dumps(spec.flip) if spec.flip else "")

    def with_sides_exchanged(self, table: str) -> str:
        """The line that reads left as right."""
        spec = self._spec(table, "side")
        if spec is None or spec.codes or spec.value is not None:
            return f"exchange left and right where the mapping reads the side of {table}."
        source = json.dumps(spec.sources[0], ensure_ascii=False)
        return _under(table, f'side = {{ from = {source}, codes = {{ left = "right", right = "left" }} }}')

    def without_zeros(self, column: str) -> str:
        """The line that reads 0202 as 202, in each table that names the id."""
        tables = [table.name for table in catalogue().values() if column in table.column_names]
        spec = self._spec(tables[0], column)
        source = spec.sources[0] if spec and spec.sources else column
        line = f"{column} = {{ from = {json.dumps(source, ensure_ascii=False)}, without_zeros = true }}"
        return " and ".join(_under(name, line) for name in tables[:1]) + (
            f"; the same, with its own heading, for {', '.join(tables[1:])}" if tables[1:] else ""
        )

    def unit_now(self, table: str, column: str) -> str:
        """The unit that a column is read in now, as the mapping or the contract says."""
        spec = self._spec(table, column)
        unit = catalogue()[table].column(column).unit or ""
        return (spec.unit if spec and spec.unit else "") or unit

    def _spec(self, table: str, column: str) -> ColumnMapping | None:
        """How a column is read; None where a mapping reads it on each side by itself."""
        for mapping in self.mappings:
            mapped = mapping.tables.get(table)
            if mapped and column in mapped.columns:
                return mapped.columns[column]
            if mapped and any(column in each for each in mapped.each):
                return None
        return ColumnMapping.model_validate({"from": column})

    @staticmethod
    def _line(table: str, column: str, spec: ColumnMapping, unit: str | None, flip: str) -> str:
        unit = (unit or catalogue()[table].column(column).unit) if _has_unit(table, column) else None
        others = spec.model_dump(by_alias=True, exclude_defaults=True, exclude={"sources", "unit", "flip"})
        source = spec.sources[0] if len(spec.sources) == 1 else list(spec.sources)
        parts = [f"from = {json.dumps(source, ensure_ascii=False)}"]
        parts += [f'unit = "{unit}"'] if unit else []
        parts += [f"flip = {flip}"] if flip else []
        rest = ", and the rest of what it says now" if others else ""
        return _under(table, f"{column} = {{ {', '.join(parts)} }}") + rest


def _has_unit(table: str, column: str) -> bool:
    return catalogue()[table].column(column).unit in UNITS


def _under(table: str, line: str) -> str:
    return f"under [tables.{table}.columns] of mapping.toml, {line}"
