"""CR2 from cells: riders of little leverage by their sums, the others by their rows. METHODS.md, "Both models by cell"."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.clustered.cr2 import (
    Sandwich,
    Tally,
    add_riders,
    among,
    power_series,
    root_of,
    serves_up_to,
    stacks_of_riders,
    terms_for,
)
from shared.statistics.cross_products import cross_product
from shared.statistics.mixed.cells import Cells, Flags, Floats, Ints, full, upper
from shared.statistics.mixed.terms import Columns, Terms

Singles = NDArray[np.float32]
Array = NDArray[np.floating]

# Total leverage of a rider up to which sums serve, where there are more riders than are sooner told row by row.
LITTLE, _FEW_RIDERS = 0.01, 1000
# Riders who hardly tell of a term may make n times this share of its degrees of freedom, to be left out, n being how many
# riders telling it alike would have them: half widths move by (z^3 + z) / (4 n) of that share, of 99 % by 1e-6 standard errors.
_LEFT_OUT = 2e-7
# Total leverage up to which |c|^4 is left out of what divides: at most (leverage x d)^2, a millionth of the sum of all d^2.
_FOURTH = 1e-3


@dataclass(frozen=True)
class Whitened:
    """What the sandwich reads of a fit. bread (q, q): the inverse information of the columns; back (p, q): the line of each
    term that is told among the columns; estimate (q,): of the columns; means: by block, the cells' whitened means of its
    columns and, last, of what the estimate leaves (c, w + 1), None where only differences within cells count."""

    bread: Floats
    back: Floats
    estimate: Floats
    means: Sequence[Floats] | None = None


def _add(found: Array, riders: Ints, added: Array) -> None:
    """Adds rows (h, m) to those of their riders (h,) in `found` (g, m)."""
    if len(found) == len(added):
        found += added
    else:
        found[riders] += added


def _twice(size: int) -> tuple[Ints, Ints, Floats]:
    """Rows and columns of an upper triangle, and how often each of its entries stands in the whole."""
    rows, places = upper(size)
    return rows, places, np.where(rows == places, 1.0, 2.0)


@dataclass(frozen=True)
class _Part:
    """The riders of a block at one level, as places in the block (h,); matrices (h, v, v): their cross products of the columns
    that vary there, in single precision; at (v, w): 1 where such a column is one of the block's."""

    riders: Ints
    matrices: Singles
    at: Singles

    def chosen(self, place: Ints) -> "_Part":
        """The part of some riders of the block; place (g,): theirs among these, -1 for none."""
        own = place.take(self.riders)
        here = np.flatnonzero(own >= 0)
        return _Part(own.take(here), self.matrices.take(here, axis=0), self.at)

    def of_all(self, lines: Singles) -> Singles:
        """The products times some lines by the block's columns (w, m), (m, h, v)."""
        h, v = self.matrices.shape[:2]
        turned = self.matrices.reshape(h * v, v) @ (self.at @ lines)
        return np.ascontiguousarray(turned.T).reshape(lines.shape[1], h, v)

    def of_each(self, vectors: Singles) -> Singles:
        """Each rider's products times its own vector of the block's (g, w), (h, v)."""
        own = (vectors if len(self.riders) == len(vectors) else vectors.take(self.riders, axis=0)) @ self.at.T
        return np.asarray(np.matmul(self.matrices, own[:, :, None])[:, :, 0])


@dataclass(frozen=True)
class _Packed:
    """A part's packed products as they are (h, pairs); of the varying columns the places among the block's, 1 at (v, w), and
    the estimates (v,)."""

    riders: Ints
    products: Floats
    at: Floats
    estimate: Floats

    def paired(self, matrix: Floats) -> Floats:
        """What makes of packed products the sum of their entries times a symmetric matrix's (w, w): (pairs,)."""
        own = np.zeros((len(self.at) + 1,) * 2)
        own[:-1, :-1] = self.at @ matrix @ self.at.T
        return np.asarray(own[_twice(len(own))[:2]] * _twice(len(own))[2])

    def squared(self, lines: Floats) -> Floats:
        """The same of lines (w, m), each times itself: (pairs, m)."""
        own = np.zeros((len(self.at) + 1, lines.shape[1]))
        own[:-1] = self.at @ lines
        rows, places, times = _twice(len(own))
        return np.asarray(own[rows] * own[places] * times[:, None])

    def scores(self) -> Floats:
        """Each rider's sums of the block's columns times what the estimate leaves, (h, w)."""
        v, contrast = len(self.at), np.append(-self.estimate, 1.0)
        rows, places = upper(v + 1)
        pairs, reading = np.arange(len(rows)), np.zeros((len(rows), v))
        left, right = rows < v, (places < v) & (rows != places)
        reading[pairs[left], rows[left]] = contrast[places[left]]
        reading[pairs[right], places[right]] = contrast[rows[right]]
        return np.asarray(self.products @ (reading @ self.at))

    def part(self) -> _Part:
        v = len(self.at)
        return _Part(self.riders, full(self.products, v + 1, v).astype(np.float32), self.at.astype(np.float32))


