"""Whether left and right are exchanged: by the other foot's support, and by knees that change places between two captures."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_DF = 5.0
# Median of |t| on 5 degrees of freedom.
_MEDIAN = float(stats.t.ppf(0.75, _DF))
_ROUNDS = 60


@dataclass(frozen=True)
class Captures:
    """Pairs of consecutive captures in the order of time, both knees recorded in both.

    `before`, `after` (n,): right less left. `mean_change` (n,): of both knees together. `own` (n, k): later less earlier setup,
    of the right foot less the left; `shared` (n, k): the mean of both feet. `fit`, `day` (n,): labels and whole days.
    """

    before: Floats
    after: Floats
    mean_change: Floats
    own: Floats
    shared: Floats
    fit: Ints
    day: Ints


@dataclass(frozen=True)
class Exchanged:
    """The share of captures that are exchanged, its 95 % interval, its first and last day; p-values allow for their search."""

    share: float
    low: float
    high: float
    day: int
    until: int
    p_value: float


def exchanged_throughout(captures: Captures) -> Exchanged | None:
    """Whether the supports of one foot move the other knee, always or for a time; None where no support is seen to act.

    What supports do is learnt from the mean of both knees, which no exchange touches; the difference of the knees then
    follows that of the feet with the coefficient 1 where sides are right and -1 where they are exchanged. A stretch of time is
    judged by its likelihood ratio of -1 against 1: of n fits one reaches h by chance with a probability of at most n exp(-h)
    (Ville 1939, Étude critique de la notion de collectif), since the ratio of a fit has mean one where sides are right.
    """
    expected = _expected(captures)
    if expected is None:
        return None
    change = captures.after - captures.before
    coefficient, error = _slope_through_zero(change, expected, captures.fit)
    if not error:
        return None
    scale = float(np.mean((change - np.clip(coefficient, -1, 1) * expected) ** 2))
    start, end, height = best_stretch(-2 * change * expected / scale)
    overall = float(stats.norm.cdf(coefficient / error))
    of_stretch = len(np.unique(captures.fit)) * float(np.exp(-height))
    within = slice(start, end)
    there, its_error = _slope_through_zero(change[within], expected[within], captures.fit[within])
    half = 1.96 * its_error
    low, share, high = (float(np.clip((1 - edge) / 2, 0, 1)) for edge in (there + half, there, there - half))
    p_value = min(1.0, 2 * min(overall, of_stretch))
    return Exchanged(share, low, high, int(captures.day[start]), int(captures.day[end - 1]), p_value)


def exchanged_now_and_then(captures: Captures) -> Exchanged | None:
    """The share of captures in which the knees have changed places, from pairs of captures of one fit.

    A mixture of three for the later difference of the knees: as before, as before with the other sign, or anything (lost
    markers). The noise is Student's t on 5 degrees of freedom, its scale from the median; shares by expectation and
    maximisation. The p-value is that of the likelihood ratio at the edge of its range, half a chi-square on one (Self & Liang
    1987, J Am Stat Assoc 82:605). A share s of captures exchanges 2 s (1 - s) of the pairs.
    """
    expected = _expected(captures)
    expected = np.zeros(len(captures.before)) if expected is None else expected
    kept = captures.after - captures.before - expected
    turned = captures.after + captures.before
    width = 3 * float(np.std(captures.before))
    is_kept = np.ones(len(kept))
    # Knees that changed places widen the middle of all, and are left out of it the second time.
    for _ in range(2):
        scale = _weighted_median(np.abs(kept), is_kept) / _MEDIAN
        if scale <= 0:
            return None
        densities = np.column_stack(
            [
                _noise(kept, scale),
                (_noise(turned + expected, scale) + _noise(turned - expected, scale)) / 2,
                stats.norm.pdf(kept / (width + scale)) / (width + scale),
            ]
        )
        shares, each = _mixed(densities)
        is_kept = densities[:, 0] * shares[0] / (densities @ shares)
    _, without = _mixed(densities[:, [0, 2]])
    gain = each - without
    n, pairs = len(gain), float(shares[1])
    ratio = max(0.0, 2 * float(gain.sum()))
    p_value = float(stats.chi2.sf(ratio, 1)) / 2
    start, end, _ = best_stretch(gain)
    half = 1.96 * float(np.sqrt(max(pairs * (1 - pairs), 1 / n) / n))
    low, share, high = (_of_captures(value) for value in (pairs - half, pairs, pairs + half))
    return Exchanged(share, low, high, int(captures.day[start]), int(captures.day[end - 1]), p_value)


def best_stretch(gains: Floats) -> tuple[int, int, float]:
    """From where to where (excluded) consecutive gains have the largest sum, and that sum."""
    sums = np.concatenate([[0.0], np.cumsum(gains)])
    lowest = np.minimum.accumulate(sums)
    end = int(np.argmax(sums - lowest))
    start = int(np.argmin(sums[: end + 1])) if end else 0
    return (start, end, float(sums[end] - sums[start])) if end > start else (0, len(gains), 0.0)


def _expected(captures: Captures) -> Floats | None:
    """What supports do to the difference of the knees (n,), learnt from their mean; None where they are not seen to act."""
    design = np.column_stack([np.ones(len(captures.shared)), captures.shared])
    moving = np.concatenate([[True], captures.shared.any(axis=0)])
    if len(design) < 3 * design.shape[1] or moving.sum() < 2:
        return None
    design = design[:, moving]
    effects, *_ = np.linalg.lstsq(design, captures.mean_change, rcond=None)
    residual = captures.mean_change - design @ effects
    rank = int(np.linalg.matrix_rank(design))
    alone = captures.mean_change - captures.mean_change.mean()
    gained = float(alone @ alone - residual @ residual) / max(rank - 1, 1)
    left = float(residual @ residual) / max(len(design) - rank, 1)
    if left <= 0 or stats.f.sf(gained / left, max(rank - 1, 1), len(design) - rank) > 1e-4:
        return None
    return np.asarray(captures.own[:, moving[1:]] @ effects[1:])


def _slope_through_zero(values: Floats, along: Floats, cluster: Ints) -> tuple[float, float]:
    """The coefficient of a line through zero, and its standard error by clusters; 0 where there is nothing to learn from."""
    weight = float(along @ along)
    if weight <= 0:
        return 0.0, 0.0
    coefficient = float(values @ along) / weight
    _, codes = np.unique(cluster, return_inverse=True)
    scores = np.bincount(codes, along * (values - coefficient * along))
    n = len(scores)
    return coefficient, float(np.sqrt(scores @ scores * n / max(n - 1, 1))) / weight


def _mixed(densities: Floats) -> tuple[Floats, Floats]:
    """The shares (k,) that make rows with these densities (n, k) likeliest, and the log-likelihood of each row."""
    shares = np.full(densities.shape[1], 0.05)
    shares[0] = 1 - shares[1:].sum()
    for _ in range(_ROUNDS):
        shares = shares * (densities.T @ (1 / (densities @ shares))) / len(densities)
    return shares, np.log(densities @ shares)


def _noise(values: Floats, scale: float) -> Floats:
    return np.asarray(stats.t.pdf(values / scale, _DF) / scale)


def _weighted_median(values: Floats, weights: Floats) -> float:
    """The value up to which half of the weight lies."""
    order = np.argsort(values)
    upto = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(upto, upto[-1] / 2)])


def _of_captures(pairs: float) -> float:
    """The share of captures that exchanges this share of pairs."""
    return float((1 - np.sqrt(1 - 2 * np.clip(pairs, 0, 0.5))) / 2)
