"""Cells as visits of at most two knees, and the covariance of nested intercepts on them in closed form, for many riders.

V = I + ZDZ' has, visit by visit and then rider by rider, inverses of two rows at most: with w = r / (1 + r n) for a visit of n
rows and ratio r, and the 2 x 2 matrices B = (I + NC)^-1 and H = CB of a rider, every sum below is one over visits or riders.
METHODS.md, "Many riders".
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.cells import Cells, Floats, Ints
from shared.statistics.rider_blocks import ordered

Flags = NDArray[np.bool_]

_RIDERS_AT_A_TIME = 2048


@dataclass(frozen=True)
class Pairs:
    """Visits (v,) sorted by rider: place (v, 2) of each knee's cell, n (v, 2) its rows, 0 where there is none; first (riders,):
    each rider's first visit; told: which of the rider's, the knee's and the visit's intercept the data can tell."""

    place: Ints
    n: Floats
    first: Ints
    told: Flags

    @cached_property
    def n_visits(self) -> Ints:
        """Of each rider, (riders,)."""
        return np.diff(np.append(self.first, len(self.n)))

    @cached_property
    def rider(self) -> Ints:
        """Of each visit, (v,)."""
        return np.repeat(np.arange(len(self.first)), self.n_visits)

    @cached_property
    def rows(self) -> tuple[Floats, Floats, Floats]:
        """Of each knee and of both, each (v,) in one piece."""
        n0, n1 = np.ascontiguousarray(self.n.T)
        return n0, n1, n0 + n1

    @cached_property
    def slot(self) -> Ints:
        """Where each cell stands among the visits' knees (cells,), 2 v + knee."""
        here = np.flatnonzero(self.n)
        found = np.empty(len(here), dtype=np.int64)
        found[self.place.ravel()[here]] = here
        return found

    @cached_property
    def alike(self) -> "tuple[Pairs, Ints, Floats]":
        """One rider of each kind, told by the rows of their visits in turn, without places; the kind of each rider (riders,);
        how many are of each kind (kinds,). What the ratios do to a rider's covariance is the same for all of a kind."""
        n0, n1 = self.n.T.astype(np.int64)
        pattern, patterns = ordered(n0 * (int(n1.max(initial=0)) + 1) + n1)
        kind, used = np.zeros(len(self.first), dtype=np.int64), 0
        for place in range(int(self.n_visits.max(initial=0))):
            longer = np.flatnonzero(self.n_visits > place)
            step, values = ordered(kind[longer] * len(patterns) + pattern[self.first[longer] + place])
            kind[longer] = step + used
            used += len(values)
        kind, _ = ordered(kind)
        example = np.empty(int(kind.max(initial=-1)) + 1, dtype=np.int64)
        example[kind] = np.arange(len(kind))
        size = self.n_visits[example]
        first = np.cumsum(size) - size
        visits = np.arange(int(size.sum())) + np.repeat(self.first[example] - first, size)
        return Pairs(self.place[:0], self.n[visits], first, self.told), kind, np.bincount(kind).astype(float)

    def by_rider(self, values: Floats) -> Floats:
        """Sums (riders, ...) of values (visits, ...)."""
        return np.asarray(np.add.reduceat(values, self.first, axis=0))

    def of_cells(self, values: Floats) -> Floats:
        """Values (cells,) by visit and knee, (v, 2); 0 where there is no cell."""
        found = np.zeros(self.n.size)
        found[self.slot] = values
        return found.reshape(-1, 2)


def pairs_of(cells: Cells) -> Pairs | None:
    """The visits of these cells; None where codes are not whole numbers, a visit's cells are apart, or it has a third knee."""
    rider, knee, visit = cells.rider, cells.knee, cells.visit
    if not all(np.issubdtype(codes.dtype, np.integer) for codes in (rider, knee, visit)) or knee.min() < 0 or visit.min() < 0:
        return None
    new_rider = np.r_[True, rider[1:] != rider[:-1]]
    new_visit = new_rider | np.r_[True, visit[1:] != visit[:-1]]
    starts, own = np.flatnonzero(new_visit), np.cumsum(new_rider) - 1
    begins = np.flatnonzero(new_rider)
    low, high = np.minimum.reduceat(knee, begins)[own], np.maximum.reduceat(knee, begins)[own]
    slot = (knee != low).astype(np.int64)
    size = np.diff(np.append(starts, len(rider)))
    # Where two cells of one visit are of one knee, their slots are equal: 0, 0 or 1, 1.
    twice = starts[size == 2]
    apart = int(size.max()) <= 2 and bool((slot[twice] != slot[twice + 1]).all())
    at_once = int(np.bincount(np.asarray(visit[starts], dtype=np.int64)).max()) == 1
    if not (apart and at_once and bool(((knee == low) | (knee == high)).all())):
        return None
    place = np.zeros((len(starts), 2), dtype=np.int64)
    n = np.zeros((len(starts), 2))
    of_visit = np.cumsum(new_visit) - 1
    place[of_visit, slot] = np.arange(len(rider))
    n[of_visit, slot] = cells.n
    first = of_visit[begins]
    return Pairs(place, n, first, _told(len(begins), np.add.reduceat(n, first, axis=0), len(starts), int(n.sum())))


