"""Who deserves a second pair of eyes: each fitter's outcomes against what is expected of the riders who came to them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.coaching import SQL
from dashboard.questions.coaching.answers_fitters import DispersionRow, FitterRow, Fitters, FunnelRow, ProcessRow
from dashboard.questions.coaching.fitters_process import process_rows
from dashboard.questions.coaching.fitters_words import NAMES, headline_of, judged
from dashboard.questions.coaching.riders_mix import came_with, design_of
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.selection.coded import code_sql
from dashboard.questions.selection.every_fit import Remember, at_once, every_fit, places_of, rows_at
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope, counted, fragments, names_of, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.symmetry.both_sides import mean_of_sides, side_difference
from shared.errors import NotRecordedError, StatisticsError
from shared.settings import Settings
from shared.statistics.case_mix import Expected, expected_mean, expected_share
from shared.statistics.clustered.means import clustered_mean, clustered_share, design_effect
from shared.statistics.design import Design
from shared.statistics.funnel import Dispersion, binomial_limit, dispersion, shrunken
from shared.warehouse import Warehouse

Array = NDArray[np.float64]
Rows = dict[str, NDArray[Any]]

METHOD = {
    "expected": "case-mix model without the fitter: arrival tilt and sway, exam, kind of visit and of bicycle; logistic for "
    "shares, least squares for means; of all fitters' fits in the selection, also where fitters are chosen",
    "limits": "shares: exact binomial about the expected share, interpolated; means: normal (Spiegelhalter 2005); both for as "
    "many fits as are as informative where riders came more than once (design effect)",
    "q_value": "Benjamini-Hochberg over all fitters and outcomes and their scatter; told where the outer limits are left and q "
    "is small",
    "intervals": "observed, allowing for several fits of one rider; the expected figure taken as known",
    "dispersion": "mean squared z after winsorising, and the variance between fitters beyond chance, by moments",
    "shrunken": "the difference drawn toward zero by variance between / (variance between + its own variance)",
    "caution": "for coaching, sorted by id, no ranks: a figure beyond the limits asks for a look together and is no verdict",
}
_FUNNEL_POINTS = 30
# Columns of one side, which are not kept.
_OF_A_SIDE = ("_left", "_right", "_left_arrival", "_right_arrival", "_left_departure", "_right_departure")


@dataclass(frozen=True)
class _Outcome:
    """One outcome of every fit that has it: values (n,), which rows (n of all), and the words around it."""

    outcome: str
    unit: str
    values: Array
    inside: NDArray[np.bool_]
    # Why there are none, where the studio does not record what it stands on.
    absent: str = ""


@dataclass(frozen=True)
class _Compared:
    """One fitter's figures on one outcome; difference and standard error in the outcome's unit."""

    row: FitterRow
    difference: float
    standard_error: float


# What is told of one outcome: each fitter's row, the scatter between fitters, the funnel's lines.
_OutcomeRows = tuple[list[FitterRow], DispersionRow, list[FunnelRow]]


@dataclass(frozen=True)
class _Everyone:
    """Every fitter's figures, whichever fitters are chosen, and the terms of the case mix."""

    terms: tuple[str, ...]
    rows: tuple[FitterRow, ...]
    dispersion: tuple[DispersionRow, ...]
    process: tuple[ProcessRow, ...]
    funnel: tuple[FunnelRow, ...]


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None = None) -> Fitters:
    """Observed and expected by fitter and outcome, scatter between fitters, what was done, and the funnel's lines."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    # Expected from every fitter's fits: a fitter alone would be compared with nobody.
    everyone = replace(scope, parameters={**scope.parameters, "fitter": None})
    figures: _Everyone = (remember or at_once)(
        ("fitters", everyone.asked()), lambda: _everyone(warehouse, everyone, settings, remember)
    )

    def is_chosen(row: FitterRow | ProcessRow) -> bool:
        return not selection.fitter or row.fitter_id in selection.fitter

    rows = tuple(filter(is_chosen, figures.rows))
    return Fitters(
        **scope.head(selection),
        method={
            **METHOD,
            "terms": list(figures.terms),
            "inner": settings.fitters.inner_level,
            "outer": settings.fitters.outer_level,
        },
        **scope.counts,
        headline=headline_of(rows, settings),
        furthest=max(rows, key=lambda row: abs(row.z or 0.0)).outcome,
        fitters=rows,
        dispersion=figures.dispersion,
        process=tuple(filter(is_chosen, figures.process)),
        funnel=figures.funnel,
    )


def _everyone(warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None) -> _Everyone:
    """Every fitter's figures in a scope that asks for no fitter."""
    names = names_of(warehouse, remember)
    fits = _fits(warehouse, scope, names["bike_kind"], remember)
    present = {int(number): names["fitter"][number] for number in np.unique(fits["fitter"])}
    mix = design_of(fits, names["bike_kind"])
    answers = side_by_side(
        lambda outcome: _outcome(outcome, fits, mix, present, settings),
        _outcomes(fits, scope.recorded, settings),
        len(fits["rider"]),
    )
    rows, scatter = judged([row for answer in answers for row in answer[0]], [answer[1] for answer in answers], settings)
    return _Everyone(
        terms=mix.terms,
        rows=rows,
        dispersion=scatter,
        process=tuple(process_rows(warehouse, scope, fits, present, settings, remember)),
        funnel=tuple(row for answer in answers for row in answer[2]),
    )


