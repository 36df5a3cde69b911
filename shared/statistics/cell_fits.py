"""Both effect models from cells, a knee in one visit: the answers of fast_mixed and within_knee for any number of captures."""

from collections.abc import Mapping

import numpy as np
from scipy.linalg import cho_solve, solve_triangular

from shared.statistics.cell_sandwich import Whitened, cr2_of_cells
from shared.statistics.cells import (
    Cells,
    Flags,
    Floats,
    Terms,
    mean_columns,
    row_design,
    upper,
    within_products,
)
from shared.statistics.estimability import demeaned, independent_of_products, ties, ties_of_products
from shared.statistics.fast_mixed import (
    Prepared,
    by_level,
    fit_mixed_model_fast,
    layout_of,
    mixed_fit,
    settle,
    triangular_basis,
)
from shared.statistics.many_riders import MANY, fit_many
from shared.statistics.many_sandwich import sandwich_of_many, within_sandwich_of_many
from shared.statistics.mixed_model import MixedFit
from shared.statistics.rider_blocks import Blocks, indicator, rider_blocks, runs_of_cells, told_apart
from shared.statistics.rider_sandwich import JOINT_UP_TO
from shared.statistics.small_matrices import cross_product
from shared.statistics.whitening import whitened_cells
from shared.statistics.within_knee import WithinFit, fit_within_knee, refuse_few

# Residual sum of squares beside the total: below this share cross products are mostly rounding, and rows are asked.
_EXPLAINED = 1e-9
# A column's squares about its mean beside its squares: above this share no rounding makes them.
_SURELY = 1e-6


def within_ties(cells: Cells, terms: Terms) -> dict[str, tuple[str, ...]]:
    """estimability.not_estimable of the terms, from cells: those that differences within cells cannot estimate."""
    products = within_products(terms)[:-1, :-1]

    def surely(doubtful: Flags) -> dict[str, tuple[str, ...]]:
        own = terms.kept(doubtful)
        here = _varying(cells, own)
        design, _ = row_design(cells, own, here)
        return ties(demeaned(design, np.repeat(np.arange(int(here.sum())), cells.n[here])), own.names)

    return ties_of_products(products, terms.names, surely)


def _varying(cells: Cells, terms: Terms) -> Flags:
    """The cells in which a term varies (cells,)."""
    v = cells.n_varying
    rows, columns = upper(v + 1)
    squares = cells.all_products[:, np.flatnonzero(rows == columns)[:v]].take(cells.places, axis=0)
    told = (terms.places >= 0)[terms.level] if len(terms.places) > 1 else terms.places >= 0
    return np.asarray(((squares > 0) & told).any(axis=1))


def fit_within_cells(cells: Cells, terms: Terms) -> WithinFit:
    """within_knee.fit_within_knee of the cells' rows; terms: varying columns alone. The same errors are raised.

    Up to JOINT_UP_TO riders by their rows, the very same; beyond, the degrees of freedom leave out what ties riders to one
    another, as in the pooled model.
    """
    repeated = cells.n > 1
    rider, labels = cells.riders
    compared = np.bincount(rider, weights=repeated, minlength=len(labels)) > 0
    n_riders, n_rows, n_knees = int(compared.sum()), int(cells.n[repeated].sum()), int(repeated.sum())
    products = within_products(terms)
    if n_riders <= JOINT_UP_TO or (factor := _factor(products[:-1, :-1])) is None:
        design, y = row_design(cells, terms)
        knee = np.repeat(np.arange(len(cells.n)), cells.n)
        return fit_within_knee(y, design, terms.names, knee, np.repeat(cells.rider, cells.n))
    refuse_few(n_rows, n_knees, n_riders, len(terms.names))
    estimate = cho_solve((factor, True), products[:-1, -1])
    squares = float(products[-1, -1] - products[:-1, -1] @ estimate)
    basis = np.asarray(solve_triangular(factor, np.eye(len(estimate)), lower=True)).T
    fit = Whitened(basis, np.eye(len(estimate)), estimate)
    # A rider with no knee recorded twice adds nothing.
    if n_riders >= MANY:
        sandwich = within_sandwich_of_many(cells, terms, fit)
    else:
        sandwich = cr2_of_cells(cells, terms, rider, fit, np.ones(len(estimate), dtype=bool))
    return WithinFit(
        terms=terms.names,
        estimate=estimate,
        robust_covariance=sandwich.covariance,
        df=sandwich.df,
        residual_variance=squares / (n_rows - n_knees - len(estimate)),
        n_rows=n_rows,
        n_knees=n_knees,
        n_riders=n_riders,
        riders=labels[compared],
        influence=sandwich.influence[compared],
    )


