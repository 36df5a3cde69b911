"""Covariances that hold when rows of one rider share noise: CR2 with Satterthwaite degrees of freedom.

With X, e a rider's design and residuals whitened by the working covariance and RR' = (sum of X'X)^-1, everything is said of the
scaled rows S = XR, whose cross products over all riders are the identity. Formulas: METHODS.md, "Clustered covariance".
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cross_products import cross_product

Array = NDArray[np.float64]
Codes = NDArray[np.int64]
Flags = NDArray[np.bool_]

# Largest eigenvalue of a rider's leverage up to which (1 - s)^-1/2 is a series; its rest is below this.
_SERIES_UP_TO, _REST = 0.25, 1e-10
# A leverage this close to 1 means that one rider alone carries a direction: no other rider can tell its noise.
_ALONE = 1 - 1e-8
# A term with more than this share of its variance in such directions has no standard error.
_LOST = 1e-6
_ROWS_AT_A_TIME = 20_000


@dataclass(frozen=True)
class Sandwich:
    """influence (riders, p): what each rider adds to the error of each term; covariance (p, p) its cross-product; df (p,).

    A term with df 0 rests, in part or whole, on one rider alone: its covariance is too small and must not be shown. The df of
    a term that was not asked for is NaN.
    """

    influence: Array
    covariance: Array
    df: Array


@dataclass
class Tally:
    """By wanted term the sums over riders that make the degrees of freedom, b the number of coordinates.

    With r the term's line of the root, C = S'S of a rider and c = (1 - C)^-1/2 C r: trace and squares are the sums of r'Cr and
    of its square, crossed the sum of cc', fourth that of |c|^4, alone what of r lies in directions of one rider.
    """

    n_wanted: int
    b: int
    trace: Array = field(init=False)
    squares: Array = field(init=False)
    fourth: Array = field(init=False)
    alone: Array = field(init=False)
    crossed: Array = field(init=False)

    def __post_init__(self) -> None:
        self.trace, self.squares, self.fourth, self.alone = (np.zeros(self.n_wanted) for _ in range(4))
        self.crossed = np.zeros((self.n_wanted, self.b, self.b))

    def add_shares(self, shares: Array) -> None:
        """Adds r'Cr of riders, (riders, wanted)."""
        self.trace += shares.sum(axis=0)
        self.squares += (shares**2).sum(axis=0)

    def df(self, of_term: Array) -> Array:
        """Satterthwaite's degrees of freedom of the wanted terms (wanted,); of_term (wanted, b): their lines of the root."""
        spread = self.squares + (self.crossed**2).sum(axis=(1, 2)) - self.fourth
        unknown = (self.alone > _LOST * (of_term**2).sum(axis=1)) | (self.trace <= 0) | (spread <= 0)
        return np.asarray(np.where(unknown, 0.0, self.trace**2 / np.where(unknown, 1.0, spread)))


def cr2_of_rows(
    design: Array, residual: Array, rider: Codes, bread: Array | None = None, wanted: Flags | None = None
) -> Sandwich:
    """CR2 by rider from rows: least squares as it is, a mixed model whitened by its fitted covariance.

    design: (n, p); residual: (n,); rider: codes 0 to riders - 1, each present, in any order, (n,); bread: (design'design)^-1
    where it is known; wanted (p,): terms whose degrees of freedom are asked for, all where None.
    Raises LinAlgError where the information is singular. Sources: Bell & McCaffrey 2002, Surv Methodol 28:169; Pustejovsky &
    Tipton 2018, J Bus Econ Stat 36:672. Not for riders that share noise with one another.
    """
    root = root_of(np.asarray(np.linalg.inv(design.T @ design)) if bread is None else bread)
    asked = np.ones(len(root), dtype=bool) if wanted is None else wanted
    tally = Tally(int(asked.sum()), len(root))
    influence = np.empty((int(rider.max(initial=-1)) + 1, len(root)))
    for riders, rows in stacks_of_riders(rider):
        none = rows < 0
        scaled = (design.take(np.where(none, 0, rows).ravel(), axis=0) @ root).reshape(*rows.shape, len(root))
        scaled[none] = 0.0
        influence[riders] = add_riders(tally, scaled, np.where(none, 0.0, residual[rows]), root[asked]) @ root.T
    return Sandwich(influence, cross_product(influence, influence), among(asked, tally.df(root[asked])))


def among(wanted: Flags, df: Array) -> Array:
    """The degrees of freedom of the wanted terms among all (p,); the others' are NaN."""
    found = np.full(len(wanted), np.nan)
    found[wanted] = df
    return found


def root_of(bread: Array) -> Array:
    """Lower triangular root (p, p) of the inverse information."""
    return np.asarray(np.linalg.cholesky((bread + bread.T) / 2))


