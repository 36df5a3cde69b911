"""What would be expected of these riders: the outcome predicted from what they came with, whoever fitted them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import expit
from statsmodels.discrete.discrete_model import Logit

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics.cross_products import cross_product
from shared.statistics.estimability import independent_of_products
from shared.statistics.wording import counted

Array = NDArray[np.float64]

ROWS_PER_TERM = 10
# The rarer of the two outcomes for each term; below it a logistic fit follows the noise (Vittinghoff & McCulloch 2007).
EVENTS_PER_TERM = 5
# Log odds beyond which a fitted share is 0 or 1 to seven digits. Where terms separate the outcome, each of Newton's steps adds
# about one, for ever: so many steps go beyond.
_SEPARATED, _MOST_STEPS = 16.0, 30
# A step that moves no coefficient by more leaves an error of its square.
_SETTLED = 1e-6


@dataclass(frozen=True)
class Expected:
    """`expected` (n,): share or mean of each row; `variance` (n,): of one row about it; explained: squared correlation."""

    expected: Array
    variance: Array
    explained: float


def expected_share(events: Array, design: Array, terms: tuple[str, ...]) -> Expected:
    """The chance of each row's event (0 or 1, shape (n,)) by logistic regression on design (n, p), intercept included.

    A term that is a combination of earlier ones is left out, which changes no expected value. Raises TooFewError with fewer
    than ROWS_PER_TERM rows or EVENTS_PER_TERM of the rarer outcome a term, NotEstimableError where terms separate the
    outcome, NoConvergenceError.
    Source of the use: Iezzoni 2013, Risk Adjustment; minimum: Vittinghoff & McCulloch 2007, Am J Epidemiol 165:710.
    """
    design, terms = _independent(design, terms)
    rarer = int(min(events.sum(), len(events) - events.sum()))
    if rarer < EVENTS_PER_TERM * len(terms):
        raise TooFewError(
            f"Not enough yet: {rarer} of the rarer outcome for {counted(len(terms), 'term')} of the case mix, and "
            f"{EVENTS_PER_TERM * len(terms)} are needed."
        )
    coefficients, has_settled = _likeliest(events, design)
    log_odds = design @ coefficients
    if not np.abs(log_odds).max() <= _SEPARATED:
        # The intercept comes first and only takes up what the other terms leave.
        strongest = terms[1 + int(np.argmax(np.abs(coefficients[1:])))]
        raise NotEstimableError(_SEPARATION.format(strongest.replace("_", " ")))
    if not has_settled:
        raise NoConvergenceError("No figure: the case-mix model did not settle on an answer. Widen the selection.")
    expected = expit(log_odds)
    return Expected(expected, expected * (1 - expected), _explained(events, expected))


def _likeliest(events: Array, design: Array) -> tuple[Array, bool]:
    """The coefficients (p,) by statsmodels' Logit, and whether its steps settled; tied columns are out already."""
    settings = {"maxiter": _MOST_STEPS, "tol": _SETTLED, "disp": 0, "warn_convergence": False, "skip_hessian": True}
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        # Separation is looked for afterwards, not at each step.
        fit = Logit(events, design, check_rank=False).fit(method="newton", callback=lambda *_: None, **settings)
    return np.asarray(fit.params, dtype=np.float64), bool(fit.mle_retvals["converged"])


def expected_mean(values: Array, design: Array, terms: tuple[str, ...]) -> Expected:
    """The mean of each row's value (n,) by least squares on design (n, p), intercept included; one residual variance.

    Tied terms as in expected_share. Raises TooFewError with fewer than ROWS_PER_TERM rows a term.
    By normal equations and one correction from the residuals, as exact as a QR decomposition here and several times faster.
    Source: Bjorck 1987, Linear Algebra Appl 88:31.
    """
    design, _ = _independent(design, terms)
    information = cho_factor(design.T @ design, check_finite=False)
    residual = values - design @ cho_solve(information, values @ design)
    residual -= design @ cho_solve(information, residual @ design)
    variance = float(residual @ residual) / (len(values) - design.shape[1])
    expected = values - residual
    return Expected(expected, np.full(len(values), variance), _explained(values, expected))


_SEPARATION = (
    "No figure: one part of the case mix decides the outcome by itself (separation; look at {}), so that no chance can be "
    "expected. Widen the selection."
)


def _explained(values: Array, expected: Array) -> float:
    if values.std() == 0 or expected.std() < 1e-12:
        return 0.0
    return float(np.corrcoef(values, expected)[0, 1] ** 2)


def _independent(design: Array, terms: tuple[str, ...]) -> tuple[Array, tuple[str, ...]]:
    """The columns that are no combination of earlier ones, scaled to one; raises where the rows are too few for them."""
    if len(design) < len(terms):
        _refuse_few(len(design), len(terms))
    products = cross_product(design, design)
    kept = np.flatnonzero(independent_of_products(products))
    _refuse_few(len(design), len(kept))
    chosen = design if len(kept) == design.shape[1] else design[:, kept]
    return chosen / np.sqrt(np.diag(products)[kept] / len(design)), tuple(terms[index] for index in kept)


def _refuse_few(n: int, n_terms: int) -> None:
    if n < ROWS_PER_TERM * n_terms:
        raise TooFewError(
            f"Not enough yet: {counted(n, 'fit')} for {counted(n_terms, 'term')} of the case mix, and "
            f"{ROWS_PER_TERM * n_terms} are needed."
        )