def _factor(products: Floats) -> Floats | None:
    """Lower Cholesky factor; None where the columns are tied, or too near to it to tell from cross products."""
    basis = triangular_basis(products, np.sqrt(np.diag(products)))
    return None if basis is None else np.asarray(np.linalg.cholesky(products))


def fit_mixed_cells(cells: Cells, terms: Terms, wanted: Flags, begun: Mapping[str, float] | None = None) -> MixedFit:
    """fast_mixed.fit_mixed_model_fast of the cells' rows with intercepts for rider, knee and visit; the same errors are raised.

    A term whose column is the same in all rows is left out, the intercept aside, and so is one that is a combination of the
    terms before it. wanted (p,): terms whose degrees of freedom are asked for; the others' are NaN.
    begun: as in fit_mixed_model_fast; many riders have their sample's.
    """
    new = _new(terms)
    terms, wanted = terms.kept(new), wanted[new]
    columns, within = mean_columns(cells, terms), within_products(terms)
    columns *= np.sqrt(cells.n)[:, None]
    products = within + cross_product(columns, columns)
    is_intercept = np.array([name == "intercept" for name in terms.names])
    told = is_intercept | _varies(cells, columns, within, products, is_intercept)
    told[told] = independent_of_products(_of(products, told)[:-1, :-1])
    products = _of(products, told)
    n_rows, n_riders = int(cells.n.sum()), len(cells.riders[1])
    basis = None
    if n_riders > JOINT_UP_TO and n_rows > len(products) and np.isfinite(products).all():
        basis = triangular_basis(products[:-1, :-1], np.sqrt(np.diag(products)[:-1]))
    if basis is None or _rest(basis, products)[1] <= _EXPLAINED * products[-1, -1]:
        return _fitted_by_rows(cells, terms.kept(told), wanted[told], begun)
    if n_riders >= MANY:
        own = columns if told.all() else columns[:, np.append(told, True)]
        if found := _fitted_of_many(cells, terms.kept(told), wanted[told], own, _of(within, told), products):
            return found
    columns /= np.sqrt(cells.n)[:, None]
    return _fitted(cells, terms.varying(told), wanted[told], columns, told, products, basis, begun)


def _new(terms: Terms) -> Flags:
    """Which terms are not the very column of one before, among those that are the same throughout a cell."""
    k = terms.constant.shape[1]
    columns, first = terms.constant.T, len(terms.names) - k
    sums = columns.sum(axis=1)
    new = np.ones(len(terms.names), dtype=bool)
    for place in range(k):
        alike = np.flatnonzero(sums[:place] == sums[place])
        repeated = any(np.array_equal(columns[place], columns[other]) for other in alike)
        new[first + place] = terms.names[first + place] == "intercept" or not repeated
    return new


def _fitted_by_rows(cells: Cells, terms: Terms, wanted: Flags, begun: Mapping[str, float] | None) -> MixedFit:
    rows, y = row_design(cells, terms)
    codes = (np.repeat(own, cells.n) for own in (cells.rider, cells.knee, cells.visit))
    return fit_mixed_model_fast(y, rows, terms.names, *codes, wanted=wanted, begun=begun)


def _of(products: Floats, told: Flags) -> Floats:
    """The cross products of the told terms and the outcome."""
    kept = np.append(told, True)
    return np.asarray(products[np.ix_(kept, kept)])