def _told(n_riders: int, rows_of_knees: Floats, n_visits: int, n_rows: int) -> Flags:
    """An intercept that groups the rows as a wider one does, or each row alone, is none of its own."""
    n_knees = int((rows_of_knees > 0).sum())
    knee = n_knees not in (n_riders, n_rows)
    return np.array([n_riders < n_rows, knee, n_visits not in (n_riders, n_rows)])


class Inverse(NamedTuple):
    """V^-1 at some ratios (3,) of rider, knee and visit: w (v,); b (2, 2, riders), h (2, 2, riders); log |V| and its
    derivatives (3,) by the ratios."""

    ratios: Floats
    w: Floats
    b: Floats
    h: Floats
    logdet: float
    d_logdet: Floats


def inverse_at(pairs: Pairs, ratios: Floats) -> Inverse:
    few, kind, times = pairs.alike
    n0, n1, rows = few.rows
    left = 1 / (1 + ratios[2] * rows)
    w, times_visit = ratios[2] * left, np.repeat(times, few.n_visits)
    shared, each = float(ratios[0]), float(ratios[0] + ratios[1])
    weighed0, weighed1 = w * n0, w * n1
    n00, n11 = few.by_rider(n0 - weighed0 * n0), few.by_rider(n1 - weighed1 * n1)
    n01 = -few.by_rider(weighed0 * n1)
    a00, a01 = 1 + n00 * each + n01 * shared, n00 * shared + n01 * each
    a10, a11 = n01 * each + n11 * shared, 1 + n01 * shared + n11 * each
    determinant = a00 * a11 - a01 * a10
    b = np.array([[a11, -a01], [-a10, a00]])
    b /= determinant
    h01 = each * b[0, 1] + shared * b[1, 1]
    h = np.array([[each * b[0, 0] + shared * b[1, 0], h01], [h01, shared * b[0, 1] + each * b[1, 1]]])
    own = float(times @ (b[0, 0] * n00 + (b[0, 1] + b[1, 0]) * n01 + b[1, 1] * n11))
    across = float(times @ ((b[0, 0] + b[1, 1]) * n01 + b[0, 1] * n11 + b[1, 0] * n00))
    # Of each visit (n0, n1) h (n0, n1)', weighed by left squared, as sums over the rider's visits.
    part0, part1 = left * n0, left * n1
    through = h[0, 0] * few.by_rider(part0 * part0) + h[1, 1] * few.by_rider(part1 * part1)
    through += 2 * h01 * few.by_rider(part0 * part1)
    by_visit = float((times_visit * left) @ rows) - float(times @ through)
    logdet = float(times @ np.log(determinant) - times_visit @ np.log(left))
    w = ratios[2] / (1 + ratios[2] * pairs.rows[2])
    b, h = (part.take(kind, axis=-1) for part in (b, h))
    return Inverse(ratios, w, b, h, logdet, np.array([own + across, own, by_visit]))


class Solved(NamedTuple):
    """V^-1 times a column: cells (v, 2), each cell's sum; what it takes off the sum of squares, and minus the derivatives (3,)
    of the quadratic form by the ratios."""

    cells: Floats
    taken_off: float
    slope: Floats


