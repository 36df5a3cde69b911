"""Riders divided into blocks: a rider meets the columns of its own levels alone, and those of a block meet the same few.

Of a design with many columns, a rider's cells fill few: its supports at the levels of its own feet, and what is common to all.
Riders whose cells are at the same levels make a block, in which every sum and product is over the block's own columns.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from shared.statistics.mixed.cells import Cells, Floats, Ints
from shared.statistics.mixed.riders import Grouped, grouped

# Fewer riders than this at the same levels share a block with others: many small products cost more than a wider one.
_RIDERS_OF_A_BLOCK = 700
# Of more riders the numbers of a block would not stay near the processor from one product to the next.
_MOST_RIDERS = 4000


@dataclass(frozen=True)
class Part:
    """The riders with cells at one level, as places in their block (h,), ascending, and their packed products (h, pairs);
    cells: those cells, as places in the block."""

    level: int
    riders: Ints
    cells: Ints
    products: Floats

    @cached_property
    def total(self) -> Floats:
        """The products summed over all riders (pairs,)."""
        return np.asarray(self.products.sum(axis=0))


@dataclass(frozen=True)
class Block:
    """riders (g,): codes, by shape and kind; cells (c,): places, rider after rider; starts (g + 1,): where each rider's begin;
    kinds: of each shape with riders here, its place among all shapes and their kinds, in the riders' order."""

    riders: Ints
    cells: Ints
    starts: Ints
    kinds: tuple[tuple[int, Ints], ...]
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Division:
    """The riders of cells, grouped by kind, and the blocks that hold each of them once."""

    riders: Grouped
    blocks: tuple[Block, ...]


def divided(cells: Cells, level: Ints, n_levels: int) -> Division:
    """The division by the levels (cells,) at which each rider has cells."""
    riders = grouped(cells.rider, cells.knee, cells.visit, cells.n)
    block_of = _blocks_of(riders.rider, level, n_levels, len(riders.labels))
    return Division(riders, tuple(_made(cells, level, riders, block_of, block) for block in range(int(block_of.max()) + 1)))


def _blocks_of(rider: Ints, level: Ints, n_levels: int, n_riders: int) -> Ints:
    """The block of each rider (riders,)."""
    if n_levels == 1 or n_riders < 2 * _RIDERS_OF_A_BLOCK:
        return _cut(np.zeros(n_riders, dtype=np.int64))
    has = np.zeros((n_riders, n_levels), dtype=bool)
    has[rider, level] = True
    key = has @ (np.int64(1) << np.arange(n_levels - 1, -1, -1))
    patterns, code, count = np.unique(key, return_inverse=True, return_counts=True)
    block_of, n_blocks = np.full(len(patterns), -1), 0
    # Patterns that begin alike follow one another: the small ones are put together in this order.
    for place in np.flatnonzero(count >= _RIDERS_OF_A_BLOCK):
        block_of[place] = n_blocks
        n_blocks += 1
    room = 0
    for place in np.flatnonzero(block_of < 0):
        if room <= 0:
            room, n_blocks = _RIDERS_OF_A_BLOCK, n_blocks + 1
        block_of[place] = n_blocks - 1
        room -= int(count[place])
    return _cut(block_of[code])


def _cut(block_of: Ints) -> Ints:
    """Blocks of the riders (riders,) with those of too many riders cut into several, as even as may be."""
    order = np.argsort(block_of, kind="stable")
    sizes = np.bincount(block_of)
    pieces = -(-sizes // _MOST_RIDERS)
    first, begun = np.cumsum(sizes) - sizes, np.cumsum(pieces) - pieces
    own = block_of[order]
    found = np.empty(len(block_of), dtype=np.int64)
    found[order] = begun[own] + (np.arange(len(own)) - first[own]) * pieces[own] // sizes[own]
    return found


def _made(cells: Cells, level: Ints, riders: Grouped, block_of: Ints, block: int) -> Block:
    codes, places, sizes, kinds = [], [], [], []
    for index, shape in enumerate(riders.shapes):
        here = np.flatnonzero(block_of.take(shape.rider) == block)
        if len(here):
            codes.append(shape.rider.take(here))
            places.append(shape.cells.take(here, axis=0).ravel())
            sizes.append(np.full(len(here), shape.cells.shape[1]))
            kinds.append((index, shape.kind.take(here)))
    own, of_riders = np.concatenate(places), np.concatenate(codes)
    starts = np.append(0, np.cumsum(np.concatenate(sizes)))
    rider_of_cell = np.repeat(np.arange(len(of_riders)), np.diff(starts))
    own_level = level.take(own)
    parts = []
    for value in np.flatnonzero(np.bincount(own_level)):
        here = np.flatnonzero(own_level == value)
        rider = rider_of_cell.take(here)
        first = np.r_[True, rider[1:] != rider[:-1]]
        products = cells.products_by(np.cumsum(first) - 1, int(first.sum()), own.take(here))
        parts.append(Part(int(value), rider[first], here, products))
    return Block(of_riders, own, starts, tuple(kinds), tuple(parts))
