"""Captures of a session as forward orthogonal deviations, and what was known before each of them."""

from dataclasses import dataclass

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


def stacks(rows: Floats, n: Ints, fewest: int = 2) -> list[tuple[Ints, Floats]]:
    """Cells of each length from `fewest` on, and their rows (cells, length, v); rows (rows, v) cell after cell, n (cells,)."""
    starts = np.cumsum(n) - n
    found = []
    for length in np.flatnonzero(np.bincount(n, minlength=1)):
        if length >= fewest:
            cells = np.flatnonzero(n == length)
            found.append((cells, rows.take(starts[cells, None] + np.arange(length), axis=0)))
    return found


def deviations(rows: Floats, n: Ints) -> Deviations:
    """Forward orthogonal deviations of rows (rows, v), cell after cell, n (cells,) rows each; cells of one row drop out.

    Noise that is alike at all captures and independent between them stays so in the deviations, and what is the same
    throughout a cell is gone. Source: Arellano & Bover 1995, J Econometrics 68:29.
    """
    v = rows.shape[1]
    parts = [_of_stack(stack, cells) for cells, stack in stacks(rows, n)]
    if not parts:
        none, zero = np.empty((0, v)), np.empty(0, dtype=np.int64)
        return Deviations(none, none, none, zero, zero)
    values, present, before, cell, place = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    order = np.argsort(cell, kind="stable")
    values, present, before = (column.take(order, axis=0) for column in (values, present, before))
    return Deviations(values, present, before, cell[order], place[order])


def _of_stack(stack: Floats, cells: Ints) -> tuple[Floats, Floats, Floats, Ints, Ints]:
    n_cells, length, v = stack.shape
    left = np.arange(length - 1, 0, -1)[:, None]
    sums = stack.cumsum(axis=1)
    present = stack[:, :-1]
    values = (present - (sums[:, -1:] - sums[:, :-1]) / left) * np.sqrt(left / (left + 1))
    before = (sums[:, :-1] - present) / np.maximum(np.arange(length - 1), 1)[:, None]
    places = np.tile(np.arange(length - 1), n_cells)
    return (
        values.reshape(-1, v), present.reshape(-1, v), before.reshape(-1, v), np.repeat(cells, length - 1), places,
    )  # fmt: skip