@dataclass(frozen=True)
class _Block:
    """A block of riders (g,): codes; starts (g + 1,): where each one's cells begin; terms (w,): the columns' places;
    bread (w, w): theirs; single (c, w): the cells' whitened means in single precision, None without; packed: of the block."""

    riders: Ints
    starts: Ints
    terms: Ints
    bread: Floats
    single: Singles | None
    parts: list[_Part]
    packed: list[_Packed]

    def chosen(self, riders: Ints) -> "_Block":
        """The riders at some places, ascending; the block itself where they are most of it."""
        if 3 * len(riders) > 2 * len(self.riders):
            return self
        sizes = np.diff(self.starts).take(riders)
        starts, single = np.append(0, np.cumsum(sizes)), None
        if self.single is not None:
            cells = np.repeat(self.starts.take(riders) - starts[:-1], sizes) + np.arange(starts[-1])
            single = self.single.take(cells, axis=0)
        place = np.full(len(self.riders), -1)
        place[riders] = np.arange(len(riders))
        parts = [part.chosen(place) for part in self.parts]
        return _Block(self.riders.take(riders), starts, self.terms, self.bread, single, parts, [])

    @cached_property
    def rider_of_cell(self) -> Ints:
        return np.repeat(np.arange(len(self.riders)), np.diff(self.starts))

    def by_rider(self, rows: Array, weights: Array) -> Array:
        """Sums by rider (g, m) of cells' rows (c, m) times their weights (c,)."""
        shape = (len(self.riders), len(rows))
        return np.asarray(sparse.csr_array((weights, np.arange(len(rows)), self.starts), shape=shape) @ rows)

    def scores(self, means: Floats | None) -> Floats:
        """Each rider's sums of its columns times what the estimate leaves, (g, w); means: as in Whitened."""
        found = np.zeros((len(self.riders), len(self.terms)))
        if means is not None:
            found += self.by_rider(means, means[:, -1])[:, :-1]
        for part in self.packed:
            _add(found, part.riders, part.scores())
        return found

    def leverage(self, means: Floats | None) -> Floats:
        """The trace of every rider's information times the bread (g,)."""
        found = np.zeros(len(self.riders))
        if means is not None:
            columns = means[:, :-1]
            found += np.add.reduceat(np.einsum("cw,cw->c", columns @ self.bread, columns), self.starts[:-1])
        for part in self.packed:
            found[part.riders] += part.products @ part.paired(self.bread)
        return found

    def added(self, scores: Floats, leverage: Floats) -> Floats:
        """What (1 - C)^-1/2 adds to scores (g, w), before they meet the bread: by as many terms of the series as each rider's
        leverage asks for, in single precision, since it is at most half of LITTLE."""
        power, found, block = scores.astype(np.float32), np.zeros(scores.shape), self
        places, bread = np.arange(len(scores)), self.bread.astype(np.float32)
        for n_terms, factor in enumerate(power_series(terms_for(float(leverage.max(initial=0.0))))):
            further = np.flatnonzero(leverage.take(places) > serves_up_to(n_terms))
            fewer = block.chosen(further)
            if fewer is not block:
                block, places, power = fewer, places.take(further), power.take(further, axis=0)
            power = block._through(power @ (np.float32(factor) * bread))
            found[places] += power
        return found

    def _through(self, vectors: Singles) -> Singles:
        """Each rider's information times its vector (g, w)."""
        found = np.zeros_like(vectors)
        if self.single is not None:
            along = np.einsum("cw,cw->c", self.single, vectors.take(self.rider_of_cell, axis=0))
            found += self.by_rider(self.single, along)
        for part in self.parts:
            _add(found, part.riders, part.of_each(vectors) @ part.at)
        return found

    def shares(self, lines: Floats) -> Singles:
        """l'Al of each rider for lines (w, wanted): (g, wanted)."""
        found = np.zeros((len(self.riders), lines.shape[1]), dtype=np.float32)
        if self.single is not None:
            along = self.single @ lines.astype(np.float32)
            along *= along
            found += self.by_rider(along, np.ones(len(along), dtype=np.float32))
        for part in self.packed:
            _add(found, part.riders, part.products.astype(np.float32) @ part.squared(lines).astype(np.float32))
        return found

    def along(self, lines: Floats) -> Iterator[Singles]:
        """Each rider's information times each line (w, m), one after the other, (g, w)."""
        singles = lines.astype(np.float32)
        turned = [part.of_all(singles) for part in self.parts]
        for place, line in enumerate(singles.T):
            found = np.zeros((len(self.riders), len(lines)), dtype=np.float32)
            if self.single is not None:
                found += self.by_rider(self.single, self.single @ line)
            for part, own in zip(self.parts, turned, strict=True):
                _add(found, part.riders, own[place] @ part.at)
            yield found


