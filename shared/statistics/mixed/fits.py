"""Both effect models from cells, a knee in one visit, for any number of captures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics.cross_products import cross_product
from shared.statistics.estimability import demeaned, independent_of_products, ties, ties_of_products, triangle
from shared.statistics.mixed.answers import MixedFit, WithinFit
from shared.statistics.mixed.cells import Cells, Flags, Floats, cell_moments
from shared.statistics.mixed.reml import Criterion, Kinds, Means, best_ratios, left_over
from shared.statistics.mixed.sandwich import Whitened, cr2_of_cells
from shared.statistics.mixed.terms import Columns, Terms, columns_of, means_of, row_design, spread, within_products
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
    """The cells of riders in whose cells a term varies (cells,)."""
    told = (terms.places >= 0)[terms.level] if len(terms.places) > 1 else terms.places >= 0
    codes, labels = cells.riders
    varies = np.zeros(len(labels), dtype=bool)
    varies[codes[((cells.squares > 0) & told).any(axis=1)]] = True
    return np.asarray(varies[codes])


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
    fit = Whitened(turned.basis @ turned.basis.T, turned.back, estimate)
    # A rider with no knee recorded twice adds nothing.
    sandwich = cr2_of_cells(turned.cells, turned.terms, columns_of(turned.terms), fit, asked)
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
    within, means = within_products(terms), means_of(cells, terms)
    products = within + _products(cells, means, len(terms.names))
    if not np.isfinite(products).all():
        raise NotEstimableError("No figure: a value is missing among the rows of the pooled model. Leave such rows out first.")
    is_intercept = np.array([name == "intercept" for name in terms.names])
    told = is_intercept | _varies(means, within, products, is_intercept, float(cells.n.sum()))
    told[told] = independent_of_products(_of(products, told)[:-1, :-1])
    terms, wanted = terms.kept(told), wanted[told]
    if n_riders < 2 or n_rows <= len(terms.names) + 1:
        found = f"{counted(n_rows, 'capture')} of {counted(n_riders, 'rider')} for {counted(len(terms.names), 'term')}"
        raise TooFewError(f"Not enough yet: {found}.")
    turned = _served(cells, terms, _of(products, told))
    if turned.cells is not cells or not told.all():
        means = means_of(turned.cells, turned.terms)
    return _fitted(turned, means, terms.names, wanted, begun)


def _products(cells: Cells, means: Sequence[tuple[Columns, Floats]], p: int) -> Floats:
    """Cross products (p + 1, p + 1) of the cells' means, each counted as often as its cell has rows."""
    found = np.zeros((p + 1, p + 1))
    for columns, own in means:
        rows = own * np.sqrt(cells.n.take(columns.block.cells))[:, None]
        spread(columns, cross_product(rows, rows), found)
    return found


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


def _varies(
    means: Sequence[tuple[Columns, Floats]], within: Floats, products: Floats, is_intercept: Flags, n_rows: float
) -> Flags:
    """Which terms' columns are not the same in all rows; what is left of a constant one after its mean is rounding."""
    varies = np.asarray(np.diag(within)[:-1] > 0)
    squares, ones = np.diag(products)[:-1], np.flatnonzero(is_intercept)
    if len(ones):
        varies |= squares - products[ones[0], :-1] ** 2 / n_rows > _SURELY * squares
    doubtful = ~varies & ~is_intercept & (squares > 0)
    if doubtful.any():
        low, high = np.full((2, len(varies)), np.nan)
        for columns, own in means:
            # A column that a block lacks is zero there.
            lowest, highest = np.zeros((2, len(varies)))
            lowest[columns.terms], highest[columns.terms] = own[:, :-1].min(axis=0), own[:, :-1].max(axis=0)
            low, high = np.fmin(low, lowest), np.fmax(high, highest)
        varies |= doubtful & (high - low > 1e-12 * np.maximum(np.abs(low), np.abs(high)))
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
    places = np.arange(len(cells.n))
    made = Cells(
        cells.rider, cells.knee, cells.visit, cells.n, np.ascontiguousarray(mean[:, :-1]), mean[:, -1], own, places, some
    )
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


def _fitted(
    turned: _Turned,
    means: Sequence[tuple[Columns, Floats]],
    names: tuple[str, ...],
    wanted: Flags,
    begun: Mapping[str, float] | None,
) -> MixedFit:
    cells, terms, columns = turned.cells, turned.terms, [own for own, _ in means]
    riders = terms.levels.division.riders
    n_rows, p = int(cells.n.sum()), len(names)
    first = _least_squares(turned)[0]
    # The outcome less its least squares: what is left of it is not eaten up by what the terms tell.
    turning = np.eye(p + 1)
    turning[:p, p] = -first
    at = Criterion(
        Kinds(riders, [own.block for own in columns]),
        turning.T @ within_products(terms) @ turning,
        [Means(own.block, _less(rows, first[own.terms]), np.append(own.terms, p)) for own, rows in means],
        n_rows - p,
    )
    refusal = (
        f"No figure: the pooled model did not settle on an answer in {n_rows} captures of {len(riders.labels)} riders. "
        "Widen the selection."
    )
    ratios, value, factor = best_ratios(at, riders.names, refusal, begun)
    inverse = solve_triangular(factor[:p, :p], np.eye(p), lower=True)
    change, bread = -left_over(factor)[:p], np.asarray(inverse.T @ inverse)
    residual = float(factor[p, p] ** 2 / (n_rows - p))
    whitened = at.whitened(ratios)
    for own, rows in zip(columns, whitened, strict=True):
        _less(rows, change[own.terms])
    fit = Whitened(bread, turned.back, first + change, whitened)
    sandwich = cr2_of_cells(cells, terms, columns, fit, wanted)
    degrees = n_rows - p
    constant = degrees * (np.log(2 * np.pi / degrees) + 1) / 2 - float(np.linalg.slogdet(turned.back)[1])
    return MixedFit(
        terms=names,
        estimate=turned.start + turned.back @ (first + change),
        model_covariance=turned.back @ bread @ turned.back.T * residual,
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


def _less(rows: Floats, estimate: Floats) -> Floats:
    """Rows (c, w + 1) with the last column, in place, less what an estimate (w,) tells of it."""
    rows[:, -1] -= rows[:, :-1] @ estimate
    return rows
