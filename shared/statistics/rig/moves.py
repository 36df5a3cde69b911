"""Where in time a level moves: the step at an unknown date, the slope, and the level itself, riders coming more than once."""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.statistics.grouping import dense

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DAYS_A_MONTH = 365.25 / 12
# Where the likelihood ratio of two dates is below this, the data tell neither from the other at 95 %: Hansen 2000,
# Econometrica 68:575, c = -2 ln(1 - sqrt(0.95)).
DATES_NOT_TOLD_APART = float(-2 * np.log(1 - 0.95**0.5))
# How far a residual may lie from the middle, in robust standard deviations, before it is drawn in.
_FARTHEST = 4.0
# Below this share of its information that the design leaves, a column is taken for one of the design's own.
_LEAST_TOLD = 1e-3


@dataclass(frozen=True)
class Move:
    """A step (in the unit of the values) or a slope (a month), its 95 % interval, and a p-value that allows for the search.

    `day` is the first day after a step, between `day_low` and `day_high`; of a slope the first day of all.
    """

    kind: Literal["step", "slope"]
    day: int
    day_low: int
    day_high: int
    estimate: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True)
class Level:
    """The intercept of a series: estimate, standard error and degrees of freedom."""

    estimate: float
    error: float
    df: float


@dataclass(frozen=True)
class Series:
    """One value a visit, in the order of `day` (n,), in whole days; a rider's visits share a normal intercept.

    `values`, `rider` (n,); `design` (n, k), the intercept first. `least`: how many visits each side of a step must have.
    """

    values: Floats
    design: Floats
    rider: Ints
    day: Ints
    least: int


def moves_of(series: Series, most: int, p_further: float) -> tuple[Move, ...]:
    """The likeliest move, whatever its p-value, and up to `most` in all; nothing where there are too few visits.

    A further one is sought beside those before it, while p-values are at most `p_further`.

    Least squares with a random intercept of the rider, its variance by moments. The statistic of a step is exact at every date,
    the design taken out; a step or a slope, whichever explains more. Its p-value: `supremum_p_value`.
    """
    moves: list[Move] = []
    if len(series.values) < 2 * series.least + series.design.shape[1]:
        return ()
    current = _drawn_in(series)
    while len(moves) < most:
        move = _likeliest(current)
        if move is None or (moves and move.p_value > p_further):
            break
        moves.append(move)
        if move.p_value > p_further:
            break
        column = _months(series.day) if move.kind == "slope" else (series.day >= move.day) * 1.0
        current = replace(current, design=np.column_stack([current.design, column]))
    return tuple(moves)


def level_of(series: Series) -> Level:
    """The series' level where every other column of the design is 0."""
    fit = _Fit(_drawn_in(series))
    return Level(float(fit.coefficients[0]), float((fit.scale * fit.inverse[0, 0]) ** 0.5), float(fit.df))


def supremum_p_value(t: float, first: float, last: float) -> float:
    """How often the largest |t| of all dates from share `first` to `last` of the information is `t` or more by chance.

    t is a standard normal at each single date. Source: the tail of the standardised Brownian bridge, Csörgő & Horváth 1997,
    Limit Theorems in Change-Point Analysis, (1.3.26) for d = 1, of the test that Andrews 1993, Econometrica 61:821, tabulates;
    near for p below 0.1, and checked there by simulation. Dates that are few make it cautious.
    """
    if t <= 1 or np.isinf(t):
        return float(t <= 1)
    width = float(np.log((1 - first) * last / (first * (1 - last))))
    tail = t * np.exp(-(t**2) / 2) / (2**0.5 * np.pi**0.5) * (width * (1 - t**-2) + 4 * t**-2)
    return float(min(1.0, tail))


def _drawn_in(series: Series) -> Series:
    """The series with single far values drawn in, so that one typing error is no step."""
    residual = _residual(series.design, series.values)
    fitted = series.values - residual
    middle = float(np.median(residual))
    reach = _FARTHEST * 1.4826 * float(np.median(np.abs(residual - middle)))
    near = fitted + np.clip(residual, middle - reach, middle + reach)
    return replace(series, values=near)


def _residual(design: Floats, values: Floats) -> Floats:
    """What least squares leave of the values; columns that say the same share what they say."""
    return np.asarray(values - design @ (np.linalg.pinv(design.T @ design, hermitian=True) @ (design.T @ values)))


