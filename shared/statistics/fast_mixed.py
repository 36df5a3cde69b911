"""The pooled estimate at speed: the model of mixed_model, fitted on sums by rider, knee and visit."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import NoConvergenceError
from shared.statistics.cluster_robust import Sandwich
from shared.statistics.mixed_model import MixedFit, refuse_unfit
from shared.statistics.pair_criterion import INTERCEPTS, PairCriterion
from shared.statistics.ratio_search import best_ratios
from shared.statistics.reml_profile import batches, criterion
from shared.statistics.rider_blocks import Blocks, indicator, rider_blocks, runs_of, told_apart
from shared.statistics.rider_sandwich import cr2_at_speed
from shared.statistics.small_matrices import cross_product
from shared.statistics.starting_ratios import starting_ratios
from shared.statistics.whitening import whitening_offsets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Labels = NDArray[np.generic]
Flags = NDArray[np.bool_]

# The intercepts whose moments tell where the search may begin.
_MAIN = frozenset({"rider", "knee", "visit"})
# Squared length, columns scaled to one, of a direction of the design that cross products cannot tell from rounding.
_NEAR = 1e-9
# Residual sum of squares beside the total: below this nothing but rounding is left.
_EXPLAINED = 1e-18


@dataclass(frozen=True)
class Prepared:
    """The least-squares basis and the blocks' sums in it.

    to_basis (p, p): X to_basis has orthonormal columns; start (p,): least-squares estimate; scale: of the residual;
    residual: scaled, by row; squares: its sum of squares; sums (lowest units, slots, p + 1): of the basis columns and of it.
    """

    to_basis: Floats
    start: Floats
    scale: float
    residual: Floats
    squares: float
    sums: Floats
    logdet: float


@dataclass(frozen=True)
class Settled:
    """In the basis: change of the estimate (p,), its covariance by residual variance (p, p), that variance, the criterion."""

    ratios: dict[str, float]
    change: Floats
    covariance: Floats
    variance: float
    criterion: float


def fit_mixed_model_fast(
    outcome: Floats,
    design: Floats,
    terms: tuple[str, ...],
    rider: Labels,
    knee: Labels | None = None,
    visit: Labels | None = None,
    *,
    capture: Labels | None = None,
    knee_visit: Labels | None = None,
    wanted: Flags | None = None,
    begun: Mapping[str, float] | None = None,
) -> MixedFit:
    """REML fit of outcome (n,) on design (n, p) with random intercepts for rider, knee and visit: fit_mixed_model at speed.

    rider, knee, visit: codes or labels, shape (n,); a knee and a visit count within their rider; None leaves that intercept
    out. capture, knee_visit: two further ones, for what both knees of one capture share (session x capture) and for what a
    knee has in one visit (session x side; needs knee and visit). An intercept that groups the rows as a wider one does cannot
    be told from it: it is left out, its variance told as 0. wanted (p,): the terms whose degrees of freedom are asked for, all
    where None; the others' are NaN. begun: ratios of rider, knee and visit near the optimum, where they are known, for a
    shorter search to the same answer.
    Raises TooFewError for fewer than two riders or too few rows, NotEstimableError where terms are tied, NoConvergenceError
    where the search does not settle. Sources and deviations: METHODS.md, "The pooled model at speed".
    """
    if knee_visit is not None and (knee is None or visit is None):
        raise ValueError("knee_visit needs knee and visit.")
    y, x = np.asarray(outcome, dtype=float), np.ascontiguousarray(design, dtype=float)
    runs = runs_of(rider, knee, visit, capture, knee_visit)
    if len(runs.riders) < 2 or len(y) <= len(terms) + 1:
        refuse_unfit(y, x, terms, len(runs.riders))
    names = told_apart(runs)
    blocks = rider_blocks(runs, names)
    prepared = _prepared(y, x, terms, blocks, len(runs.riders))
    settled = settle(blocks, prepared, names, len(y), begun, f"in {len(y)} captures of {len(runs.riders)} riders")
    sandwich = _sandwich(x, blocks, runs.rider[runs.run_of], prepared, settled, wanted)
    return mixed_fit(terms, prepared, settled, sandwich, len(y), runs.riders)


def mixed_fit(
    terms: tuple[str, ...], prepared: Prepared, settled: Settled, sandwich: Sandwich, n_rows: int, riders: Labels
) -> MixedFit:
    """The fit in the units of the data."""
    residual = settled.variance * prepared.scale**2
    degrees = n_rows - len(terms)
    constant = degrees * (np.log(2 * np.pi * prepared.scale**2 / degrees) + 1) / 2 + prepared.logdet
    return MixedFit(
        terms=terms,
        estimate=prepared.start + prepared.to_basis @ settled.change * prepared.scale,
        model_covariance=prepared.to_basis @ settled.covariance @ prepared.to_basis.T * residual,
        robust_covariance=sandwich.covariance,
        df=sandwich.df,
        variance_rider=settled.ratios.get("rider", 0.0) * residual,
        variance_knee=settled.ratios.get("knee", 0.0) * residual,
        variance_visit=settled.ratios.get("visit", 0.0) * residual,
        variance_residual=residual,
        loglik=float(-settled.criterion - constant),
        n_rows=n_rows,
        n_riders=len(riders),
        riders=riders,
        influence=sandwich.influence,
        variance_capture=settled.ratios.get("capture", 0.0) * residual,
        variance_knee_visit=settled.ratios.get("knee_visit", 0.0) * residual,
    )


def _prepared(y: Floats, x: Floats, terms: tuple[str, ...], blocks: Blocks, n_riders: int) -> Prepared:
    """Sums of rows that were first turned into an orthonormal basis of the design and the residual of least squares."""
    products = cross_product(x, x)
    length = np.sqrt(np.diag(products))
    to_basis = triangular_basis(products, length) if np.isfinite(products).all() and np.isfinite(y @ y) else None
    if to_basis is None:
        # Tied, or so near to it that cross products cannot tell: ask the slower, surer way, and take its basis.
        refuse_unfit(y, x, terms, n_riders)
        to_basis = np.linalg.inv(np.linalg.qr(x / length, mode="r")) / length[:, None]
    start = to_basis @ (to_basis.T @ (y @ x))
    residual = y - x @ start
    scale = float(np.sqrt(residual @ residual / (len(y) - len(terms))))
    if scale**2 * len(y) <= _EXPLAINED * float(y @ y):
        raise NoConvergenceError(f"No figure: the terms explain all {len(y)} captures without a rest. Leave terms out.")
    residual /= scale
    by_cell = indicator(blocks.cell, len(blocks.levels[0].unit_class) * blocks.n_slots)
    sums = np.column_stack([(by_cell @ x) @ to_basis, by_cell @ residual])
    logdet = -float(np.linalg.slogdet(to_basis)[1])
    by_slot = sums.reshape(-1, blocks.n_slots, sums.shape[1])
    return Prepared(to_basis, start, scale, residual, float(residual @ residual), by_slot, logdet)


def triangular_basis(products: Floats, length: Floats) -> Floats | None:
    """The matrix (p, p) that makes the columns orthonormal, from cross products; None where these are too near singular."""
    if not length.all():
        return None
    try:
        factor = np.linalg.cholesky(products / np.outer(length, length))
    except np.linalg.LinAlgError:
        return None
    return None if np.diag(factor).min() ** 2 < _NEAR else np.asarray(np.linalg.inv(factor).T / length[:, None])


def settle(
    blocks: Blocks, prepared: Prepared, names: frozenset[str], n_rows: int, begun: Mapping[str, float] | None, where: str
) -> Settled:
    """The ratios at the optimum and what goes with them; begun: ratios to begin at."""
    layout = layout_of(blocks, names)
    order = [name for pair in layout for name in pair if name is not None]
    p = len(prepared.start)
    total = np.eye(p + 1)
    total[p, p] = prepared.squares
    if PairCriterion.serves(blocks, names):
        at = PairCriterion(blocks, prepared.sums, total, n_rows).of([INTERCEPTS.index(name) for name in order])
    else:
        at = by_classes(blocks, prepared.sums, total, layout, n_rows)
    rows_a_group = np.array([n_rows / _groups(blocks, name) for name in order])
    refusal = f"No figure: the pooled model did not settle on an answer {where}. Widen the selection."
    try:
        if begun is None and names == _MAIN:
            begun = starting_ratios(blocks, prepared.sums[:, :, -1], prepared.squares)
        start = np.array([begun[name] for name in order]) if begun and set(order) <= set(begun) else None
        found = best_ratios(lambda ratios: at(ratios)[:2], rows_a_group, refusal, start)
        value, _, factor = at(found)
    except np.linalg.LinAlgError as fault:
        raise NoConvergenceError(refusal) from fault
    inverse = np.linalg.inv(factor[:p, :p])
    return Settled(
        ratios={name: float(ratio) for name, ratio in zip(order, found, strict=True)},
        change=inverse.T @ factor[p, :p],
        covariance=inverse.T @ inverse,
        variance=float(factor[p, p] ** 2 / (n_rows - p)),
        criterion=value,
    )


def by_classes(
    blocks: Blocks, sums: Floats, total: Floats, layout: "Layout", n_rows: int
) -> Callable[[Floats], tuple[float, Floats, Floats]]:
    """The criterion, its gradient and factor at the ratios of the intercepts in the layout's order."""
    read, order = batches(blocks, sums), [name for pair in layout for name in pair if name is not None]
    return lambda ratios: criterion(blocks, read, total, by_level(layout, dict(zip(order, ratios, strict=True))), n_rows)


