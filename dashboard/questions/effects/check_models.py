"""The tests behind the checks: one fit of both models with a column for each, and repeats for late effects."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from dashboard.questions.models.captures import Captures
from dashboard.questions.models.effect_models import Fits, fit_design
from dashboard.questions.models.forms import ARCHES, Form, drift_by_arch, expected_change, follows
from dashboard.questions.models.frames import Flags, Floats, Varying, frame_of, support_columns
from dashboard.questions.models.supports import Counts, build_design, counts_of
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.intervals import TermEstimate, sum_of_terms
from shared.statistics.late import LateShare, late_share
from shared.statistics.mixed.answers import MixedFit, WithinFit
from shared.statistics.multiplicity import benjamini_hochberg
from shared.statistics.wald import wald_p_value

# The checks of one joint fit, each with the support whose effect it is held against.
JOINT = {"insole_shim": "shim", "shim_bend": "shim", "stance_bend": "stance", "order_arch": None}
LATE_CHECK = "late_change"
# Captures after so many share one mean of the drift.
_LAST_PLACE = 5


def _drift(arch: str) -> str:
    return f"drift {arch}"


# What of the joint fit the checks read.
_TOLD = {*JOINT, *(support for support in JOINT.values() if support), *(_drift(arch) for arch in ARCHES), LATE_CHECK}


@dataclass(frozen=True)
class Ends:
    """The lower and the higher end that the intervals of both estimates reach together."""

    low: float
    high: float


@dataclass(frozen=True)
class Tested:
    """One check of a joint fit; first and other as in CheckRow, None where the check compares none. Without a p_value it could
    not be told."""

    check: str
    counts: Counts
    first: Ends | None = None
    other: Ends | None = None
    difference: float | None = None
    ends: Ends | None = None
    p_value: float | None = None
    q_value: float | None = None


def tested(
    captures: Captures,
    outcome: str,
    form: Form,
    slopes: Mapping[str, float],
    settings: Settings,
    begun: Mapping[str, float] | None,
) -> tuple[Tested, ...]:
    """Each check of JOINT on the captures, from one fit of both models; and, where these do not allow for late effects, the
    one-sided test of LATE_CHECK: that less shows right after a change. slopes: each support's effect; begun: as in fit_design.
    """
    columns = _columns(form, slopes, settings)
    frame = frame_of(captures, outcome, columns, is_by_rider=True)
    counts = {column.of: counts_of(frame, place) for place, column in enumerate(columns)}
    counts["order_arch"] = Counts(int(frame.captures.n.sum()), len(np.unique(frame.captures.rider)))
    minimum = settings.minimum
    enough = {
        check
        for check in JOINT
        if counts[check].n_changes >= minimum.changes_per_type and counts[check].n_riders >= minimum.riders_per_effect
    }
    try:
        fits = fit_design(build_design(frame, None), settings, begun, _TOLD) if enough else None
    except StatisticsError:
        fits = None
    checks = [
        _tested(check, counts[check], fits) if fits and check in enough else Tested(check, counts[check]) for check in JOINT
    ]
    adjusted = iter(benjamini_hochberg([one.p_value for one in checks if one.p_value is not None]))
    checks = [one if one.p_value is None else replace(one, q_value=next(adjusted)) for one in checks]
    if fits and LATE_CHECK in counts:
        checks.append(Tested(LATE_CHECK, counts[LATE_CHECK], p_value=_later(fits)))
    return tuple(checks)


def _later(fits: Fits) -> float | None:
    """Tests in both models that no effect comes late, against that some does, and returns the larger p-value."""
    both: tuple[MixedFit | WithinFit, ...] = (fits.pooled, fits.within)
    if any(LATE_CHECK not in fit.terms for fit in both):
        return None
    late_effects = [_sum(fit, (LATE_CHECK,), fits.level) for fit in both]
    # What comes late is missing right after the change.
    return max(1.0 if one.df <= 0 else float(stats.t.sf(-one.estimate / one.standard_error, one.df)) for one in late_effects)


def _columns(form: Form, slopes: Mapping[str, float], settings: Settings) -> tuple[Varying, ...]:
    """Builds the columns of the supports, one for each check, and those that both models are adjusted for."""
    late = () if form.is_late else (Varying(LATE_CHECK, None, lambda captures: expected_change(captures, slopes)),)
    supports = len(support_columns())
    beyond = settings.checks.stance_bend_mm
    held = Form(form.is_late).columns()[supports:]
    return (
        *support_columns(),
        Varying("insole_shim", None, lambda captures: _shims(captures) * _on_insole(captures)),
        Varying("shim_bend", None, lambda captures: np.maximum(_shims(captures) - 1.0, 0.0)),
        Varying("stance_bend", None, lambda captures: np.maximum(captures.rows["stance_mm"].astype(float) - beyond, 0.0)),
        *(Varying(_drift(arch), None, column.values) for arch, column in zip(ARCHES, drift_by_arch(), strict=True)),
        *late,
        *held,
    )


def _shims(captures: Captures) -> Floats:
    return np.asarray(captures.rows["total_shims"], dtype=float)


def _on_insole(captures: Captures) -> Flags:
    level = captures.rows["insole_level"]
    return np.asarray(~((level == "none") | level.isna()))


def _tested(check: str, counts: Counts, fits: Fits) -> Tested:
    support, terms = JOINT[check], tuple(map(_drift, ARCHES)) if check == "order_arch" else (check,)
    needed = (*terms, *([support] if support else []))
    both: tuple[MixedFit | WithinFit, ...] = (fits.pooled, fits.within)
    if any(term not in fit.terms or _sum(fit, (term,), fits.level).df <= 0 for fit in both for term in needed):
        return Tested(check, counts)
    try:
        p_value = max(_p_value(fit, terms) for fit in both)
    except StatisticsError:
        return Tested(check, counts)
    if support is None:
        return Tested(check, counts, None, None, *_between(fits, terms[-1:]), p_value)
    first, other = _between(fits, (support,))[1], _between(fits, (support, check))[1]
    return Tested(check, counts, first, other, *_between(fits, terms), p_value)


def _p_value(fit: MixedFit | WithinFit, terms: tuple[str, ...]) -> float:
    places = [fit.terms.index(term) for term in terms]
    return wald_p_value(fit.estimate[places], fit.robust_covariance[np.ix_(places, places)], float(fit.df[places].min()))


def _sum(fit: MixedFit | WithinFit, terms: tuple[str, ...], level: float) -> TermEstimate:
    return sum_of_terms([fit.terms.index(term) for term in terms], fit.estimate, fit.robust_covariance, fit.df, level)


def _between(fits: Fits, terms: tuple[str, ...]) -> tuple[float, Ends]:
    """The pooled estimate of the sum of the terms, and the bracket of both estimates."""
    pooled, within = _sum(fits.pooled, terms, fits.level), _sum(fits.within, terms, fits.level)
    return pooled.estimate, Ends(min(pooled.low, within.low), max(pooled.high, within.high))


def late_of(captures: Captures, outcome: str, slopes: Mapping[str, float], settings: Settings) -> LateShare:
    """The share of an effect that comes one capture late, from repeats after a change; slopes: each support's effect.

    Raises StatisticsError where the repeats do not tell.
    """
    present = captures.with_rows(np.isfinite(captures.rows[outcome]))
    values = present.rows[outcome]
    setups = np.array([column.values(present) for column in support_columns()])
    before, order = follows(present, 2), present.rows["capture_order"]
    # The change into the setup is known where the capture before is there, and there is none into that of the arrival.
    later = np.flatnonzero(follows(present, 1) & (before | (order == 1)))
    later = later[(setups[:, later] == setups[:, later - 1]).all(axis=0)]
    return late_share(
        values[later] - values[later - 1],
        expected_change(present, slopes)[later - 1],
        np.minimum(order[later].astype(np.int64), _LAST_PLACE),
        present.rider[present.cell_of_row[later]],
        settings.intervals.level,
    )


def late_p_value(late: LateShare | None, tests: Sequence[Tested]) -> float | None:
    """The larger of the p-values of repeats and of both models, None where one of them cannot tell."""
    p_value = next((one.p_value for one in tests if one.check == LATE_CHECK), None)
    return None if late is None or p_value is None else max(late.p_value, p_value)


def form_found(late_q_value: float | None, tested_in: Callable[[Form], Sequence[Tested]], settings: Settings) -> Form:
    """Decides what both models of an outcome allow for; tested_in: gives the checks made in models of a form."""
    late = Form(is_late=late_q_value is not None and late_q_value < settings.checks.late_below_q)
    drift = next(one for one in tested_in(late) if one.check == "order_arch")
    return Form(late.is_late, drift.q_value is not None and drift.q_value < settings.checks.found_below_q)