def _fits(warehouse: Warehouse, scope: Scope, bike_kinds: list[str], remember: Remember | None) -> Rows:
    """One row a selected fit; with `remember`, cut out of all fits."""
    if remember is None:
        return _read_fits(warehouse, scope, bike_kinds)
    fits: Rows = remember(("fitters_fits",), lambda: _read_fits(warehouse, every_fit(scope), bike_kinds))
    return rows_at(fits, places_of(warehouse, scope, fits["fit_no"], remember))


def _read_fits(warehouse: Warehouse, scope: Scope, bike_kinds: list[str]) -> Rows:
    """One row a fit: what the rider came with, what was done, and the outcomes; of both knees their difference and mean."""
    coded = {"visit_kind_code": code_sql("fits.visit_kind", "visit_kind")}
    for column in ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path"):
        coded |= {f"{column}_{side}_code": code_sql(f"{side}_foot.{column}", column) for side in ("left", "right")}
    parameters = {**scope.parameters, "bike_kinds": bike_kinds}
    fits = warehouse.arrays(SQL / "fitters_fits.sql", parameters, **fragments(), **coded)
    nearer = (np.abs(fits[f"tilt_{side}_arrival"]) - np.abs(fits[f"tilt_{side}_departure"]) for side in ("left", "right"))
    return {
        **{name: column for name, column in fits.items() if not name.endswith(_OF_A_SIDE)},
        **came_with(fits),
        "side_difference_left_deg": np.abs(side_difference(fits["tilt_left_departure"], fits["tilt_right_departure"])),
        "nearer_neutral_deg": np.where(fits["has_departure"], mean_of_sides(*nearer), np.nan),
    }


def _outcomes(fits: Rows, recorded: Recorded, settings: Settings) -> Iterator[_Outcome]:
    for outcome in _measured(fits, settings):
        absent = recorded.instead(outcome.outcome)
        yield replace(outcome, absent=absent, inside=outcome.inside & (not absent))


def _measured(fits: Rows, settings: Settings) -> Iterator[_Outcome]:
    left = fits["side_difference_left_deg"]
    beyond = (left >= settings.knee.side_difference_deg).astype(float)
    yield _Outcome("side_difference_left", "share", beyond, np.isfinite(left))
    yield _Outcome("return_rate", "share", fits["has_returned"].astype(float), fits["is_followable"].astype(bool))
    for outcome, unit, column in (
        ("nearer_neutral", "deg", "nearer_neutral_deg"),
        ("comfort_gained", "points", "comfort_gained_points"),
    ):
        values = fits[column].astype(float)
        yield _Outcome(outcome, unit, values, np.isfinite(values))


