"""Which captures are foreseen from which: every capture after a knee's first, from those before the first change."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.models.captures import Captures
from dashboard.questions.models.frames import support_columns
from shared.statistics.foresight.expected import Before

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Targets:
    """The captures that are foreseen; each array (n,).

    row: its place among the rows of the captures; cell: of its knee and visit; other: of the other knee, -1 for none. It is
    foreseen from what was measured in the rows `first` up to `until` of this knee, and `first_other` up to `until_other` of the
    other one; where there are none, both ends are the same. change (n, supports): how far each support is from what it was
    before the change.
    """

    row: Ints
    cell: Ints
    other: Ints
    first: Ints
    until: Ints
    first_other: Ints
    until_other: Ints
    change: Floats

    def kept(self, kept: Flags) -> "Targets":
        return Targets(*(getattr(self, name)[kept] for name in self.__dataclass_fields__))

    def before(self, above: Floats) -> Before:
        """What was measured before; above (rows,): how far each capture is above its fixed part, NaN where not measured."""
        is_measured = np.isfinite(above)
        total = np.concatenate([[0.0], np.cumsum(np.where(is_measured, above, 0.0))])
        number = np.concatenate([[0.0], np.cumsum(is_measured)])

        def mean_of(first: Ints, until: Ints) -> tuple[Floats, Floats]:
            n = number[until] - number[first]
            return n, np.asarray((total[until] - total[first]) / np.maximum(n, 1))

        return Before(*mean_of(self.first, self.until), *mean_of(self.first_other, self.until_other))


def targets_of(captures: Captures) -> Targets:
    """Every capture but the first of each knee and visit, in the order of the captures."""
    n, cell = captures.n, captures.cell_of_row
    starts = np.cumsum(n) - n
    supports = np.column_stack([column.values(captures) for column in support_columns()])
    order = captures.rows["capture_order"].astype(np.int64)
    row = np.flatnonzero(np.arange(len(cell)) > starts[cell])
    own = cell[row]
    same_until = starts + _before_change(supports, starts, cell, len(n))
    until = np.minimum(row, same_until[own])
    other = _other_knee(captures)[own]
    # Of the other knee, the captures of the same moments, before a change of its own.
    width = int(order.max(initial=0)) + 2
    moment = np.searchsorted(cell * width + order, np.maximum(other, 0) * width + order[until - 1], side="right")
    first_other = starts[np.maximum(other, 0)]
    until_other = np.where(other >= 0, np.minimum(moment, same_until[np.maximum(other, 0)]), first_other)
    return Targets(
        row, own, other, starts[own], until, first_other, np.maximum(until_other, first_other),
        supports[row] - supports[starts[own]],
    )  # fmt: skip


def _before_change(supports: Floats, starts: Ints, cell: Ints, n_cells: int) -> Ints:
    """How many rows each cell has before its setup changes for the first time, (cells,)."""
    changed = np.zeros(len(cell), dtype=bool)
    changed[1:] = np.any(supports[1:] != supports[:-1], axis=1)
    changed[starts] = False
    so_far = np.cumsum(changed)
    return np.bincount(cell[so_far == so_far[starts][cell]], minlength=n_cells)


def _other_knee(captures: Captures) -> Ints:
    """The cell of the other knee in the same visit (cells,), -1 where there is none."""
    order = np.lexsort((captures.knee, captures.visit))
    visit = captures.visit[order]
    pair = np.flatnonzero(visit[1:] == visit[:-1])
    other = np.full(len(visit), -1)
    other[order[pair]], other[order[pair + 1]] = order[pair + 1], order[pair]
    return other
