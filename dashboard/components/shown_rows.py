"""The rows that a table shows as CSV: a table that stands in a place has an address, where the place is asked again for it.

So a file never holds other rows, or more, than the screen, whatever a page does with an answer before it shows it.
"""

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from dashboard.components.address import Addresses, read_view
from dashboard.components.page import Show
from shared.errors import UsageError

# The word of an address that names a table within its place: its id, or its number.
TABLE: Final = "table"
_PLAIN: Final = (str, int, float, date)


@dataclass
class _Standing:
    """Where tables are made at this moment: the address of each by its name, and what was made, where that is asked for."""

    address: Callable[[str], str]
    n_tables: int = 0
    made: dict[str, "ShownTable"] | None = None


@dataclass(frozen=True)
class ShownTable:
    """What a table was made of."""

    caption: str
    headings: Sequence[str]
    cells: Sequence[Callable[[Any], Any]]
    rows: Sequence[Any] = field(repr=False)

    def as_rows(self) -> list[dict[str, Any]]:
        """Each row as its cells by their headings, as the screen prints them, then the unrounded values that the row holds."""
        headings = _apart(self.headings)
        told = [dict(zip(headings, (text_of(cell(row)) for cell in self.cells), strict=True)) for row in self.rows]
        values = [
            {name if name not in headings else f"{name}_value": value for name, value in _values(row)} for row in self.rows
        ]
        names = dict.fromkeys(name for row in values for name in row)
        return [row | {name: known.get(name) for name in names} for row, known in zip(told, values, strict=True)]


_standing: ContextVar[_Standing | None] = ContextVar("standing", default=None)


def in_place(show: Show, place: str, addresses: Addresses) -> Callable[[str, str | None], Any]:
    """What fills a place from the query of an address: as `show` does, and each of its tables has an address."""

    def shown(search: str, theme: str | None) -> Any:
        token = _standing.set(_Standing(lambda name: addresses.shown_table(place, search, name)))
        try:
            return show(read_view(search), theme)
        finally:
            _standing.reset(token)

    return shown


def address_of(table_id: str | None, shown: ShownTable) -> str | None:
    """The address of the rows of a table that is made now; None where it stands in no place."""
    standing = _standing.get()
    if standing is None:
        return None
    standing.n_tables += 1
    name = table_id or str(standing.n_tables)
    if standing.made is not None:
        standing.made.setdefault(name, shown)
    return standing.address(name)


def shown_table(show: Show, search: str, name: str) -> ShownTable:
    """The table of this name that a place shows for the query of an address. Raises UsageError where it shows none."""
    standing = _Standing(lambda _: "", made={})
    token = _standing.set(standing)
    try:
        show(read_view(search), None)
    finally:
        _standing.reset(token)
    made = standing.made or {}
    if name not in made:
        raise UsageError("The page shows no such table now. Open the page again and take the link under its table.")
    return made[name]


def text_of(node: Any) -> str:
    """What a reader sees of a cell, as one line, without its controls."""
    return " ".join("".join(_texts(node)).split())


def _texts(node: Any) -> Iterator[str]:
    if isinstance(node, list | tuple):
        for part in node:
            yield from _texts(part)
    elif not hasattr(node, "to_plotly_json"):
        yield "" if node is None or isinstance(node, bool) else str(node)
    elif type(node).__name__ == "Br":
        yield " "
    elif type(node).__name__ != "Button" and "for-readers" not in str(getattr(node, "className", None) or ""):
        is_block = type(node).__name__ in ("Div", "P", "Li")
        yield from _texts([" ", getattr(node, "children", None), " "] if is_block else getattr(node, "children", None))


def _values(row: Any, under: str = "") -> Iterator[tuple[str, Any]]:
    """The plain values of a row by their names; those of a row within it behind its own name."""
    if dataclasses.is_dataclass(row):
        parts: Mapping[str, Any] = {one.name: getattr(row, one.name) for one in dataclasses.fields(row)}
    elif isinstance(row, Mapping):
        parts = row
    else:
        return
    for name, value in parts.items():
        known = f"{under}{name}".replace(" ", "_")
        if value is None or isinstance(value, _PLAIN):
            yield known, value
        else:
            yield from _values(value, f"{known}_")


def _apart(headings: Sequence[str]) -> list[str]:
    """The headings, one that stood before with its number."""
    seen: dict[str, int] = {}
    named = []
    for heading in headings:
        seen[heading] = seen.get(heading, 0) + 1
        named.append(heading if seen[heading] == 1 else f"{heading} ({seen[heading]})")
    return named
