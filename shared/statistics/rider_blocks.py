"""Riders as nested units (captures, visits, riders), each with one slot a knee, and the classes of units that are built alike.

Random intercepts of a rider, a visit or a capture are the same for both knees or differ between them, so that at every level
a unit is one small system of `slots` columns. What a unit does to the likelihood depends only on how many rows it holds in
which slot and on what units lie below it: its class. Matrices are therefore made once a class; data enter as sums.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.grouping import dense, same_partition, within_rider

Ints = NDArray[np.int64]
Labels = NDArray[np.generic]


@dataclass(frozen=True)
class Level:
    """The units of one level, from the lowest (0) to riders.

    unit_class (units,); parent (units,): the unit above, empty for riders; class_size (classes,): units of each class.
    composition (classes, classes below): how many units of each class a unit holds; for the lowest level (classes, slots),
    its rows in each slot. A path names the classes between this level and the lowest: path_class (paths,) the class just
    below, path_below (paths,) the path from there on. A block is what a unit holds along one path, blocks sorted by unit:
    block_of (lowest units,), block_unit and block_path (blocks,).
    """

    unit_class: Ints
    parent: Ints
    class_size: Ints
    composition: sparse.csr_array
    path_class: Ints
    path_below: Ints
    block_of: Ints
    block_unit: Ints
    block_path: Ints


@dataclass(frozen=True)
class Runs:
    """Consecutive rows with equal codes: run_of (n,) of each row, length (runs,).

    rider (runs,): codes in the order of riders (labels as given); levels: the other intercepts' codes (runs,), each
    level within one rider.
    """

    run_of: Ints
    length: Ints
    rider: Ints
    riders: NDArray[np.generic]
    levels: Mapping[str, Ints]


@dataclass(frozen=True)
class Blocks:
    """levels from the lowest to riders; n_slots; cell (n,): lowest unit x slots + slot of each row."""

    levels: tuple[Level, ...]
    n_slots: int
    cell: Ints


def ordered(codes: Ints) -> tuple[Ints, Ints]:
    """Codes 0 to k - 1 in the order of the values, and the k values; linear in time where the values are not far apart."""
    low = int(codes.min(initial=0))
    span = int(codes.max(initial=0)) - low + 1
    if span > 4 * len(codes) + 1000:
        values, inverse = np.unique(codes, return_inverse=True)
        return inverse.astype(np.int64), values
    seen = np.zeros(span, dtype=bool)
    seen[codes - low] = True
    return (np.cumsum(seen) - 1)[codes - low], np.flatnonzero(seen) + low


def indicator(codes: Ints, n_groups: int) -> sparse.csr_array:
    """The (groups, n) matrix whose product with (n, p) data is its sums by group."""
    ones = np.ones(len(codes))
    return sparse.csr_array(sparse.coo_array((ones, (codes, np.arange(len(codes)))), shape=(n_groups, len(codes))))


def runs_of(
    rider: Labels, knee: Labels | None, visit: Labels | None, capture: Labels | None, knee_visit: Labels | None
) -> Runs:
    """Runs of rows with these codes or labels, each (n,). A knee or visit under two riders is two; so is a capture's visit.

    Exports come sorted by visit and knee, so that there are far fewer runs than rows; without order it is slower, not wrong.
    """
    given = {"rider": rider, "knee": knee, "visit": visit, "capture": capture, "knee_visit": knee_visit}
    present = {name: codes for name, codes in given.items() if codes is not None}
    changed = np.zeros(len(rider), dtype=bool)
    changed[:1] = True
    for codes in present.values():
        changed[1:] |= codes[1:] != codes[:-1]
    starts = np.flatnonzero(changed)
    length = np.diff(np.r_[starts, len(rider)])
    return _coded({name: own[starts] for name, own in present.items()}, np.cumsum(changed) - 1, length)


def runs_of_cells(rider: Labels, knee: Labels, visit: Labels, n: Ints) -> Runs:
    """Cells as runs: each of `n` rows (cells,) of one knee in one visit."""
    return _coded({"rider": rider, "knee": knee, "visit": visit}, np.arange(len(n)), n)


def _coded(present: Mapping[str, Labels], run_of: Ints, length: Ints) -> Runs:
    codes, riders = dense(present["rider"])
    levels = {name: within_rider(codes, dense(own)[0]) for name, own in present.items() if name != "rider"}
    for name in ("capture", "knee_visit"):
        if name in levels and "visit" in levels:
            levels[name] = within_rider(levels["visit"], levels[name])
    if "knee_visit" in levels:
        levels["knee_visit"] = within_rider(levels["knee"], levels["knee_visit"])
    return Runs(run_of, length, codes, riders, levels)


def told_apart(runs: Runs) -> frozenset[str]:
    """The intercepts whose variance the data can tell from the residual, from the rider's and from one another's."""
    kept: dict[str, Ints] = {}
    for name, codes in {"rider": runs.rider, **runs.levels}.items():
        one_row_each = int(codes.max(initial=-1)) + 1 == int(runs.length.sum())
        wider = kept.values() if name == "rider" else (runs.rider, *kept.values())
        if not one_row_each and not any(same_partition(codes, other) for other in wider):
            kept[name] = codes
    return frozenset(kept)


def rider_blocks(runs: Runs, names: Collection[str]) -> Blocks:
    """The nested units of these runs for the intercepts in `names` (rider, knee, visit, capture, knee_visit)."""
    by_knee = {"knee", "knee_visit"} & set(names)
    slot = _slots(runs.levels["knee"], runs.rider) if by_knee else np.zeros(len(runs.length), dtype=np.int64)
    n_slots = int(slot.max(initial=0)) + 1
    units = [runs.rider]
    if {"visit", "knee_visit"} & set(names):
        units.insert(0, runs.levels["visit"])
    if "capture" in names:
        units.insert(0, runs.levels["capture"])
    cell = units[0] * n_slots + slot
    return Blocks(_levels(units, cell, runs.length, n_slots), n_slots, cell[runs.run_of])


def _parents(child: Ints, parent: Ints) -> Ints:
    """The parent of each child code."""
    found = np.zeros(int(child.max(initial=-1)) + 1, dtype=np.int64)
    found[child] = parent
    return found


def _slots(knee: Ints, rider: Ints) -> Ints:
    """The place of each run's knee among its rider's knees."""
    owner = _parents(knee, rider)
    order = np.argsort(owner, kind="stable")
    first = np.r_[0, np.cumsum(np.bincount(owner))]
    place = np.empty(len(owner), dtype=np.int64)
    place[order] = np.arange(len(owner)) - first[owner[order]]
    return place[knee]


def _levels(units: Sequence[Ints], cell: Ints, lengths: Ints, n_slots: int) -> tuple[Level, ...]:
    n_lowest = int(units[0].max(initial=-1)) + 1
    counts = np.bincount(cell, weights=lengths, minlength=n_lowest * n_slots).reshape(n_lowest, n_slots)
    classes = _row_classes(counts.astype(np.int64))
    composition = sparse.csr_array(counts[_examples(classes)])
    # Of each lowest unit: the unit it lies in at the level in hand, and its path down from there.
    above, path = np.arange(n_lowest), np.zeros(n_lowest, dtype=np.int64)
    path_class = path_below = np.zeros(1, dtype=np.int64)
    made: list[Level] = []
    for depth, unit in enumerate(units):
        if depth:
            n_classes = len(composition.indptr) - 1
            classes_below, parent_of = classes, made[-1].parent
            path_key, path_values = ordered(classes_below[above] * len(path_class) + path)
            path_class, path_below = np.divmod(path_values, len(path_class))
            path, above = path_key, parent_of[above]
            classes, composition = _family_classes(parent_of, classes_below, n_classes)
        block_of, block_values = ordered(above * len(path_class) + path)
        block_unit, block_path = np.divmod(block_values, len(path_class))
        parent = _parents(unit, units[depth + 1]) if depth + 1 < len(units) else np.empty(0, dtype=np.int64)
        made.append(
            Level(classes, parent, np.bincount(classes), composition, path_class, path_below, block_of, block_unit, block_path)
        )
    return tuple(made)


def _examples(classes: Ints) -> Ints:
    """One unit of each class."""
    found = np.empty(int(classes.max(initial=-1)) + 1, dtype=np.int64)
    found[classes] = np.arange(len(classes))
    return found


def _row_classes(counts: Ints) -> Ints:
    """The class of each row of counts (units, slots): equal rows, equal class."""
    code = np.zeros(len(counts), dtype=np.int64)
    for column in counts.T:
        values, n_values = ordered(column)[0], int(column.max(initial=0)) + 1
        code = ordered(code * n_values + values)[0]
    return code


def _family_classes(parent: Ints, child_class: Ints, n_child_classes: int) -> tuple[Ints, sparse.csr_array]:
    """The class of each parent: parents with the same children, class by class, are one class; and what each class holds."""
    n_units = int(parent.max(initial=-1)) + 1
    order = np.lexsort((child_class, parent))
    first = np.r_[0, np.cumsum(np.bincount(parent, minlength=n_units))]
    size = np.diff(first)
    code, used = np.zeros(n_units, dtype=np.int64), 0
    # Child by child, like words letter by letter: units that ended earlier keep a code of their own.
    for place in range(int(size.max(initial=0))):
        longer = np.flatnonzero(size > place)
        letter = child_class[order[first[longer] + place]]
        step, values = ordered(code[longer] * n_child_classes + letter)
        code[longer] = step + used
        used += len(values)
    classes = ordered(code)[0]
    examples = _examples(classes)
    holds = [child_class[order[first[unit] : first[unit + 1]]] for unit in examples]
    rows = np.repeat(np.arange(len(examples)), size[examples])
    entries = (np.ones(len(rows)), (rows, np.concatenate(holds)))
    return classes, sparse.csr_array(sparse.coo_array(entries, shape=(len(examples), n_child_classes)))