def _outcome(
    outcome: _Outcome,
    fits: Rows,
    mix: Design,
    present: Mapping[int, str],
    settings: Settings,
) -> _OutcomeRows:
    """All rows of one outcome; counts and the reason alone where nothing can be expected. Fitters by number, with their ids."""
    inside, fitter = outcome.inside, fits["fitter"]
    values, rider, own = outcome.values[inside], fits["rider"][inside], fitter[inside]
    rule, nothing = settings.fitters, (None,) * 4
    start = DispersionRow(outcome.outcome, outcome.unit, 0, *nothing, rule.winsorised_share, rule.winsorising, "")
    compute = expected_share if outcome.unit == "share" else expected_mean
    try:
        if outcome.absent:
            raise NotRecordedError(f"{outcome.absent[0].upper()}{outcome.absent[1:]}.", ())
        model = compute(values, _rows_of(mix.design, inside), mix.terms)
    except StatisticsError as refused:
        rows = [
            replace(
                _empty(outcome, name, rider[own == number]),
                words=f"{name}: {refused}"
                if outcome.absent
                else f"{name}: {counted(int((own == number).sum()), 'fit')}. {refused}",
            )
            for number, name in present.items()
        ]
        return rows, replace(start, words=f"{NAMES[outcome.outcome]}: {refused}"), []
    effect = design_effect(values - model.expected, rider)
    everyone = [
        _compared(outcome, present[number], values, rider, own == number, model, effect, settings)
        for number in np.unique(own).tolist()
    ]
    enough = [each for each in everyone if each.row.observed is not None]
    scatter, refusal = _scatter(enough, outcome, settings)
    fitter_rows = list(_drawn_in(everyone, scatter, settings))
    absent = [
        replace(_empty(outcome, name, rider[:0]), words=f"{name}: no fit with this outcome.") for name in present.values()
    ]
    fitter_rows += [row for row in absent if row.fitter_id not in {other.fitter_id for other in fitter_rows}]
    row = replace(
        start,
        n_fitters=len(enough),
        case_mix_explains=model.explained,
        phi=scatter.phi if scatter else None,
        p_value=scatter.p_value if scatter else None,
        sd_between=scatter.tau_squared**0.5 if scatter else None,
        design_effect=effect,
        words=refusal,
    )
    return (
        sorted(fitter_rows, key=lambda row_of_fitter: row_of_fitter.fitter_id),
        row,
        list(_funnel(outcome, enough, values, model, effect, settings)),
    )


def _rows_of(design: Array, inside: NDArray[np.bool_]) -> Array:
    """Cuts rows out of a design (n, p) that lies in memory column by column, and leaves the result lying so."""
    return design if inside.all() else np.compress(inside, design.T, axis=1).T


def _empty(outcome: _Outcome, fitter: str, rider: NDArray[Any]) -> FitterRow:
    return FitterRow(outcome.outcome, outcome.unit, fitter, len(rider), count_riders(rider))


