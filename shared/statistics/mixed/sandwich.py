"""CR2 from cells: riders of little leverage by their sums, the others by their rows. METHODS.md, "Both models by cell"."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.statistics.clustered.cr2 import (
    Sandwich,
    Tally,
    add_crossed,
    add_riders,
    among,
    power_series,
    serves_up_to,
    stacks_of_riders,
    terms_for,
)
from shared.statistics.cross_products import cross_product
from shared.statistics.mixed.cells import Cells, Flags, Floats, Ints, Terms, full, sums_by, upper

Singles = NDArray[np.float32]

# Total leverage of a rider up to which sums serve.
LITTLE = 0.01
# Share of a term's degrees of freedom that riders who hardly tell of it may make at most, to be left out.
_LEFT_OUT = 1e-4


@dataclass(frozen=True)
class Whitened:
    """What the sandwich reads of a fit, in the coordinates in which all riders' information adds up to the identity.

    of_column (q, b): the line of each column of the terms; of_term (p, b): that of each term that is told; estimate (q,): of
    the columns; design (cells, b) and residual (cells,): the cells' whitened means, None where only differences within cells
    count.
    """

    of_column: Floats
    of_term: Floats
    estimate: Floats
    design: Floats | None = None
    residual: Floats | None = None


@dataclass(frozen=True)
class _Level:
    """The riders with cells at one level (g,), their packed within-cell products (g, pairs), and of the columns that vary
    there the lines in the root's coordinates (v, b) and the estimates (v,)."""

    riders: Ints
    products: Floats
    of_column: Floats
    estimate: Floats

    @cached_property
    def single(self) -> Singles:
        """The products in single precision."""
        return self.products.astype(np.float32)

    @cached_property
    def matrices(self) -> Singles:
        """The products of the varying columns alone, (g, v, v), in single precision."""
        v = len(self.of_column)
        return full(self.single, v + 1, v)

    def squares(self, vectors: Floats) -> Floats:
        """v'Cv of every rider for vectors (m, b): (g, m)."""
        return np.asarray(self.products @ self._paired(vectors))

    def leverage(self) -> Floats:
        """The trace of every rider's C (g,)."""
        return np.asarray(self.products @ self._paired(np.eye(self.of_column.shape[1])).sum(axis=1))

    def _paired(self, vectors: Floats) -> Floats:
        """What makes v'Cv of the packed products, (pairs, m)."""
        columns = self.of_column @ vectors.T
        rows, places = upper(len(self.of_column) + 1)
        inner = (rows < len(self.of_column)) & (places < len(self.of_column))
        weights = np.zeros((len(rows), len(vectors)))
        weights[inner] = columns[rows[inner]] * columns[places[inner]]
        return np.asarray(weights * np.where(rows == places, 1.0, 2.0)[:, None])

    def scores(self) -> Floats:
        """Each rider's sums of the varying columns times what the estimate leaves, in the root's coordinates (g, b)."""
        return np.asarray((self.products @ self._reading(np.append(-self.estimate, 1.0))) @ self.of_column)

    def along(self, line: Floats, chosen: Ints) -> Singles:
        """C times one line (b,) for the chosen riders (chosen, b), in single precision."""
        reading = self._reading(np.append(self.of_column @ line, 0.0)).astype(np.float32)
        # Of most riders the product is quicker than their choice.
        few = 2 * len(chosen) < len(self.single)
        found = self.single[chosen] @ reading if few else (self.single @ reading)[chosen]
        return found @ self.of_column.astype(np.float32)

    def _reading(self, contrast: Floats) -> Floats:
        """What makes of the packed products those of the varying columns with a contrast of them and the outcome (pairs, v)."""
        v = len(self.of_column)
        rows, places = upper(v + 1)
        pairs, reading = np.arange(len(rows)), np.zeros((len(rows), v))
        left, right = rows < v, (places < v) & (rows != places)
        reading[pairs[left], rows[left]] = contrast[places[left]]
        reading[pairs[right], places[right]] = contrast[rows[right]]
        return reading


def cr2_of_cells(cells: Cells, terms: Terms, rider: Ints, fit: Whitened, wanted: Flags) -> Sandwich:
    """CR2 by rider of a fit on cells; rider (cells,): codes 0 to riders - 1, in order; wanted (p,): terms whose degrees of
    freedom are asked for."""
    n_riders, b = int(rider[-1]) + 1, fit.of_term.shape[1]
    design, of_wanted = fit.design, fit.of_term[wanted]
    levels = list(_levels(cells, terms, rider, fit))
    scores, leverage = np.zeros((n_riders, b)), np.zeros(n_riders)
    if design is not None:
        scores += sums_by(rider, n_riders, design, fit.residual)
        leverage += np.bincount(rider, weights=np.einsum("cb,cb->c", design, design), minlength=n_riders)
    for level in levels:
        scores[level.riders] += level.scores()
        leverage[level.riders] += level.leverage()
    tally, much = Tally(len(of_wanted), b), leverage > LITTLE
    single = None if design is None or much.all() else design.astype(np.float32)
    adjusted = np.zeros_like(scores) if much.all() else _by_sums(scores, np.where(much, 0.0, leverage), single, rider, levels)
    if much.any():
        for riders, scaled, residual in _rows_of(cells, terms, rider, much, fit):
            adjusted[riders] = add_riders(tally, scaled, residual, of_wanted)
    if not much.all():
        shares = _shares(n_riders, design, rider, levels, of_wanted)
        shares[much] = 0.0
        tally.add_shares(shares)
        _add_tied(tally, shares, leverage, single, rider, levels, of_wanted)
    influence = adjusted @ fit.of_term.T
    return Sandwich(influence, cross_product(influence, influence), among(wanted, tally.df(of_wanted)))


