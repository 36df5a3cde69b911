"""The two effect models asked by rows: each knee's visit becomes a cell, and every column one that varies within it."""

import numpy as np
from numpy.typing import NDArray

from shared.statistics.grouping import dense
from shared.statistics.mixed.answers import MixedFit, WithinFit
from shared.statistics.mixed.cells import Cells, cell_moments
from shared.statistics.mixed.fits import fit_mixed_cells, fit_within_cells
from shared.statistics.mixed.terms import Terms

Floats = NDArray[np.float64]
Labels = NDArray[np.generic]


def cells_of(outcome: Floats, design: Floats, terms: tuple[str, ...], *labels: Labels) -> tuple[Cells, Terms]:
    """The cells of rows with the same labels of rider, knee and visit, each (n,), rows in any order."""
    codes = np.column_stack([dense(own)[0] for own in labels])
    kinds, cell = np.unique(codes, axis=0, return_inverse=True)
    order = np.argsort(cell, kind="stable")
    table = np.column_stack([design, outcome]).astype(float)[order]
    n = np.bincount(cell, minlength=len(kinds))
    first = np.cumsum(n) - n
    rider, knee, visit = (own[order][first] if len(n) else own for own in labels)

    def rows(chosen: NDArray[np.bool_] | None) -> Floats:
        return table.copy() if chosen is None else table[np.repeat(chosen, n)]

    mean, products = cell_moments(np.ascontiguousarray(table.T), n)
    cells = Cells(rider, knee, visit, n, mean[:, :-1], mean[:, -1], products, np.arange(len(n)), rows)
    return cells, Terms.of(cells, terms, np.zeros(len(n), dtype=np.int64), np.arange(len(terms))[None])


def fit_rows(
    outcome: Floats,
    design: Floats,
    terms: tuple[str, ...],
    rider: Labels,
    knee: Labels | None = None,
    visit: Labels | None = None,
) -> MixedFit:
    """The pooled model; no knee or no visit leaves that intercept out."""
    cells, own = cells_of(outcome, design, terms, rider, rider if knee is None else knee, rider if visit is None else visit)
    return fit_mixed_cells(cells, own, np.ones(len(terms), dtype=bool))


def fit_within_rows(outcome: Floats, design: Floats, terms: tuple[str, ...], session_knee: Labels, rider: Labels) -> WithinFit:
    """Each session-knee as its own control."""
    return fit_within_cells(*cells_of(outcome, design, terms, rider, session_knee, session_knee))