class _Fit:
    """Generalised least squares of a series; `weighed` is the inverse covariance applied to a column, but for its scale."""

    def __init__(self, series: Series) -> None:
        self.series = series
        self.rider = dense(series.rider)[0]
        self.visits = np.bincount(self.rider)
        design = series.design
        self.shrinkage = self._shrinkage(_residual(design, series.values))
        self.weighed_design = np.empty_like(design)
        for place, column in enumerate(design.T):
            self.weighed_design[:, place] = self.weighed(column)
        information = design.T @ self.weighed_design
        self.inverse = np.linalg.pinv(information, hermitian=True)
        self.coefficients = self.inverse @ (self.weighed_design.T @ series.values)
        residual = series.values - design @ self.coefficients
        self.weighed_residual = self.weighed(residual)
        self.df = len(residual) - np.linalg.matrix_rank(information, hermitian=True)
        self.squares = float(residual @ self.weighed_residual)
        self.scale = self.squares / max(self.df, 1)

    def _shrinkage(self, residual: Floats) -> Floats:
        """Of each row: the share of its rider's sum that is taken off; from the variances between and within riders."""
        sums = np.bincount(self.rider, residual)
        within = float(residual @ residual - np.sum(sums**2 / self.visits))
        pairs = int(np.sum(self.visits - 1))
        if pairs < 10 or within <= 0:
            return np.zeros(len(residual))
        noise = within / pairs
        own = max(0.0, float(residual @ residual) / len(residual) - noise)
        return np.asarray((own / (noise + self.visits * own))[self.rider])

    def weighed(self, column: Floats) -> Floats:
        return np.asarray(column - self.shrinkage * np.bincount(self.rider, column)[self.rider])

    def explained(self, score: Any, information: Any) -> tuple[Any, Any]:
        """t-statistics, and the variances of the estimates, of columns with these scores and information beside the design."""
        gain = score**2 / information
        scale = np.maximum(self.squares - gain, 1e-12 * self.squares) / max(self.df - 1, 1)
        return np.sign(score) * np.sqrt(gain / scale), scale / information


def _likeliest(series: Series) -> Move | None:
    """The step or slope that explains more, its p-value that of two tests; None where the design holds both."""
    fit = _Fit(series)
    df = max(fit.df - 1, 1)
    moves = [move for move in (_slope(fit, df), _step(fit, df)) if move]
    if not moves:
        return None
    likeliest, _ = max(moves, key=lambda pair: abs(pair[1]))
    return replace(likeliest, p_value=min(1.0, 2 * min(move.p_value for move, _ in moves)))


def _step(fit: _Fit, df: int) -> tuple[Move, float] | None:
    """The step that explains most, and its t."""
    series, n = fit.series, len(fit.series.values)
    days, first = np.unique(series.day, return_index=True)
    all_first = first
    allowed = (first >= series.least) & (n - first >= series.least)
    days, first = days[allowed], first[allowed]
    if not len(days):
        return None
    score = _from(fit.weighed_residual)[first]
    # Day by day: the sums from the end, of as many rows as there are days.
    each_day = np.add.reduceat(fit.weighed_design, all_first, axis=0)
    design = np.cumsum(each_day[::-1], axis=0)[::-1][allowed]
    own = _from(1 - fit.shrinkage * (2 * _later_visits(fit.rider) + 1))[first]
    information = own - np.einsum("ij,jk,ik->i", design, fit.inverse, design)
    told = information > _LEAST_TOLD * own
    if not told.any():
        return None
    days, first, score, information = days[told], first[told], score[told], information[told]
    t, variance = fit.explained(score, information)
    best = int(np.argmax(np.abs(t)))
    scale = variance[best] * information[best]
    alike = np.flatnonzero((score[best] ** 2 / information[best] - score**2 / information) / scale <= DATES_NOT_TOLD_APART)
    estimate, half = score[best] / information[best], stats.t.ppf(0.975, df) * variance[best] ** 0.5
    p_value = supremum_p_value(_as_normal(abs(t[best]), df), first[0] / n, first[-1] / n)
    day, low, high = (int(days[at]) for at in (best, alike[0], alike[-1]))
    return Move("step", day, low, high, float(estimate), float(estimate - half), float(estimate + half), p_value), float(
        t[best]
    )


def _slope(fit: _Fit, df: int) -> tuple[Move, float] | None:
    """The straight line through all dates, a month, and its t; None where the design holds it."""
    months = _months(fit.series.day)
    weighed = fit.weighed(months)
    beside = fit.series.design.T @ weighed
    own = float(months @ weighed)
    information = float(own - beside @ fit.inverse @ beside)
    if information <= _LEAST_TOLD * own:
        return None
    score = float(months @ fit.weighed_residual)
    t, variance = fit.explained(score, information)
    estimate, half = score / information, float(stats.t.ppf(0.975, df)) * float(variance) ** 0.5
    at = int(fit.series.day[0])
    p_value = float(2 * stats.t.sf(abs(t), df))
    return Move("slope", at, at, at, estimate, estimate - half, estimate + half, p_value), float(t)


def _months(day: Ints) -> Floats:
    """Months from the middle of all visits."""
    return np.asarray((day - day.mean()) / DAYS_A_MONTH)


def _from(column: Floats) -> Floats:
    """The sum of a column from each row to the last."""
    return np.asarray(np.cumsum(column[::-1])[::-1])


def _later_visits(rider: Ints) -> Ints:
    """How many rows of the same rider follow each row."""
    order = np.argsort(rider, kind="stable")
    places = np.empty(len(rider), dtype=np.int64)
    counts = np.bincount(rider)
    places[order] = np.repeat(np.cumsum(counts), counts) - np.arange(len(rider)) - 1
    return places


def _as_normal(t: float, df: float) -> float:
    """The standard normal that is as seldom exceeded as |t| on `df` degrees of freedom."""
    return float(stats.norm.isf(stats.t.sf(t, df)))