def _varies(cells: Cells, columns: Floats, within: Floats, products: Floats, is_intercept: Flags) -> Flags:
    """Which terms' columns are not the same in all rows; what is left of a constant one after its mean is rounding."""
    varies = np.asarray(np.diag(within)[:-1] > 0)
    squares, n_rows = np.diag(products)[:-1], float(cells.n.sum())
    ones = np.flatnonzero(is_intercept)
    sums = products[ones[0], :-1] if len(ones) else np.sqrt(cells.n) @ columns[:, :-1]
    surely = squares - sums**2 / n_rows > _SURELY * squares
    varies |= surely
    for term in np.flatnonzero(~varies & (squares > 0)):
        column = columns[:, term] / np.sqrt(cells.n)
        low, high = float(column.min()), float(column.max())
        varies[term] = high - low > 1e-12 * max(abs(low), abs(high))
    return varies


def _fitted(
    cells: Cells, terms: Terms, wanted: Flags, means: Floats, told: Flags, products: Floats, basis: Floats,
    begun: Mapping[str, float] | None,
) -> MixedFit:  # fmt: skip
    runs = runs_of_cells(cells.rider, cells.knee, cells.visit, cells.n)
    names = told_apart(runs)
    blocks = rider_blocks(runs, names)
    n_rows = int(cells.n.sum())
    prepared = _prepared(cells, blocks, means, told, products, basis)
    settled = settle(blocks, prepared, names, n_rows, begun, f"in {n_rows} captures of {len(runs.riders)} riders")
    ratios = by_level(layout_of(blocks, frozenset(settled.ratios)), settled.ratios)
    whitened = whitened_cells(blocks, cells.n, prepared.sums, ratios)
    estimate = prepared.start + basis @ settled.change * prepared.scale
    fit = Whitened(basis, settled.covariance, estimate, whitened, settled.change, prepared.scale)
    sandwich = cr2_of_cells(cells, terms, runs.rider, fit, wanted)
    return mixed_fit(terms.names, prepared, settled, sandwich, n_rows, runs.riders)


def _fitted_of_many(
    cells: Cells, terms: Terms, wanted: Flags, columns: Floats, within: Floats, products: Floats
) -> MixedFit | None:
    """The same for many riders; None where that does not serve."""
    fit = fit_many(cells, terms, columns, within, products)
    if fit is None:
        return None
    sandwich = sandwich_of_many(cells, terms, fit, columns, wanted)
    n_rows, riders = int(cells.n.sum()), cells.riders[1]
    degrees = n_rows - len(terms.names)
    residual = fit.squares / degrees
    likelihood = fit.logdets + degrees * (np.log(2 * np.pi * residual) + 1)
    rider, knee, visit = (float(ratio) * residual for ratio in fit.ratios)
    return MixedFit(
        terms.names, fit.estimate, fit.bread * residual, sandwich.covariance, sandwich.df, rider, knee, visit, residual,
        float(-likelihood / 2), n_rows, len(riders), riders, sandwich.influence,
    )  # fmt: skip


def _rest(basis: Floats, products: Floats) -> tuple[Floats, float]:
    """The least-squares estimate (p,) and the sum of squares that it leaves."""
    start = basis @ (basis.T @ products[:-1, -1])
    contrast = np.append(-start, 1.0)
    return start, float(contrast @ products @ contrast)


def _prepared(cells: Cells, blocks: Blocks, means: Floats, told: Flags, products: Floats, basis: Floats) -> Prepared:
    """The sums of the model at speed, from cells: in one product of the cells' means of all terms and the outcome."""
    start, squares = _rest(basis, products)
    scale = float(np.sqrt(squares / (int(cells.n.sum()) - len(start))))
    p = len(start)
    turning = np.zeros((len(told) + 1, p + 1))
    turning[np.flatnonzero(told), :p] = basis
    turning[np.flatnonzero(told), p] = -start / scale
    turning[-1, p] = 1 / scale
    both = means @ turning
    both *= cells.n[:, None]
    slots = len(blocks.levels[0].unit_class) * blocks.n_slots
    sums = (indicator(blocks.cell, slots) @ both).reshape(-1, blocks.n_slots, p + 1)
    none = np.empty(0)
    return Prepared(basis, start, scale, none, squares / scale**2, sums, -float(np.linalg.slogdet(basis)[1]))
