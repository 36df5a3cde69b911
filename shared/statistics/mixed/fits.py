"""Both effect models from cells, a knee in one visit, for any number of captures."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse
from scipy.linalg import solve_triangular

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics.clustered.cr2 import root_of
from shared.statistics.cross_products import cross_product
from shared.statistics.estimability import demeaned, independent_of_products, ties, ties_of_products, triangle
from shared.statistics.mixed.answers import MixedFit, WithinFit
from shared.statistics.mixed.cells import (
    Cells,
    Flags,
    Floats,
    Terms,
    cell_moments,
    mean_columns,
    row_design,
    upper,
    within_products,
)
from shared.statistics.mixed.reml import Criterion, best_ratios, left_over, means_of, weights_of
from shared.statistics.mixed.riders import Grouped, grouped
from shared.statistics.mixed.sandwich import Whitened, cr2_of_cells
from shared.statistics.wording import counted

# Squared length, columns scaled to one, of a direction of the design that cross products cannot tell from rounding.
_NEAR = 1e-9
# Residual sum of squares beside the total: below the first share cross products are mostly rounding and rows are asked, below
# the second nothing but rounding is left in the rows.
_MOSTLY, _EXPLAINED = 1e-9, 1e-18
# A column's squares about its mean beside its squares: above this share no rounding makes them.
_SURELY = 1e-6


@dataclass(frozen=True)
class _Turned:
    """Cells and terms that cross products serve, and the way back: the terms told are start + back x the columns' estimate,
    back (p, q); products (q + 1, q + 1) of the columns and, last, the outcome; basis (q, q) makes the columns orthonormal."""

    cells: Cells
    terms: Terms
    start: Floats
    back: Floats
    products: Floats
    basis: Floats


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


def fit_within_cells(cells: Cells, terms: Terms, wanted: Flags | None = None) -> WithinFit:
    """Least squares of the outcome on the varying columns, both less their cells' means; terms: varying columns alone.

    Cells of one row drop out. Standard errors: CR2 by rider with Satterthwaite degrees of freedom; the absorbed means are
    nested in the riders and cost nothing there. wanted (p,): terms whose degrees of freedom are asked for, all where None.
    Raises TooFewError for fewer than two riders with a knee recorded twice and NotEstimableError where a term never changes
    within a knee or is tied to another.
    Source: fixed-effects ("within") estimator, Wooldridge 2010, Econometric Analysis of Cross Section and Panel Data, ch. 10;
    nested means: Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672. Not for effects of what never changes in a session.
    """
    repeated = cells.n > 1
    codes, labels = cells.riders
    compared = np.bincount(codes, weights=repeated, minlength=len(labels)) > 0
    n_riders, n_rows, n_knees = int(compared.sum()), int(cells.n[repeated].sum()), int(repeated.sum())
    if n_riders < 2:
        raise TooFewError(f"Not enough yet: {n_riders} rider with a knee recorded twice; a comparison within knees needs 2.")
    if n_rows - n_knees - len(terms.names) < 1:
        raise TooFewError(f"Not enough yet: {n_rows} captures of {n_knees} knees for {len(terms.names)} terms.")
    products = within_products(terms)
    turned = _served(cells, terms, products, within=True)
    estimate, squares = _least_squares(turned)
    asked = np.ones(len(terms.names), dtype=bool) if wanted is None else wanted
    fit = Whitened(turned.basis, turned.back @ turned.basis, estimate)
    # A rider with no knee recorded twice adds nothing.
    sandwich = cr2_of_cells(turned.cells, turned.terms, codes, fit, asked)
    return WithinFit(
        terms=terms.names,
        estimate=turned.start + turned.back @ estimate,
        robust_covariance=sandwich.covariance,
        df=sandwich.df,
        residual_variance=squares / (n_rows - n_knees - len(estimate)),
        n_rows=n_rows,
        n_knees=n_knees,
        n_riders=n_riders,
        riders=labels[compared],
        influence=sandwich.influence[compared],
    )


def fit_mixed_cells(cells: Cells, terms: Terms, wanted: Flags, begun: Mapping[str, float] | None = None) -> MixedFit:
    """REML fit with random intercepts for rider, knee and visit; a knee and a visit count within their rider.

    A term whose column is the same in all rows is left out, the intercept aside, and so is one that is a combination of the
    terms before it. wanted (p,): terms whose degrees of freedom are asked for; the others' are NaN. begun: ratios of rider,
    knee and visit near the optimum, where they are known, for a shorter search to the same answer.
    Standard errors: CR2 by rider, Satterthwaite degrees of freedom. Raises TooFewError for fewer than two riders or too few
    rows, NotEstimableError where a value is missing or terms are tied, NoConvergenceError where the search does not settle.
    Source: Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, ch. 2. Not for outcomes that are counts or shares.
    """
    n_rows, n_riders = int(cells.n.sum()), len(cells.riders[1])
    new = _new(terms)
    terms, wanted = terms.kept(new), wanted[new]
    columns = mean_columns(cells, terms) * np.sqrt(cells.n)[:, None]
    within = within_products(terms)
    products = within + cross_product(columns, columns)
    if not np.isfinite(products).all():
        raise NotEstimableError("No figure: a value is missing among the rows of the pooled model. Leave such rows out first.")
    is_intercept = np.array([name == "intercept" for name in terms.names])
    told = is_intercept | _varies(cells, columns, within, products, is_intercept)
    told[told] = independent_of_products(_of(products, told)[:-1, :-1])
    terms, wanted = terms.kept(told), wanted[told]
    if n_riders < 2 or n_rows <= len(terms.names) + 1:
        found = f"{counted(n_rows, 'capture')} of {counted(n_riders, 'rider')} for {counted(len(terms.names), 'term')}"
        raise TooFewError(f"Not enough yet: {found}.")
    del columns  # long, and read no more
    turned = _served(cells, terms, _of(products, told))
    return _fitted(turned, terms.names, wanted, begun)


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


def _served(cells: Cells, terms: Terms, products: Floats, *, within: bool = False) -> _Turned:
    """The cells as they are, or, where cross products cannot tell what is left from rounding, with columns that were made
    orthonormal and an outcome less its least squares, row by row. Raises NotEstimableError, NoConvergenceError."""
    p, basis = len(terms.names), triangular_basis(products[:-1, :-1])
    if basis is not None:
        plain = _Turned(cells, terms, np.zeros(p), np.eye(p), products, basis)
        if _least_squares(plain)[1] > _MOSTLY * products[-1, -1]:
            return plain
    design, y = row_design(cells, terms)
    if within:
        cell = np.repeat(np.arange(len(cells.n)), cells.n)
        design, y = demeaned(design, cell), demeaned(y[:, None], cell)[:, 0]
    _refuse_tied(ties(design, terms.names), within)
    length = np.sqrt((design**2).sum(axis=0))
    back = np.linalg.inv(triangle(design / length)) / length[:, None]
    rows = design @ back
    start = rows.T @ y
    left = y - rows @ start
    correction = rows.T @ left
    left -= rows @ correction
    if not within and float(left @ left) <= _EXPLAINED * float(y @ y):
        raise NoConvergenceError(f"No figure: the terms explain all {len(y)} captures without a rest. Leave terms out.")
    table = np.column_stack([rows, left])

    def some(chosen: Flags | None) -> Floats:
        return table.copy() if chosen is None else table[np.repeat(chosen, cells.n)]

    mean, own = cell_moments(np.ascontiguousarray(table.T), cells.n)
    made = replace(cells, mean=mean[:, :-1], outcome=mean[:, -1], all_products=own, places=np.arange(len(cells.n)), rows=some)
    level = np.zeros(len(cells.n), dtype=np.int64)
    return _Turned(
        made, Terms.of(made, terms.names, level, np.arange(p)[None]), back @ (start + correction), back,
        table.T @ table, np.eye(p),
    )  # fmt: skip


def _refuse_tied(tied: Mapping[str, tuple[str, ...]], within: bool) -> None:
    if tied and within:
        raise NotEstimableError(f"Not estimable within a knee: {', '.join(tied)}. Leave these terms out.")
    if tied:
        named = "; ".join(
            f"{term} is made up of {', '.join(others)}" if others else f"{term} is zero throughout"
            for term, others in tied.items()
        )
        raise NotEstimableError(f"Not estimable: {named}. Leave one of them out.")


def triangular_basis(products: Floats) -> Floats | None:
    """The matrix (p, p) that makes columns with these cross products orthonormal; None where they are too near singular."""
    length = np.sqrt(np.diag(products))
    if not length.all():
        return None
    try:
        factor = np.linalg.cholesky(products / np.outer(length, length))
    except np.linalg.LinAlgError:
        return None
    if np.diag(factor).min(initial=1.0) ** 2 < _NEAR:
        return None
    return np.asarray(solve_triangular(factor, np.eye(len(factor)), lower=True).T / length[:, None])


def _least_squares(turned: _Turned) -> tuple[Floats, float]:
    """The estimate (q,) and the sum of squares that it leaves."""
    estimate = turned.basis @ (turned.basis.T @ turned.products[:-1, -1])
    contrast = np.append(-estimate, 1.0)
    return estimate, float(contrast @ turned.products @ contrast)


def _fitted(turned: _Turned, names: tuple[str, ...], wanted: Flags, begun: Mapping[str, float] | None) -> MixedFit:
    cells, terms, basis = turned.cells, turned.terms, turned.basis
    riders = grouped(cells.rider, cells.knee, cells.visit, cells.n)
    n_rows, p = int(cells.n.sum()), len(names)
    estimate, squares = _least_squares(turned)
    scale = float(np.sqrt(squares / (n_rows - p)))
    turning = np.zeros((p + 1, p + 1))
    turning[:p, :p], turning[:p, p], turning[p, p] = basis, -estimate / scale, 1 / scale
    means = mean_columns(cells, terms) @ turning
    within = turning.T @ within_products(terms) @ turning
    at = Criterion(tuple(riders.names), within, means_of(riders, means), n_rows - p)
    refusal = (
        f"No figure: the pooled model did not settle on an answer in {n_rows} captures of {len(riders.labels)} riders. "
        "Widen the selection."
    )
    ratios, value, factor = best_ratios(at, riders.names, refusal, begun)
    inverse = solve_triangular(factor[:p, :p], np.eye(p), lower=True)
    change, bread = -left_over(factor)[:p], np.asarray(inverse.T @ inverse)
    residual = float(factor[p, p] ** 2 / (n_rows - p)) * scale**2
    estimate = estimate + basis @ change * scale
    told, root, whitening = turned.back @ basis, root_of(bread), _whitening(riders, ratios)
    left = whitening @ ((means[:, p] - means[:, :p] @ change) * scale)
    means = means[:, :p] @ root  # long: nothing of it is kept twice
    fit = Whitened(basis @ root, told @ root, estimate, whitening @ means, left)
    del means
    sandwich = cr2_of_cells(cells, terms, riders.rider, fit, wanted)
    degrees = n_rows - p
    constant = degrees * (np.log(2 * np.pi * scale**2 / degrees) + 1) / 2 - float(np.linalg.slogdet(told)[1])
    return MixedFit(
        terms=names,
        estimate=turned.start + turned.back @ estimate,
        model_covariance=told @ bread @ told.T * residual,
        robust_covariance=sandwich.covariance,
        df=sandwich.df,
        variance_rider=ratios.get("rider", 0.0) * residual,
        variance_knee=ratios.get("knee", 0.0) * residual,
        variance_visit=ratios.get("visit", 0.0) * residual,
        variance_residual=residual,
        loglik=float(-value - constant),
        n_rows=n_rows,
        n_riders=len(riders.labels),
        riders=riders.labels,
        influence=sandwich.influence,
    )


def _whitening(riders: Grouped, ratios: Mapping[str, float]) -> sparse.csr_array:
    """The matrix (cells, cells) that makes of the cells' means independent ones of unit variance; their cross products are
    those by K."""
    roots, to, of = [], [], []
    for shape in riders.shapes:
        factor = np.linalg.cholesky(weights_of(shape, ratios)[0]).transpose(0, 2, 1)
        roots.append(factor[shape.kind].ravel())
        to.append(np.repeat(shape.cells, shape.cells.shape[1]))
        of.append(np.tile(shape.cells, shape.cells.shape[1]).ravel())
    n_cells = len(riders.rider)
    return sparse.csr_array((np.concatenate(roots), (np.concatenate(to), np.concatenate(of))), shape=(n_cells, n_cells))
