"""What the cells of one source column look like: numbers, dates, codes, ids. Pure functions on the texts of its cells."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, lru_cache
from itertools import islice
from typing import Final

from etl.words import NUMBER, code_of, count_of, number_in, units_in
from shared.catalogue import Column
from shared.errors import UsageError
from shared.units import UNITS, conversion_factor

DATE_FORMS: Final = (
    "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%d.%m.%y", "%d/%m/%y",
    "%m/%d/%y",
)  # fmt: skip
_TIMES: Final = ("", " %H:%M", " %H:%M:%S", "T%H:%M:%S", "-%H%M%S")
_ISO: Final = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?")
_WHOLE: Final = re.compile(r"[+-]?\d+(?:\.0+)?")
_ALIKE: Final = {"mm": ("mm", "cm", "m", "in"), "cm": ("cm", "mm", "m", "in"), "deg": ("deg", "rad"), "kg": ("kg", "lb")}
_LIKE_A_DATE: Final = re.compile(r"[0-9./: T\-]{6,20}")
_ENOUGH: Final = 0.8
_SAMPLE: Final = 500
_MOST_CODES: Final = 100


@dataclass(frozen=True, eq=False)
class SourceColumn:
    """A column of a foreign file: the file's name, the heading, the trimmed texts of its rows, where it stands from 0 on.

    origin, pattern: of what stands in the files' names, how a mapping takes it from there; empty of a column of cells.
    two_rows: both rows of its heading, where there are two.
    """

    file: str
    heading: str
    cells: tuple[str | None, ...] = field(repr=False)
    position: int = 0
    origin: str = ""
    pattern: str = ""
    two_rows: str = ""

    @cached_property
    def filled(self) -> list[str]:
        return [cell for cell in self.cells if cell is not None and cell != ""]

    @cached_property
    def distinct(self) -> frozenset[str]:
        return frozenset(self.filled)

    @cached_property
    def sample(self) -> tuple[str, ...]:
        """Its first different cells, so many as show what all of them look like."""
        return tuple(islice(dict.fromkeys(self.filled), _SAMPLE))

    @cached_property
    def date_forms(self) -> list[str] | None:
        """The forms of its dates, as `date_forms` finds them."""
        return date_forms(self.sample)

    @cached_property
    def numbers(self) -> list[float]:
        """Its cells that are numbers, whatever stands before or after them."""
        return [value for cell in self.filled if (value := number_in(cell)) is not None]

    @cached_property
    def has_decimal_commas(self) -> bool:
        return any(re.search(r"\d,\d", cell) for cell in self.filled) and not any(
            re.search(r"\d\.\d", cell) for cell in self.filled
        )

    @cached_property
    def beside_numbers(self) -> list[str]:
        """The words at the ends of its numbers, such as "ca." and "°", the most frequent first."""
        found: Counter[str] = Counter()
        for cell in self.filled:
            if match := NUMBER.fullmatch(cell):
                found.update(word for word in (match["before"].strip(), match["after"].strip()) if word)
        return [word for word, _ in found.most_common()]

    @property
    def units(self) -> tuple[str, ...]:
        """The units that its heading names or, where it names none, its cells."""
        return units_in(self.heading) or tuple(dict.fromkeys(unit for word in self.beside_numbers for unit in units_in(word)))


@dataclass(frozen=True)
class Fit:
    """How well the cells of a source column fit a column of the contract, from 0 to 1, and why."""

    share: float
    reason: str


@lru_cache(maxsize=20_000)
def fit_of(source: SourceColumn, column: Column) -> Fit:
    """How well the cells of a source column fit the type, codes and limits of a column of the contract."""
    if not source.filled:
        return Fit(0.0, "all its cells are empty")
    if column.type in {"date", "datetime"}:
        return Fit(1.0, "its cells are dates") if source.date_forms is not None else Fit(0.0, "its cells are no dates")
    if column.codes or column.type == "boolean":
        if len(source.distinct) > _MOST_CODES:
            return Fit(0.0, "its words are too many for codes")
        known = [
            code_of(column.name, cell) or (cell.lower() if cell.lower() in column.codes else None) for cell in source.distinct
        ]
        share = sum(code is not None for code in known) / len(known)
        # Signs of the studio's own, such as I, II, III, may be codes as well.
        return Fit(
            max(share, 0.5 if len(known) <= max(len(column.codes), 2) + 1 else 0.0), f"{_told(share)} of its words are known"
        )
    if column.type in {"number", "integer"}:
        return _number_fit(source, column)
    return _text_fit(source, column)


@lru_cache(maxsize=20_000)
def unit_of(source: SourceColumn, column: Column) -> tuple[str | None, float]:
    """The unit that is likeliest for a column of numbers, and the share of its numbers that lie in the limits by it.

    None where the heading and the cells name one of another kind.
    """
    own = UNITS[str(column.unit)].pint_name
    if source.units:
        unit = next((one for one in source.units if _is_alike(one, own)), None)
        return unit, _within(source.numbers, column, conversion_factor(unit, own)) if unit else 0.0
    tried = _ALIKE.get(str(column.unit), (str(column.unit),))
    shares = {unit: _within(source.numbers, column, conversion_factor(_in_mappings(unit), own)) for unit in tried}
    best = max(shares, key=lambda unit: shares[unit])
    return _in_mappings(best), shares[best]


def date_forms(cells: Iterable[str]) -> list[str] | None:
    """The forms by which all these texts are dates, fewest first; [] where they are ISO already; None where they are none.

    Where day and month cannot be told apart, the form with the day first comes first; `is_ambiguous` tells of it.
    """
    rest = {cell for cell in cells if not _ISO.fullmatch(cell)}
    if rest and sum(bool(_LIKE_A_DATE.fullmatch(cell)) for cell in rest) < _ENOUGH * len(rest):
        return None
    forms: list[str] = []
    n_all = len(rest)
    while rest:
        read = {form: {cell for cell in rest if _is_date(cell, form)} for form in _forms()}
        best = max(read, key=lambda form: len(read[form]))
        if not read[best]:
            # A cell or two that nobody can read does not make the others no dates.
            return forms if forms and len(rest) <= (1 - _ENOUGH) * n_all else None
        forms.append(best)
        rest -= read[best]
    return forms


def is_ambiguous(cells: Iterable[str], form: str) -> bool:
    """Whether the same cells would be dates with day and month exchanged."""
    other = re.sub("%[dm]", lambda part: "%m" if part.group() == "%d" else "%d", form)
    own = [cell for cell in cells if _is_date(cell, form)]
    return form.startswith(("%d", "%m")) and all(_is_date(cell, other) for cell in own)


def codes_of(source: SourceColumn, column: Column, side: str | None = None) -> tuple[dict[str, str | int], list[str]]:
    """What each text of a column means, and the texts of which the lists know nothing."""
    codes: dict[str, str | int] = {}
    unknown = []
    for cell in sorted(source.distinct):
        if cell.lower() in column.codes or (column.type == "boolean" and cell.lower() in {"true", "false"}):
            continue
        if column.type == "integer":
            is_wedge = "shims" in column.name
            if _WHOLE.fullmatch(cell) or (number_in(cell) is not None and not is_wedge):
                continue
            code = code_of(column.name, cell) or (count_of(cell, side) if is_wedge else None)
            meant: str | int | None = None if code is None else int(code)
        else:
            meant = code_of(column.name, cell)
        if meant is None:
            unknown.append(cell)
        else:
            codes[cell] = meant
    return codes, unknown


def _number_fit(source: SourceColumn, column: Column) -> Fit:
    share_numbers = len(source.numbers) / len(source.filled)
    if column.unit in UNITS:
        unit, share = unit_of(source, column)
        if unit is None:
            return Fit(0.0, f"its unit {', '.join(source.units)} is of another kind")
        return Fit(
            share * share_numbers, f"{_told(share * share_numbers)} of its cells are numbers within the limits in {unit}"
        )
    if column.type == "integer":
        counts = [number_in(cell) if number_in(cell) is not None else _counted(column, cell) for cell in source.sample]
        whole = [count for count in counts if count is not None and count == int(count)]
        share = _within(whole, column, 1.0) * len(whole) / len(source.sample)
        return Fit(share, f"{_told(share)} of its cells are whole numbers within the limits, or words for them")
    share = _within(source.numbers, column, 1.0) * share_numbers
    return Fit(share, f"{_told(share)} of its cells are numbers within the limits")


def _counted(column: Column, cell: str) -> float | None:
    code = code_of(column.name, cell)
    if code is not None:
        return float(code)
    if "shims" not in column.name:
        return None
    told = [count for side in (None, "left", "right") if (count := count_of(cell, side)) is not None]
    return float(told[0]) if told else None


def _text_fit(source: SourceColumn, column: Column) -> Fit:
    is_id = column.name.endswith("_id")
    if is_id and any(len(cell) > 40 for cell in source.distinct):
        return Fit(0.0, "its cells are longer than an id")
    if source.date_forms is not None and not all(cell.isdigit() for cell in source.filled):
        return Fit(0.0, "its cells are dates")
    if not is_id and source.numbers and len(source.numbers) == len(source.filled):
        return Fit(0.2, "its cells are numbers")
    return Fit(0.8, "its cells are texts")


def _within(numbers: list[float], column: Column, factor: float) -> float:
    if not numbers:
        return 0.0
    low = float(column.minimum) if isinstance(column.minimum, int | float) else float("-inf")
    high = float(column.maximum) if isinstance(column.maximum, int | float) else 2100.0 if column.latest else float("inf")
    return sum(low <= number * factor <= high for number in numbers) / len(numbers)


def _in_mappings(unit: str) -> str:
    return "W" if unit == "w" else unit


def _is_alike(unit: str, target: str) -> bool:
    try:
        return conversion_factor(unit, target) > 0
    except UsageError:
        return False


def _forms() -> list[str]:
    return [day + time for time in _TIMES for day in DATE_FORMS]


def _is_date(cell: str, form: str) -> bool:
    try:
        return datetime.strptime(cell, form).year >= 1900
    except ValueError:
        return False


def _told(share: float) -> str:
    return "all" if share == 1 else f"{share:.0%}"