def solve(pairs: Pairs, inverse: Inverse, sums: Floats) -> Solved:
    """sums (v, 2): of a column over each cell's rows."""
    (n0, n1, rows), w, (b, h) = pairs.rows, inverse.w, (inverse.b, inverse.h)
    s0, s1 = np.ascontiguousarray(sums.T)
    total = s0 + s1
    weighed = w * total
    brought0, brought1 = pairs.by_rider(s0 - n0 * weighed), pairs.by_rider(s1 - n1 * weighed)
    u0, u1 = b[0, 0] * brought0 + b[0, 1] * brought1, b[1, 0] * brought0 + b[1, 1] * brought1
    hp0, hp1 = h[0, 0] * brought0 + h[0, 1] * brought1, h[1, 0] * brought0 + h[1, 1] * brought1
    left0, left1 = s0 - n0 * hp0.take(pairs.rider), s1 - n1 * hp1.take(pairs.rider)
    rest = left0 + left1
    weighed_rest = w * rest
    z = rest - rows * weighed_rest
    own, both = float(u0 @ u0 + u1 @ u1), u0 + u1
    cells = np.empty(sums.shape)
    np.subtract(left0, n0 * weighed_rest, out=cells[:, 0])
    np.subtract(left1, n1 * weighed_rest, out=cells[:, 1])
    taken = float(weighed @ total + brought0 @ hp0 + brought1 @ hp1)
    return Solved(cells, taken, np.array([float(both @ both), own, float(z @ z)]))


def taken_off(pairs: Pairs, inverse: Inverse, root_n: Floats, columns: Floats) -> Floats:
    """What V^-1 takes off the cross products of columns (cells, p), each cell's means times the root of its rows (v, 2)."""
    w, h, n = inverse.w, inverse.h, pairs.n
    f00 = np.sqrt(np.maximum(h[0, 0], 0.0))
    f10 = np.divide(h[0, 1], f00, out=np.zeros_like(f00), where=f00 > 0)
    f11 = np.sqrt(np.maximum(h[1, 1] - f10**2, 0.0))
    f00, f10, f11 = np.repeat(np.array([f00, f10, f11]), pairs.n_visits, axis=1)
    lost = (f00 * n[:, 0] + f10 * n[:, 1]) * w
    first = root_n * np.column_stack([f00 - lost, f10 - lost])
    lost = f11 * n[:, 1] * w
    second = root_n * np.column_stack([-lost, f11 - lost])
    weights = [first, second]
    if inverse.ratios[2] > 0:
        weights.append(root_n * np.sqrt(w)[:, None])
    found = np.zeros((columns.shape[1], columns.shape[1]))
    # Some riders at a time, so that what is brought together stays near the processor.
    begins = pairs.first[::_RIDERS_AT_A_TIME]
    for begin, end in zip(begins, np.append(begins[1:], len(n)), strict=True):
        here = slice(begin, end)
        riders = (pairs.first[(pairs.first >= begin) & (pairs.first < end)] - begin) * 2
        starts = [riders, riders + (end - begin) * 2, np.arange(end - begin) * 2 + (end - begin) * 4][: len(weights)]
        places = pairs.place[here].ravel()
        low = int(places[pairs.n[here].ravel() > 0].min())
        entries = np.concatenate([part[here] for part in weights]).ravel()
        ends = np.append(np.concatenate(starts), len(entries))
        own = columns[low : int(places.max()) + 1]
        places = np.tile(np.maximum(places - low, 0), len(weights))
        brought = np.asarray(sparse.csr_array((entries, places, ends), shape=(len(ends) - 1, len(own))) @ own)
        found += brought.T @ brought
    return found


def slopes(pairs: Pairs, inverse: Inverse, root_n: Floats, columns: Floats) -> Floats:
    """Minus the derivatives of columns' V^-1 columns by the ratios, (3, p, p); for few riders."""
    # One knee after the other: whole arrays of (visits, p) and (riders, p).
    n, w = pairs.n[:, :, None], inverse.w[:, None]
    both = [columns.take(pairs.place[:, knee], axis=0) * root_n[:, knee, None] for knee in (0, 1)]
    total = w * (both[0] + both[1])
    brought = [pairs.by_rider(both[knee] - n[:, knee] * total) for knee in (0, 1)]
    u0, u1 = _times(inverse.b, brought)
    hp = [np.repeat(part, pairs.n_visits, axis=0) for part in _times(inverse.h, brought)]
    left = both[0] - n[:, 0] * hp[0] + both[1] - n[:, 1] * hp[1]
    z = left * (1 - w * (n[:, 0] + n[:, 1]))
    riders = u0 + u1
    return np.array([riders.T @ riders, u0.T @ u0 + u1.T @ u1, z.T @ z])


def _times(matrices: Floats, parts: list[Floats]) -> list[Floats]:
    """Matrices (2, 2, riders) times the two parts (riders, p) of a vector."""
    return [row[0][:, None] * parts[0] + row[1][:, None] * parts[1] for row in matrices]