def cr2_of_cells(cells: Cells, terms: Terms, columns: Sequence[Columns], fit: Whitened, wanted: Flags) -> Sandwich:
    """CR2 by rider of a fit on cells; columns: of each block; wanted (p,): terms whose degrees of freedom are asked for."""
    n_riders, q = len(terms.levels.division.riders.labels), len(fit.bread)
    root, lines = root_of(fit.bread), fit.bread @ fit.back.T
    of_told = fit.back @ root
    blocks = [_block(own, fit, place) for place, own in enumerate(columns)] if n_riders > _FEW_RIDERS else []
    # Of few riders all are told by their rows.
    tally, leverage = Tally(int(wanted.sum()), q), np.full(n_riders, 1.0)
    influence, meat = np.zeros((n_riders, len(fit.back))), np.zeros((q, q))
    for place, block in enumerate(blocks):
        means = None if fit.means is None else fit.means[place]
        leverage[block.riders] = own = block.leverage(means)
        if (little := own <= LITTLE).any():
            adjusted = block.scores(means)
            adjusted += block.added(adjusted, np.where(little, own, 0.0))
            adjusted[~little] = 0.0
            influence[block.riders] = adjusted @ lines[block.terms]
            meat[np.ix_(block.terms, block.terms)] += cross_product(adjusted, adjusted)
    covariance = lines.T @ meat @ lines
    much = leverage > LITTLE
    if much.any():
        for riders, scaled, residual in _rows_of(cells, terms, columns, much, fit, root):
            influence[riders] = added = add_riders(tally, scaled, residual, of_told[wanted]) @ of_told.T
            covariance += added.T @ added
    if not much.all():
        _add_little(tally, blocks, leverage, lines[:, wanted], root)
    return Sandwich(influence, covariance, among(wanted, tally.df(of_told[wanted])))


def _block(columns: Columns, fit: Whitened, place: int) -> _Block:
    block, width = columns.block, np.arange(len(columns.terms))
    estimate = np.append(fit.estimate[columns.terms], 0.0)
    packed = [
        _Packed(part.riders, part.products, (places[:, None] == width).astype(float), estimate[places])
        for part, places in zip(block.parts, columns.of_part, strict=True)
    ]
    single = None if fit.means is None else fit.means[place][:, :-1].astype(np.float32)
    bread = fit.bread[np.ix_(columns.terms, columns.terms)]
    return _Block(block.riders, block.starts, columns.terms, bread, single, [own.part() for own in packed], packed)