Layout = list[tuple[str | None, str | None]]


def layout_of(blocks: Blocks, names: frozenset[str]) -> Layout:
    """Of each level, lowest first, the intercept that its slots share and the one that each slot has."""
    pairs: Layout = [("rider", "knee")]
    if {"visit", "knee_visit"} & names:
        pairs.insert(0, ("visit", "knee_visit"))
    if "capture" in names:
        pairs.insert(0, ("capture", None))
    return [(shared if shared in names else None, each if each in names else None) for shared, each in pairs]


def by_level(layout: Layout, ratios: dict[str, float]) -> list[tuple[float | None, float | None]]:
    return [(ratios.get(shared or ""), ratios.get(each or "")) for shared, each in layout]


def _groups(blocks: Blocks, name: str) -> int:
    """The number of groups of an intercept, at least roughly: it sets the scale of the search only."""
    depth = {"rider": -1, "knee": -1, "visit": -2, "knee_visit": -2, "capture": 0}[name]
    units = len(blocks.levels[depth].unit_class)
    return units * blocks.n_slots if name.startswith("knee") else units


def _sandwich(x: Floats, blocks: Blocks, rider: Ints, prepared: Prepared, settled: Settled, wanted: Flags | None) -> Sandwich:
    """The covariance clustered by rider, from rows that V^-1/2 made independent."""
    ratios = by_level(layout_of(blocks, frozenset(settled.ratios)), settled.ratios)
    offsets = whitening_offsets(blocks, prepared.sums, ratios).reshape(-1, len(prepared.start) + 1)
    of_design = offsets[:, :-1] @ np.linalg.inv(prepared.to_basis)
    rows = of_design.take(blocks.cell, axis=0)
    np.subtract(x, rows, out=rows)
    residual = prepared.residual - offsets[:, -1].take(blocks.cell)
    residual -= rows @ (prepared.to_basis @ settled.change)
    inverse = prepared.to_basis @ settled.covariance @ prepared.to_basis.T
    return cr2_at_speed(rows, residual * prepared.scale, rider, inverse, wanted=wanted)
