"""How are we doing: four headline figures, each with its interval, over the selection and by month."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.data.fitter_noise import FitterNoise
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope, counted, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio import SQL
from dashboard.questions.studio.answers_studio import Studio, StudioFigure, StudioTrendRow
from dashboard.questions.studio.headline_figures import HEADLINE, NAMES
from dashboard.questions.symmetry.both_sides import side_difference
from shared.settings import Settings
from shared.statistics.clustered.means import Estimate, clustered_mean, clustered_share
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.warehouse import Warehouse

METHOD = {
    "comfort_gained": "mean change in comfort from arrival to departure, 0 to 10",
    "side_difference_left": "share of fits whose tilt differs between the knees by the limit or more at departure",
    "return_rate": "share of fits attended again within the window, of the fits whose window has closed",
    "knees_better": "share of knees whose tilt came nearer to neutral by more than MDC95 (of the fit's own "
    "fitter, where fitters' captures scatter differently) from arrival to departure",
    "intervals": "shares: Wilson on the effective number; means: t; both allow for several rows of one rider",
}
_NO_DAYS = np.array([], "datetime64[D]")
# What may become of a knee from arrival to departure, in the order of telling.
KNEE_OUTCOMES = ("better", "no_clear_change", "worse")


@dataclass(frozen=True)
class Measured:
    """One figure's raw values: what is averaged, by rider and day of the fit; of knees, `worse` flags those that are."""

    figure: str
    unit: str
    counted: str
    values: NDArray[np.float64]
    rider: NDArray[np.int64]
    day: NDArray[Any]
    # Why there are no values: the words behind the figure's name.
    refusal: str = ""
    is_recorded: bool = True
    worse: NDArray[np.float64] | None = None

    def if_recorded(self, recorded: Recorded) -> "Measured":
        """The same, or no values and the reason where the studio does not record what it stands on."""
        absent = recorded.instead(self.figure)
        if not absent:
            return self
        nothing: NDArray[Any] = np.array([])
        return replace(
            self, values=nothing, rider=nothing.astype(int), day=_NO_DAYS, refusal=f"{absent}.", is_recorded=False, worse=None
        )

    def hits(self, outcome: str) -> NDArray[np.float64]:
        """1 for each knee of which one of KNEE_OUTCOMES is true, else 0."""
        worse = np.zeros_like(self.values) if self.worse is None else self.worse
        return {"better": self.values, "worse": worse, "no_clear_change": 1 - self.values - worse}[outcome]


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None = None) -> Studio:
    """The four headline figures of the owner's first page."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    tilt_noise = noise.own_noise("tilt", noise.pairs_of(warehouse, scope, remember), settings)
    outcomes = list(measured(warehouse, scope, settings, tilt_noise, remember))
    figures = tuple(_figure(each, settings) for each in outcomes)
    return Studio(
        **scope.head(selection),
        method={**METHOD, "side_difference_limit_deg": settings.knee.side_difference_deg},
        **scope.counts,
        headline=next((each for each in figures if not scope.recorded.instead(each.figure)), figures[0]).words,
        figures=figures,
        trend=tuple(row for each in outcomes for row in _trend(each, settings)),
    )


def measured(
    warehouse: Warehouse, scope: Scope, settings: Settings, tilt_noise: FitterNoise, remember: Remember | None = None
) -> Iterator[Measured]:
    """The raw values behind each headline figure; the trends chart the same ones."""
    for one in _measured(warehouse, scope, settings, tilt_noise, remember):
        yield one.if_recorded(scope.recorded)


def _measured(
    warehouse: Warehouse, scope: Scope, settings: Settings, tilt_noise: FitterNoise, remember: Remember | None
) -> Iterator[Measured]:
    fits = read_or_cut(warehouse, scope, SQL / "studio_fits.sql", remember)
    gained = fits["comfort_gained_points"].astype(float)
    rated = np.isfinite(gained)
    yield Measured("comfort_gained", "points", "fit", gained[rated], fits["rider"][rated], fits["day"][rated])
    difference = np.abs(side_difference(fits["tilt_left_departure"], fits["tilt_right_departure"]))
    both = np.isfinite(difference)
    left = (difference >= settings.knee.side_difference_deg).astype(float)
    yield Measured("side_difference_left", "share", "fit", left[both], fits["rider"][both], fits["day"][both])
    closed = fits["is_followable"].astype(bool)
    returned = fits["has_returned"].astype(float)
    yield Measured("return_rate", "share", "fit", returned[closed], fits["rider"][closed], fits["day"][closed])
    yield _knees(warehouse, scope, tilt_noise, remember)


def _knees(warehouse: Warehouse, scope: Scope, tilt_noise: FitterNoise, remember: Remember | None) -> Measured:
    if tilt_noise.mdc95 is None:
        absent = noise.absent_words("tilt", scope)
        refusal = absent or tilt_noise.row.words.partition(": ")[2]
        nothing = np.array([])
        return Measured("knees_better", "share", "knee", nothing, nothing.astype(int), _NO_DAYS, refusal, not absent)
    knees = read_or_cut(warehouse, scope, SQL / "studio_knees.sql", remember)
    nearer, limits = knees["nearer_neutral_deg"], tilt_noise.limits(knees["fitter"])
    better, worse = (nearer > limits).astype(float), (nearer < -limits).astype(float)
    return Measured("knees_better", "share", "knee", better, knees["rider"], knees["day"], worse=worse)


def estimate_of(values: NDArray[np.float64], rider: NDArray[np.int64], unit: str, settings: Settings) -> Estimate | None:
    if len(values) < settings.minimum.rows_shown:
        return None
    compute = clustered_share if unit == "share" else clustered_mean
    return compute(values, rider, settings.intervals.level)


def _figure(measured: Measured, settings: Settings) -> StudioFigure:
    n, n_riders = len(measured.values), count_riders(measured.rider)
    estimate = estimate_of(measured.values, measured.rider, measured.unit, settings)
    if estimate is None:
        words = f"{NAMES[measured.figure]}: {measured.refusal or f'not enough yet, {counted(n, measured.counted)}.'}"
        return StudioFigure(measured.figure, measured.unit, measured.counted, n, None, None, None, words, n_riders)
    is_clear = measured.unit == "share" or direction(estimate.low, estimate.high, _q_value(estimate))
    worse = float(measured.hits("worse").mean()) if measured.worse is not None else 0.0
    words = (_WORDS[measured.figure] if is_clear else _NO_CLEAR_CHANGE).format(
        same=spoken_percent(max(0.0, 1 - estimate.estimate - worse)),
        worse=spoken_percent(worse),
        moved="fell" if estimate.estimate < 0 else "rose",
        size=_written(abs(estimate.estimate), measured.unit),
        estimate=_written(estimate.estimate, measured.unit),
        interval=_written_ends(estimate.low, estimate.high, measured.unit),
        n=counted(n, measured.counted),
        limit=spoken(settings.knee.side_difference_deg, 0, "°"),
        days=settings.follow_up.returned_within_days,
    )
    figures = (estimate.estimate, estimate.low, estimate.high)
    return StudioFigure(measured.figure, measured.unit, measured.counted, n, *figures, words, n_riders)


def _q_value(estimate: Estimate) -> float | None:
    """The q-value of one of the four headline figures, which are judged together as one family."""
    return in_family([estimate.p_value], len(HEADLINE))[0]


def _trend(measured: Measured, settings: Settings) -> Iterator[StudioTrendRow]:
    # Rows stand by date, so that a month is a slice.
    months, first = np.unique(measured.day.astype("datetime64[M]"), return_index=True)
    for month, (start, end) in zip(months, pairwise([*first.tolist(), len(measured.day)]), strict=True):
        estimate = estimate_of(measured.values[start:end], measured.rider[start:end], measured.unit, settings)
        figures = (estimate.estimate, estimate.low, estimate.high) if estimate else (None, None, None)
        first_day = date.fromisoformat(f"{month}-01")
        row = StudioTrendRow(measured.figure, first_day, measured.unit, end - start, *figures)
        yield replace(row, n_riders=count_riders(measured.rider[start:end]))


def _written(value: float, unit: str) -> str:
    return spoken_percent(value) if unit == "share" else spoken(value, 1)


def _written_ends(low: float, high: float, unit: str) -> str:
    return spoken_percents(low, high) if unit == "share" else f"{spoken(low, 1)} to {spoken(high, 1)}"


_WORDS = {
    "comfort_gained": "Comfort {moved} by {size} points of 10 on average ({interval}; {n} rated at both ends).",
    "side_difference_left": "{estimate} of fits ended with a side difference in tilt of {limit} or more ({interval}; {n}).",
    "return_rate": "{estimate} of fits were seen again within {days} days ({interval}; {n} whose window has closed).",
    "knees_better": "{estimate} of knees left nearer to neutral than they came, by more than the noise ({interval}; {n}); "
    "{same} showed no clear change, {worse} left further from it.",
}
_NO_CLEAR_CHANGE = "Comfort shows no clear change: {estimate} points of 10 on average ({interval}; {n} rated at both ends)."
