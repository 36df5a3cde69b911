"""CR2 from cells for many riders: by sums of each rider, never by rows. METHODS.md, "Both models by cell"."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cells import Cells, Floats, Ints, Terms, full, sums_by, upper
from shared.statistics.cluster_robust import Sandwich, root_of, stacks_of_riders
from shared.statistics.rider_sandwich import LITTLE, Tally, add_riders
from shared.statistics.small_matrices import cross_product

Flags = NDArray[np.bool_]

# The series of (1 - s)^-1/2 by its successive factors, each with the leverage up to which the rest is below 2e-6.
_SERIES = ((1 / 2, 2.3e-3), (3 / 4, 1.86e-2), (5 / 6, LITTLE))


@dataclass(frozen=True)
class Whitened:
    """What the sandwich reads of a fit; the basis is any in which the inverse information is `bread` (b, b).

    to_basis (p, b): each term's row; estimate (p,); between (cells, b + 1): the cells' whitened means, each times the root of
    its rows, and last the residual before `change` (b,), in `scale`; None where only differences within cells count.
    """

    to_basis: Floats
    bread: Floats
    estimate: Floats
    between: Floats | None = None
    change: Floats | None = None
    scale: float = 1.0

    def turned(self, root: Floats) -> Floats | None:
        """`between` in the coordinates of the root, with the residual as the last column."""
        if self.between is None or self.change is None:
            return None
        b = len(root)
        turning = np.zeros((b + 1, b + 1))
        turning[:b, :b], turning[:b, b], turning[b, b] = root, -self.change * self.scale, self.scale
        return np.asarray(self.between @ turning)


@dataclass(frozen=True)
class Groups:
    """The within-cell products of riders at one level: riders (g,), packed products (g, pairs), terms (v,) in the root's
    coordinates (v, b)."""

    riders: Ints
    products: Floats
    of_term: Floats
    estimate: Floats
    matrices: Callable[[], Floats]

    def paired(self, columns: Floats) -> Floats:
        """Of columns C (v, m), the packed weights (pairs, m) that make each C' products C from the products."""
        rows, places = upper(len(self.of_term) + 1)
        inner = (rows < len(self.of_term)) & (places < len(self.of_term))
        weights = np.zeros((len(rows), columns.shape[1]))
        weights[inner] = columns[rows[inner]] * columns[places[inner]]
        return np.asarray(weights * np.where(rows == places, 1.0, 2.0)[:, None])

    def reading(self) -> Floats:
        """What makes of the packed products the sums of the varying columns times the residual (pairs, v)."""
        v = len(self.of_term)
        rows, places = upper(v + 1)
        found = np.zeros((len(rows), v))
        contrast = np.append(-self.estimate, 1.0)
        for pair, (i, j) in enumerate(zip(rows, places, strict=True)):
            if i < v:
                found[pair, i] += contrast[j]
            if j < v and i != j:
                found[pair, j] += contrast[i]
        return found

    def scores(self) -> Floats:
        """Each rider's sum of the varying columns times the residual, in the root's coordinates (g, b)."""
        return np.asarray(self.products @ (self.reading() @ self.of_term))


@dataclass(frozen=True)
class Tallied:
    """Some riders' influence (riders, p) and sums for the degrees of freedom; of_term (p, b): the terms in the root's
    coordinates."""

    influence: Floats
    tally: Tally
    of_term: Floats


def cr2_of_cells(cells: Cells, terms: Terms, rider: Ints, fit: Whitened, wanted: Flags) -> Sandwich:
    """What rider_sandwich.cr2_at_speed gives beyond its limit of riders, from cells; wanted (p,): terms whose df are asked for.

    rider (cells,): codes 0 to riders - 1, in order.
    """
    found = tallied(cells, terms, rider, fit, wanted)
    covariance = cross_product(found.influence, found.influence)
    return Sandwich(found.influence, covariance, found.tally.df(found.of_term, wanted))


def tallied(cells: Cells, terms: Terms, rider: Ints, fit: Whitened, wanted: Flags) -> Tallied:
    """The same as sums, to be added to those of other riders of the same fit."""
    n_riders = int(rider[-1]) + 1
    root = root_of(fit.bread)
    of_term = np.column_stack([fit.to_basis @ root, np.zeros(len(fit.to_basis))])  # the last coordinate is the residual's
    groups = list(groups_of(cells, terms, rider, fit.estimate, of_term))
    between = fit.turned(root)
    scores: Floats = np.zeros((n_riders, len(root) + 1))
    leverage: Floats = np.zeros(n_riders)
    if between is not None:
        scores += sums_by(rider, n_riders, between, between[:, -1])
        scores[:, -1] = 0.0
        squares = np.einsum("cb,cb->c", between[:, :-1], between[:, :-1])
        leverage += np.bincount(rider, weights=squares, minlength=n_riders)
    for group in groups:
        scores[group.riders] += group.scores()
        leverage[group.riders] += group.products @ group.paired(group.of_term).sum(axis=1)
    tally = Tally(int(wanted.sum()), len(root) + 1)
    much = leverage > LITTLE
    adjusted = _by_series(scores, leverage, between, rider, groups)
    diagonal = _diagonal(n_riders, between, rider, groups, of_term[wanted])
    tally.trace += diagonal[~much].sum(axis=0)
    tally.squares += (diagonal[~much] ** 2).sum(axis=0)
    if much.any():
        _add_much(tally, cells, terms, rider, much, fit, between, of_term, wanted)
        adjusted[np.concatenate(tally.riders)] = np.concatenate(tally.adjusted)
    return Tallied(adjusted @ of_term.T, tally, of_term)


