"""The terms of a model over cells: which columns they have at each level, and what is summed by level once for both models."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from shared.statistics.mixed.blocks import Block, Division, divided
from shared.statistics.mixed.cells import Cells, Flags, Floats, Ints, full


@dataclass(frozen=True)
class Levels:
    """level (cells,): that of each of the cells, 0 to n_levels - 1. Both models of one outcome share this."""

    cells: Cells
    level: Ints
    n_levels: int

    @cached_property
    def division(self) -> Division:
        """The riders divided by their levels, made once."""
        return divided(self.cells, self.level, self.n_levels)


@dataclass(frozen=True)
class Terms:
    """Where the columns stand among the terms of a model.

    names (p,); places (levels, v): the term of each varying column in cells of that level, -1 for none; constant (cells, k):
    the columns that are the same throughout a cell, whose terms are the last k.
    """

    names: tuple[str, ...]
    places: Ints
    constant: Floats
    levels: Levels

    @classmethod
    def of(cls, cells: Cells, names: tuple[str, ...], level: Ints, places: Ints, constant: Floats | None = None) -> "Terms":
        none = np.empty((len(cells.n), 0))
        return cls(names, places, none if constant is None else constant, Levels(cells, level, len(places)))

    @property
    def level(self) -> Ints:
        """The level of each cell (cells,)."""
        return self.levels.level

    def with_constant(self, names: tuple[str, ...], constant: Floats) -> "Terms":
        """These terms, and after them others whose columns (cells, k) are the same throughout a cell."""
        return replace(self, names=(*self.names, *names), constant=constant)

    def kept(self, told: Flags) -> "Terms":
        """The terms where `told` (p,) is true."""
        if told.all():
            return self
        new_place = np.append(np.where(told, np.cumsum(told) - 1, -1), -1)
        names = tuple(name for name, keep in zip(self.names, told, strict=True) if keep)
        of_constant = told[len(told) - self.constant.shape[1] :]
        constant = self.constant if of_constant.all() else self.constant[:, of_constant]
        return replace(self, names=names, places=new_place[self.places], constant=constant)


@dataclass(frozen=True)
class Columns:
    """What a block has of a model's terms: their places (w,) among all; of_part: for each part of the block, of its varying
    columns (v,) the places among these, -1 for none."""

    block: Block
    terms: Ints
    of_part: tuple[Ints, ...]


def columns_of(terms: Terms) -> list[Columns]:
    """What each block has of the terms; of the columns that are the same throughout a cell, those that are not zero there."""
    p, k = len(terms.names), terms.constant.shape[1]
    flags, found = (terms.constant != 0).view(np.uint8), []
    for block in terms.levels.division.blocks:
        has = np.zeros(p, dtype=bool)
        for part in block.parts:
            places = terms.places[part.level]
            has[places[places >= 0]] = True
        has[p - k :] = flags.take(block.cells, axis=0).any(axis=0)
        local = np.append(np.where(has, np.cumsum(has) - 1, -1), -1)
        of_part = tuple(local[terms.places[part.level]] for part in block.parts)
        found.append(Columns(block, np.flatnonzero(has), of_part))
    return found


def means_of(cells: Cells, terms: Terms) -> list[tuple[Columns, Floats]]:
    """By block, its columns and the means of its cells, of these and, last, of the outcome (c, w + 1)."""
    p, k = len(terms.names), terms.constant.shape[1]
    # Rows of one piece are taken far sooner; of others everything is copied first, block by block.
    varying, constant = np.ascontiguousarray(cells.mean), np.ascontiguousarray(terms.constant)
    outcome, found = np.ascontiguousarray(cells.outcome), []
    for columns in columns_of(terms):
        block = columns.block
        means = np.zeros((len(block.cells), len(columns.terms) + 1))
        own = columns.terms[columns.terms >= p - k]
        means[:, len(columns.terms) - len(own) : -1] = constant.take(block.cells, axis=0)[:, own - (p - k)]
        means[:, -1] = outcome.take(block.cells)
        mean = varying.take(block.cells, axis=0)
        for part, places in zip(block.parts, columns.of_part, strict=True):
            kept = np.flatnonzero(places >= 0)
            if len(block.parts) == 1:
                means[:, places[kept]] = mean[:, kept]
            else:
                means[part.cells[:, None], places[kept]] = mean[part.cells[:, None], kept]
        found.append((columns, means))
    return found


def within_products(terms: Terms) -> Floats:
    """Cross products (p + 1, p + 1) of the terms and, last, the outcome, less their cells' means."""
    p, v = len(terms.names), terms.places.shape[1]
    found = np.zeros((p + 2, p + 2))
    for block in terms.levels.division.blocks:
        for part in block.parts:
            places = terms.places[part.level]
            at = np.append(np.where(places < 0, p + 1, places), p)
            found[np.ix_(at, at)] += full(part.total, v + 1)
    return found[: p + 1, : p + 1]


def spread(columns: Columns, local: Floats, of_all: Floats) -> None:
    """Adds a block's cross products (w + 1, w + 1) to those of all terms and the outcome (p + 1, p + 1)."""
    at = np.append(columns.terms, len(of_all) - 1)
    of_all[np.ix_(at, at)] += local


def row_design(cells: Cells, terms: Terms, chosen: Flags | None = None) -> tuple[Floats, Floats]:
    """The design (n, p) and the outcome (n,) row by row, of the chosen cells."""
    rows = cells.rows(chosen)
    picked = np.arange(len(cells.n)) if chosen is None else np.flatnonzero(chosen)
    p, k = len(terms.names), terms.constant.shape[1]
    cell = np.repeat(picked, cells.n[picked])
    design = np.zeros((len(rows), p))
    design[:, p - k :] = terms.constant.take(cell, axis=0)
    for level, places in enumerate(terms.places):
        kept = np.flatnonzero(places >= 0)
        if len(terms.places) == 1:
            design[:, places[kept]] = rows[:, kept]
        else:
            here = np.flatnonzero(terms.level.take(cell) == level)
            design[here[:, None], places[kept]] = rows[here][:, kept]
    return design, rows[:, -1]
