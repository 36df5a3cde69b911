"""A list of rows that are made when they are read: a page shows 25 of 77,400, and a download reads them all."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

Columns = Mapping[str, NDArray[Any]]
Row = TypeVar("Row")


class RowsOnDemand(Sequence[Row]):
    """Rows that `make` makes, in order, of any part of `columns` (n,); equal to a tuple of the same rows."""

    def __init__(self, columns: Columns, make: Callable[[Columns], Iterator[Row]]) -> None:
        self.columns = columns
        self._make = make

    def where(self, name: str) -> "RowsOnDemand[Row]":
        """The rows for which the column `name` is true."""
        return self._part(np.flatnonzero(self.columns[name]))

    def _part(self, places: slice | NDArray[np.int64]) -> "RowsOnDemand[Row]":
        return RowsOnDemand({name: column[places] for name, column in self.columns.items()}, self._make)

    def __len__(self) -> int:
        return len(next(iter(self.columns.values())))

    def __iter__(self) -> Iterator[Row]:
        return self._make(self.columns)

    @overload
    def __getitem__(self, place: int) -> Row: ...

    @overload
    def __getitem__(self, place: slice) -> "RowsOnDemand[Row]": ...

    def __getitem__(self, place: int | slice) -> "Row | RowsOnDemand[Row]":
        if isinstance(place, slice):
            return self._part(place)
        # Not by a slice: -1 would end at 0, and a place beyond the list must be refused.
        return next(iter(self._part(np.array([range(len(self))[place]]))))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and len(self) == len(other) and all(map(_same, self, other))

    __hash__ = None  # type: ignore[assignment]  # as a list has none

    def __repr__(self) -> str:
        return repr(tuple(self))


def _same(one: object, other: object) -> bool:
    return one == other