def groups_of(cells: Cells, terms: Terms, rider: Ints, estimate: Floats, of_term: Floats) -> Iterator[Groups]:
    for level, places in enumerate(terms.places):
        kept = (places >= 0)[:, None]
        own = np.where(kept, of_term[places], 0.0)
        here = np.flatnonzero(terms.level == level) if len(terms.places) > 1 else np.arange(len(rider))
        if len(here) == 0:
            continue
        codes = rider.take(here)
        first = np.r_[True, codes[1:] != codes[:-1]]
        whole = len(terms.places) == 1
        sums = cells.by_rider if whole else cells.products_by(np.cumsum(first) - 1, int(first.sum()), here)
        matrices = partial(getattr, cells, "full_by_rider") if whole else partial(full, sums, len(places) + 1, len(places))
        yield Groups(codes[first], sums, own, np.where(kept[:, 0], estimate[places], 0.0), matrices)


def _by_series(scores: Floats, leverage: Floats, between: Floats | None, rider: Ints, groups: list[Groups]) -> Floats:
    """S'(1 - SS')^-1/2 e of riders of little leverage, by as many terms of the series as the leverage asks for."""
    adjusted, power = scores.copy(), scores
    here = np.ones(len(scores), dtype=bool)
    for factor, enough in _SERIES:
        power = factor * _through(power, here, between, rider, groups)
        adjusted += power
        here = (leverage > enough) & (leverage <= LITTLE)
        if not here.any():
            break
        power[~here] = 0.0
    return adjusted


def _through(vectors: Floats, here: Flags, between: Floats | None, rider: Ints, groups: list[Groups]) -> Floats:
    """S'S times each rider's vector (riders, b), for the riders where `here` is true."""
    found = np.zeros_like(vectors)
    everyone = bool(here.all())
    if between is not None:
        cells = slice(None) if everyone else np.flatnonzero(here[rider])
        codes, own = rider[cells], between[cells]
        along = np.einsum("cb,cb->c", own, vectors.take(codes, axis=0))
        found += sums_by(codes, len(vectors), own, along)
        found[:, -1] = 0.0
    for group in groups:
        chosen = slice(None) if everyone else np.flatnonzero(here[group.riders])
        riders = group.riders[chosen]
        turned = vectors.take(riders, axis=0) @ group.of_term.T
        found[riders] += np.matmul(group.matrices()[chosen], turned[:, :, None])[:, :, 0] @ group.of_term
    return found


def _diagonal(n_riders: int, between: Floats | None, rider: Ints, groups: list[Groups], of_term: Floats) -> Floats:
    """Each rider's part of the variance of the wanted terms, (riders, wanted); of_term (wanted, b)."""
    found = np.zeros((n_riders, len(of_term)))
    if between is not None:
        weights = between @ of_term.T
        found += sums_by(rider, n_riders, np.square(weights, out=weights))
    for group in groups:
        found[group.riders] += group.products @ group.paired(group.of_term @ of_term.T)
    return found


def _add_much(
    tally: Tally, cells: Cells, terms: Terms, rider: Ints, much: Flags, fit: Whitened, between: Floats | None,
    of_term: Floats, wanted: Flags,
) -> None:  # fmt: skip
    """Adds the riders of more than little leverage from their rows."""
    chosen = much[rider]
    picked = np.flatnonzero(chosen)
    cell = np.repeat(picked, cells.n[picked])
    rows = cells.rows(chosen)
    rows[:, :-1] -= cells.mean.take(cell, axis=0)
    rows[:, -1] -= cells.outcome.take(cell)
    scaled = np.zeros((len(rows), of_term.shape[1]))
    residual = rows[:, -1].copy()
    for level, places in enumerate(terms.places):
        kept = np.flatnonzero(places >= 0)
        here = np.flatnonzero(terms.level.take(cell) == level) if len(terms.places) > 1 else np.arange(len(rows))
        own = rows[here][:, kept]
        scaled[here] = own @ of_term[places[kept]]
        residual[here] -= own @ fit.estimate[places[kept]]
    if between is not None:
        whitened = (between / np.sqrt(cells.n)[:, None]).take(cell, axis=0)
        scaled[:, :-1] += whitened[:, :-1]
        residual += whitened[:, -1]
    codes = np.cumsum(much)[rider.take(cell)] - 1
    riders = np.flatnonzero(much)
    for some, places in stacks_of_riders(codes):
        tally.riders.append(riders[some])
        stack = scaled.take(places.ravel(), axis=0).reshape(*places.shape, -1)
        tally.adjusted.append(add_riders(tally, stack, residual[places], of_term[wanted], False))