def _compared(
    outcome: _Outcome,
    fitter: str,
    values: Array,
    rider: NDArray[Any],
    own: NDArray[Any],
    model: Expected,
    effect: float,
    settings: Settings,
) -> _Compared:
    """One fitter's observed figure against the expected one, with interval and limits; counts alone below the minimum."""
    row = _empty(outcome, fitter, rider[own])
    minimum = settings.minimum.sessions_per_fitter
    if row.n_fits < minimum or row.n_riders < 2:
        return _Compared(
            replace(row, words=f"{fitter}: not enough yet, {counted(row.n_fits, 'fit')} of the {minimum} needed."), 0, 0
        )
    expected = float(model.expected[own].mean())
    error = float((effect * model.variance[own].sum()) ** 0.5 / row.n_fits)
    is_share = outcome.unit == "share"
    # Of means, what is left beyond the expected is told; of shares the observed share itself, which stays within 0 and 1.
    own_values = values[own] if is_share else values[own] - model.expected[own]
    seen = (clustered_share if is_share else clustered_mean)(own_values, rider[own], settings.intervals.level)
    shift = expected if is_share else 0.0
    [limits] = _limits(outcome.unit, expected, np.array([row.n_fits]) / effect, np.array([error]), settings).tolist()
    row = replace(
        row,
        observed=float(values[own].mean()),
        expected=expected,
        ratio=seen.estimate / expected if is_share else None,
        ratio_low=seen.low / expected if is_share else None,
        ratio_high=seen.high / expected if is_share else None,
        difference=seen.estimate - shift,
        difference_low=seen.low - shift,
        difference_high=seen.high - shift,
        limit_outer_low=limits[0],
        limit_inner_low=limits[1],
        limit_inner_high=limits[2],
        limit_outer_high=limits[3],
        z=(seen.estimate - shift) / error,
        p_value=float(2 * stats.norm.sf(abs(seen.estimate - shift) / error)),
    )
    return _Compared(row, seen.estimate - shift, error)


def _limits(unit: str, expected: float, n: Array, error: Array, settings: Settings) -> Array:
    """Outer low, inner low, inner high and outer high limit for each of n (k,), shape (k, 4), about the expected figure.

    n: as many fits of riders who came once as are as informative, in whole ones for the limits of a share.
    """
    inner, outer = ((1 - level) / 2 for level in (settings.fitters.inner_level, settings.fitters.outer_level))
    tails = np.array([outer, inner, 1 - inner, 1 - outer])
    if unit == "share":
        return binomial_limit(expected, np.maximum(1, np.rint(n)).astype(np.int64)[:, None], tails[None, :])
    return np.asarray(expected + stats.norm.ppf(tails)[None, :] * error[:, None])


def _scatter(enough: list[_Compared], outcome: _Outcome, settings: Settings) -> tuple[Dispersion | None, str]:
    name, rule = NAMES[outcome.outcome], settings.fitters
    difference, error = (np.array([getattr(each, key) for each in enough]) for key in ("difference", "standard_error"))
    try:
        scatter = dispersion(difference / error, error, rule.winsorised_share, rule.winsorising)
    except StatisticsError as refused:
        return None, f"{name}: {refused}"
    return scatter, ""


def _drawn_in(everyone: list[_Compared], scatter: Dispersion | None, settings: Settings) -> Iterator[FitterRow]:
    """Each fitter's row with the shrunken difference, where the scatter between fitters is known."""
    for each in everyone:
        if scatter is None or each.row.observed is None:
            yield each.row
            continue
        drawn = shrunken(
            np.array([each.difference]), np.array([each.standard_error]), scatter.tau_squared, settings.intervals.level
        )
        yield replace(
            each.row,
            shrunken_difference=float(drawn.estimate[0]),
            shrunken_low=float(drawn.low[0]),
            shrunken_high=float(drawn.high[0]),
        )


def _funnel(
    outcome: _Outcome, enough: list[_Compared], values: Array, model: Expected, effect: float, settings: Settings
) -> Iterator[FunnelRow]:
    if not enough:
        return
    most = max(each.row.n_fits for each in enough)
    spread = float(model.variance.mean()) ** 0.5
    centre = float(values.mean()) if outcome.unit == "share" else 0.0
    sizes = np.unique(np.linspace(settings.minimum.sessions_per_fitter, most * 1.1, _FUNNEL_POINTS).astype(np.int64))
    limits = _limits(outcome.unit, centre, sizes / effect, spread * np.sqrt(effect / sizes), settings) - centre
    for n, four in zip(sizes.tolist(), limits.tolist(), strict=True):
        yield FunnelRow(outcome.outcome, outcome.unit, n, *four)