def _levels(cells: Cells, terms: Terms, rider: Ints, fit: Whitened) -> Iterator[_Level]:
    whole = len(terms.places) == 1
    for level, places in enumerate(terms.places):
        kept = places >= 0
        here = np.arange(len(rider)) if whole else np.flatnonzero(terms.level == level)
        if len(here) == 0:
            continue
        codes = rider.take(here)
        first = np.r_[True, codes[1:] != codes[:-1]]
        sums = cells.by_rider if whole else cells.products_by(np.cumsum(first) - 1, int(first.sum()), here)
        own = np.where(kept[:, None], fit.of_column[places], 0.0)
        yield _Level(codes[first], sums, own, np.where(kept, fit.estimate[places], 0.0))


def _by_sums(scores: Floats, leverage: Floats, single: Singles | None, rider: Ints, levels: list[_Level]) -> Floats:
    """(1 - C)^-1/2 times the scores (riders, b), by as many terms of the series as each rider's leverage asks for; what these
    add, at most half of LITTLE, is told in single precision."""
    added = np.zeros(scores.shape, dtype=np.float32)
    power = scores.astype(np.float32)
    for n_terms, factor in enumerate(power_series(terms_for(float(leverage.max())))):
        power = np.float32(factor) * _through(power, leverage > serves_up_to(n_terms), single, rider, levels)
        added += power
    return scores + added


def _through(vectors: Singles, here: Flags, single: Singles | None, rider: Ints, levels: list[_Level]) -> Singles:
    """C times each rider's vector (riders, b) for the riders where `here` is true, zero for the others."""
    found = np.zeros_like(vectors)
    everyone = bool(here.all())
    if single is not None:
        cells = slice(None) if everyone else np.flatnonzero(here[rider])
        codes, own = rider[cells], single[cells]
        found += sums_by(codes, len(vectors), own, np.einsum("cb,cb->c", own, vectors.take(codes, axis=0)))
    for level in levels:
        chosen = slice(None) if everyone else np.flatnonzero(here[level.riders])
        riders, of_column = level.riders[chosen], level.of_column.astype(np.float32)
        turned = vectors.take(riders, axis=0) @ of_column.T
        found[riders] += np.einsum("gij,gj->gi", level.matrices[chosen], turned) @ of_column
    return found


def _shares(n_riders: int, design: Floats | None, rider: Ints, levels: list[_Level], of_term: Floats) -> Floats:
    """r'Cr of each rider and wanted term, (riders, wanted)."""
    found = np.zeros((n_riders, len(of_term)))
    if design is not None:
        found += sums_by(rider, n_riders, (design @ of_term.T) ** 2)
    for level in levels:
        found[level.riders] += level.squares(of_term)
    return found


def _add_tied(
    tally: Tally, shares: Floats, leverage: Floats, single: Singles | None, rider: Ints, levels: list[_Level], of_term: Floats
) -> None:
    """Adds what ties riders of little leverage to one another, in single precision, with Cr for c.

    Of a term only the riders with more than a least share d = r'Cr of it: cc' is at most dC, and all C add up to the identity,
    so that what the others with all riders would add is below twice the least share times the sum of |c|^2, which is at most
    leverage x share.
    """
    most = np.trace(tally.crossed, axis1=1, axis2=2) + leverage @ shares
    least = _LEFT_OUT * tally.squares / np.maximum(2 * most, np.finfo(float).tiny)
    for place, line in enumerate(of_term):
        here = shares[:, place] > least[place]
        code, n_here = np.cumsum(here) - 1, int(here.sum())
        tied = np.zeros((n_here, len(line)), dtype=np.float32)
        if single is not None:
            cells = np.flatnonzero(here[rider])
            own = single[cells]
            tied += sums_by(code[rider[cells]], n_here, own, own @ line.astype(np.float32))
        for level in levels:
            chosen = np.flatnonzero(here[level.riders])
            tied[code[level.riders[chosen]]] += level.along(line, chosen)
        tally.fourth[place] += float((np.einsum("gb,gb->g", tied, tied).astype(float) ** 2).sum())
        add_crossed(tally.crossed[place : place + 1], tied[None])


def _rows_of(cells: Cells, terms: Terms, rider: Ints, much: Flags, fit: Whitened) -> Iterator[tuple[Ints, Floats, Floats]]:
    """Riders of much leverage with their scaled rows (g, rows, b) and residuals (g, rows), some at a time."""
    chosen = much[rider]
    picked = np.flatnonzero(chosen)
    cell = np.repeat(picked, cells.n[picked])
    rows = cells.rows(chosen)
    rows[:, :-1] -= cells.mean.take(cell, axis=0)
    rows[:, -1] -= cells.outcome.take(cell)
    scaled, residual = np.zeros((len(rows), fit.of_term.shape[1])), rows[:, -1].copy()
    for level, places in enumerate(terms.places):
        kept = np.flatnonzero(places >= 0)
        here = np.flatnonzero(terms.level.take(cell) == level) if len(terms.places) > 1 else slice(None)
        own = rows[here][:, kept]
        scaled[here] = own @ fit.of_column[places[kept]]
        residual[here] -= own @ fit.estimate[places[kept]]
    if fit.design is not None and fit.residual is not None:
        share = 1 / np.sqrt(cells.n.take(cell))
        scaled += fit.design.take(cell, axis=0) * share[:, None]
        residual += fit.residual.take(cell) * share
    riders = np.flatnonzero(much)
    for some, places in stacks_of_riders(np.cumsum(much)[rider.take(cell)] - 1):
        none = places < 0
        stack = scaled.take(np.where(none, 0, places).ravel(), axis=0).reshape(*places.shape, -1)
        stack[none] = 0.0
        yield riders[some], stack, np.where(none, 0.0, residual[places])
