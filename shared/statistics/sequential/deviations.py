"""Captures of a session as forward orthogonal deviations, and what was known before each of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Deviations:
    """One row for each capture but the last of its cell (a knee in one session), cell after cell.

    values (m, v): each column less the mean of its later captures, times the root of left / (left + 1), left being how many
    come later; present (m, v): the columns at the capture itself; before (m, v): their mean over the captures before it, 0 at
    the first; cell, place (m,): of the row, place from 0.
    """

    values: Floats
    present: Floats
    before: Floats
    cell: Ints
    place: Ints


def places(n: Ints) -> tuple[Ints, Ints]:
    """The cell of each row and its place there from 0; rows cell after cell, n (cells,) each."""
    cell = np.repeat(np.arange(len(n)), n)
    return cell, np.arange(len(cell)) - (np.cumsum(n) - n).take(cell)


def blocks(n: Ints, rows: int) -> Iterator[tuple[int, int, int, int]]:
    """Cells from and to, and their rows from and to, about `rows` at a time, so that what is made of them stays near."""
    ends = np.cumsum(n)
    start = 0
    while start < len(n):
        first = int(ends[start] - n[start])
        end = max(start + 1, int(np.searchsorted(ends, first + rows, side="right")))
        yield start, end, first, int(ends[end - 1])
        start = end


def deviations(rows: Floats, n: Ints) -> Deviations:
    """Forward orthogonal deviations of rows (rows, v), cell after cell, n (cells,) rows each; cells of one row drop out.

    Noise that is alike at all captures and independent between them stays so in the deviations, and what is the same
    throughout a cell is gone. Source: Arellano & Bover 1995, J Econometrics 68:29.
    """
    cell, place = places(n)
    left = n.take(cell) - place - 1
    later, before = _running(rows, left, 1), _running(rows, place, -1)
    at = np.flatnonzero(left)
    left, place, present = left.take(at)[:, None], place.take(at), rows.take(at, axis=0)
    values = (present - later.take(at, axis=0) / left) * np.sqrt(left / (left + 1))
    return Deviations(values, present, before.take(at, axis=0) / np.maximum(place, 1)[:, None], cell.take(at), place)


def _running(rows: Floats, number: Ints, side: int) -> Floats:
    """The sum of the `number` (rows,) rows on one side of each: 1 after it, -1 before it."""
    sums, order = np.zeros(rows.shape), np.argsort(number, kind="stable")
    bounds = np.cumsum(np.bincount(number, minlength=1))
    for start, end in pairwise(bounds):
        here = order[start:end]
        sums[here] = sums.take(here + side, axis=0) + rows.take(here + side, axis=0)
    return sums