def stacks_of_riders(rider: Codes) -> Iterator[tuple[Codes, Codes]]:
    """Riders (g,) with about equally many rows, and their row numbers (g, most rows), -1 beyond a rider's own.

    A row of zeros has no leverage and adds nothing; few riders in few stacks cost far less than in many small ones.
    """
    order = np.argsort(rider, kind="stable")
    sizes = np.bincount(rider)
    first = np.cumsum(sizes) - sizes
    steps = 2 ** np.maximum(np.floor(np.log2(np.maximum(sizes, 1))).astype(np.int64) - 1, 0)
    padded = -(-sizes // steps) * steps
    for size in np.unique(padded[sizes > 0]):
        riders = np.flatnonzero(padded == size)
        place = np.arange(int(size))
        for start in range(0, len(riders), step := max(1, _ROWS_AT_A_TIME // int(size))):
            here = riders[start : start + step]
            own = np.minimum(first[here][:, None] + place, len(order) - 1)
            yield here, np.where(place < sizes[here][:, None], order[own], -1)


def add_riders(tally: Tally, scaled: Array, residual: Array, of_term: Array) -> Array:
    """Adds riders with scaled rows S (riders, rows, b) and residuals e (riders, rows); gives S'(1 - SS')^-1/2 e (riders, b).

    of_term (wanted, b): the wanted terms' lines of the root.
    """
    weights = (scaled.reshape(-1, scaled.shape[2]) @ of_term.T).reshape(*scaled.shape[:2], len(of_term))
    adjusted, alone = _adjusted(scaled, np.concatenate([residual[:, :, None], weights], axis=2))
    tally.add_shares(np.einsum("grl,grl->gl", weights, weights) - alone[:, 1:])
    tally.alone += alone[:, 1:].sum(axis=0)
    # In single precision: what is made of it is about one in all, of which a ten-millionth is lost.
    tied = np.ascontiguousarray(adjusted[:, :, 1:].transpose(0, 2, 1), dtype=np.float32)
    if _on_terms(scaled):
        found = adjusted[:, :, 0]
    else:
        found, tied = (adjusted[:, None, :, 0] @ scaled)[:, 0], tied @ scaled.astype(np.float32)
    tally.fourth += (np.einsum("glb,glb->gl", tied, tied).astype(float) ** 2).sum(axis=0)
    for place in range(tied.shape[1]):
        own = tied[:, place]
        tally.crossed[place] += own.T @ own
    return np.asarray(found)


def power_series(n_terms: int) -> list[float]:
    """Ratios of successive coefficients of (1 - s)^-1/2 = 1 + s/2 + 3 s^2/8 + ..., first to last."""
    return [(2 * k - 1) / (2 * k) for k in range(1, n_terms + 1)]


@cache
def _limits() -> Array:
    """Of each number of terms of the series, from none, the leverage up to which the rest is below _REST."""
    coefficient = np.cumprod(power_series(40))
    leverage = np.linspace(0.0, _SERIES_UP_TO, 4001)
    rest = coefficient[:, None] * leverage ** np.arange(1, 41)[:, None] / (1 - leverage)
    return np.asarray(leverage[(rest < _REST).sum(axis=1) - 1])


def terms_for(leverage: float) -> int:
    """How many terms of the series a leverage asks for."""
    return int(np.searchsorted(_limits(), leverage))


def serves_up_to(n_terms: int) -> float:
    """The leverage up to which so many terms of the series are enough."""
    return float(_limits()[n_terms])


def _on_terms(scaled: Array) -> bool:
    """Whether riders (riders, rows, b) are worked out by their terms, the smaller side of each."""
    return bool(scaled.shape[1] > scaled.shape[2])


def _adjusted(scaled: Array, columns: Array) -> tuple[Array, Array]:
    """(1 - SS')^-1/2 columns (riders, rows, m) of columns like them, or S' times that (riders, b, m) where riders are worked
    out by their terms, without the directions that a rider carries alone; and the columns' squares in those (riders, m)."""
    back = scaled.transpose(0, 2, 1)
    leverage, brought = (back @ scaled, back @ columns) if _on_terms(scaled) else (scaled @ back, columns)
    # No eigenvalue is above the root of the sum of the squares of all.
    largest = np.sqrt(np.einsum("gij,gij->g", leverage, leverage))
    found, alone = np.empty_like(brought), np.zeros((len(scaled), columns.shape[2]))
    little = largest <= _SERIES_UP_TO
    if little.any():
        found[little] = _by_series(leverage[little], brought[little], terms_for(float(largest[little].max())))
    if not little.all():
        found[~little], alone[~little] = _by_eigenvectors(leverage[~little], brought[~little])
    return found, alone


def _by_series(leverage: Array, columns: Array, n_terms: int) -> Array:
    """The series applied to columns (riders, d, m), or made whole first where they are more than its own.

    Even and odd terms go together by the square of the leverage, which takes half of the products (Paterson & Stockmeyer 1973,
    SIAM J Comput 2:60).
    """
    few = columns.shape[2] <= columns.shape[1]
    start = columns if few else np.eye(columns.shape[1])
    once, square = leverage @ start if few else leverage, leverage @ leverage
    coefficient = np.append(np.cumprod([1.0, *power_series(n_terms)]), 0.0)
    last, *earlier = range(n_terms - n_terms % 2, -1, -2)
    found = coefficient[last] * start + coefficient[last + 1] * once
    for even in earlier:
        found = square @ found
        found += coefficient[even] * start
        found += coefficient[even + 1] * once
    return found if few else np.asarray(found @ columns)


def _by_eigenvectors(leverage: Array, columns: Array) -> tuple[Array, Array]:
    values, vectors = np.linalg.eigh(leverage)
    kept = (values < _ALONE)[:, :, None]
    turned = vectors.transpose(0, 2, 1) @ columns
    factor = 1.0 / np.sqrt(np.where(kept, 1.0 - values[:, :, None], np.inf))
    return vectors @ (factor * turned), (turned**2 * ~kept).sum(axis=1)
