"""Riders built alike: what a rider does to the likelihood depends only on which of its cells share a knee or a visit, and on
how many rows each holds. Riders of one kind are worked out together."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.statistics.grouping import Codes, dense, same_partition, within_rider

Ints = NDArray[np.int64]
Labels = NDArray[np.generic]
Flags = NDArray[np.bool_]

# Whole numbers up to here are sure to be told apart.
_WHOLE = 1 << 60


@dataclass(frozen=True)
class Shape:
    """Riders of equally many cells. rider (g,); cells (g, c): the places of each one's; kind (g,): ascending codes.

    By kind: first (kinds,): its first rider's place; n (kinds, c): rows of each cell; same: of each intercept by name, which
    cells share it (kinds, c, c).
    """

    rider: Ints
    cells: Ints
    kind: Ints
    first: Ints
    n: Ints
    same: Mapping[str, Flags]

    @cached_property
    def riders_of_kind(self) -> Ints:
        return np.diff(np.append(self.first, len(self.rider)))


@dataclass(frozen=True)
class Grouped:
    """riders: codes of each cell in order (cells,), their labels and shapes; names: the intercepts that the data can tell
    apart, with the number of groups of each."""

    rider: Codes
    labels: Labels
    shapes: tuple[Shape, ...]
    names: Mapping[str, int]


def grouped(rider: Labels, knee: Labels, visit: Labels, n: Ints) -> Grouped:
    """Riders, knees and visits of cells (cells,) sorted by rider, n rows each; a knee or visit under two riders is two.

    An intercept whose levels hold one row each is the residual itself, and one that groups the cells as another does cannot be
    told from it: it has no name here.
    """
    codes, labels = dense(rider)
    levels = {"rider": codes, "knee": within_rider(codes, dense(knee)[0]), "visit": within_rider(codes, dense(visit)[0])}
    names: dict[str, int] = {}
    for name, own in levels.items():
        n_groups, wider = int(own.max(initial=-1)) + 1, [levels[other] for other in {"rider", *names} - {name}]
        if n_groups < int(n.sum()) and not any(same_partition(own, other) for other in wider):
            names[name] = n_groups
    return Grouped(codes, labels, _shapes(levels, n, names), names)


def _shapes(levels: Mapping[str, Codes], n: Ints, names: Mapping[str, int]) -> tuple[Shape, ...]:
    rider, visit = levels["rider"], levels["visit"]
    slot = _place_within(levels["knee"], rider)
    # Visits built alike sum to the same: in the order of these sums, riders whose visits come in another order are one kind.
    looks = np.bincount(visit, np.modf((n + 0.618) * (slot + 1.414) * np.pi)[0])
    order = np.lexsort((slot, visit, looks[visit], rider))
    sizes = np.bincount(rider)
    first = np.cumsum(sizes) - sizes
    made = []
    for size in np.unique(sizes):
        riders = np.flatnonzero(sizes == size)
        cells = order[first[riders][:, None] + np.arange(size)]
        place = {name: _first_alike(levels[name][cells]) for name in names}
        kind = _rows_alike(np.column_stack([n[cells], *(place.values())]))
        by_kind = np.argsort(kind, kind="stable")
        riders, cells, kind = riders[by_kind], cells[by_kind], kind[by_kind]
        of_kind = np.flatnonzero(np.diff(kind, prepend=-1))
        same = {name: (own := codes[by_kind][of_kind])[:, :, None] == own[:, None, :] for name, codes in place.items()}
        made.append(Shape(riders, cells, kind, of_kind, n[cells[of_kind]], same))
    return tuple(made)


def _place_within(knee: Codes, rider: Codes) -> Ints:
    """The place of each cell's knee among its rider's knees, in the order of first appearance."""
    owner = np.empty(int(knee.max(initial=-1)) + 1, dtype=np.int64)
    owner[knee] = rider
    order = np.argsort(owner, kind="stable")
    first = np.r_[0, np.cumsum(np.bincount(owner))]
    place = np.empty(len(owner), dtype=np.int64)
    place[order] = np.arange(len(owner)) - first[owner[order]]
    return place[knee]


def _first_alike(codes: Codes) -> Ints:
    """In each row of codes (g, c), the first place that holds the same code."""
    return np.asarray((codes[:, :, None] == codes[:, None, :]).argmax(axis=2))


def _rows_alike(table: Ints) -> Codes:
    """One code, 0 to kinds - 1, for rows (g, m) that are equal throughout; small whole numbers of 0 or more."""
    code, kinds = np.zeros(len(table), dtype=np.int64), 1
    for column in table.T:
        size = int(column.max(initial=0)) + 1
        if kinds * size > _WHOLE:
            code, labels = dense(code)
            kinds = len(labels)
        code, kinds = code * size + column, kinds * size
    return dense(code)[0]