def _add_little(tally: Tally, blocks: Sequence[_Block], leverage: Floats, lines: Floats, root: Floats) -> None:
    """Adds the riders of little leverage: their shares, and what ties them to one another, in single precision, with Cr for c.

    Only a term's riders with more than a least share d = r'Cr of it: cc' is at most dC, and all C add up to the identity: what
    the others add is below twice the least share times the sum of |c|^2, at most leverage x d, and all below its square."""
    most, shares = np.trace(tally.crossed, axis1=1, axis2=2), []
    for block in blocks:
        shares.append(own := block.shares(lines[block.terms]))
        own[leverage[block.riders] > LITTLE] = 0.0
        tally.add_shares(own.astype(float))
        most = most + leverage[block.riders] @ own
    may_lack = _LEFT_OUT * tally.trace**2
    least = np.where(most**2 <= may_lack, np.inf, may_lack / np.maximum(2 * most, np.finfo(float).tiny))
    crossed = np.zeros((len(least), len(root), len(root)))
    for block, own in zip(blocks, shares, strict=True):
        of_block, bread = np.ix_(block.terms, block.terms), block.bread.astype(np.float32)
        for riders, asked in _together(own > least, block):
            some = block.chosen(riders)
            beside = np.setdiff1d(np.arange(len(some.riders)), riders, assume_unique=True) if some is block else riders[:0]
            telling = np.flatnonzero(leverage.take(some.riders) > _FOURTH)
            for term, tied in zip(asked, some.along(lines[block.terms][:, asked]), strict=True):
                tied[beside] = 0.0
                told = tied.take(telling, axis=0)
                squares = np.einsum("gw,gw->g", told @ bread, told)
                tally.fourth[term] += float(squares.astype(float) @ squares)
                crossed[term][of_block] += tied.T @ tied
    tally.crossed += root.T @ crossed @ root


def _together(needed: Flags, block: _Block) -> Iterator[tuple[Ints, Ints]]:
    """Riders of a block, as ascending places, and terms, such that each pair that is needed (g, wanted) comes once: terms that
    many riders of one level need go together, the others one by one."""
    left, new = needed.copy(), np.ones(needed.shape[1], dtype=bool)
    for part in block.parts:
        own = left.take(part.riders, axis=0)
        asked = np.flatnonzero(new & (3 * own.sum(axis=0) > len(part.riders)))
        if len(asked):
            riders = part.riders[own[:, asked].any(axis=1)]
            yield riders, asked
            left[riders[:, None], asked], new[asked] = False, False
    for term in np.flatnonzero(left.any(axis=0)):
        yield np.flatnonzero(left[:, term]), np.array([term])


def _rows_of(
    cells: Cells, terms: Terms, columns: Sequence[Columns], much: Flags, fit: Whitened, root: Floats
) -> Iterator[tuple[Ints, Floats, Floats]]:
    """Riders of much leverage with their scaled rows (g, rows, q) and residuals (g, rows), some at a time."""
    rider = terms.levels.division.riders.rider
    chosen = much[rider]
    picked = np.flatnonzero(chosen)
    cell = np.repeat(picked, cells.n[picked])
    rows = cells.rows(chosen)
    rows[:, :-1] -= cells.mean.take(cell, axis=0)
    rows[:, -1] -= cells.outcome.take(cell)
    scaled, residual = np.zeros((len(rows), len(root))), rows[:, -1].copy()
    for level, places in enumerate(terms.places):
        kept = np.flatnonzero(places >= 0)
        here = np.flatnonzero(terms.level.take(cell) == level) if len(terms.places) > 1 else slice(None)
        own = rows[here][:, kept]
        scaled[here] = own @ root[places[kept]]
        residual[here] -= own @ fit.estimate[places[kept]]
    if fit.means is not None:
        design, left = np.zeros((len(picked), len(root))), np.zeros(len(picked))
        place = np.cumsum(chosen) - 1
        for block, means in zip(columns, fit.means, strict=True):
            of_block = np.flatnonzero(chosen.take(block.block.cells))
            at = place.take(block.block.cells.take(of_block))
            design[at], left[at] = means[of_block, :-1] @ root[block.terms], means[of_block, -1]
        share, row = 1 / np.sqrt(cells.n.take(cell)), place.take(cell)
        scaled += design.take(row, axis=0) * share[:, None]
        residual += left.take(row) * share
    riders = np.flatnonzero(much)
    for some, places in stacks_of_riders(np.cumsum(much)[rider.take(cell)] - 1):
        none = places < 0
        stack = scaled.take(np.where(none, 0, places).ravel(), axis=0).reshape(*places.shape, -1)
        stack[none] = 0.0
        yield riders[some], stack, np.where(none, 0.0, residual[places])
