"""What tended to follow for feet like these: every next setup of a rider's knees, foreseen; nothing of it is advice."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.foresight.alike import alike_knees, alike_words
from dashboard.questions.foresight.answers_foresight import LIKELY, AlikeRow, Next, NextRow
from dashboard.questions.foresight.foreseen_fits import BEYOND, told
from dashboard.questions.foresight.knees import SIDES, Form, Knee, Setup, arrived, foot_type_of, loaded
from dashboard.questions.foresight.ready import LEVEL, Ready, ready
from dashboard.questions.foresight.setups import AS_IT_IS, NextSetup, next_setups
from dashboard.questions.foresight.targets import Targets, targets_of
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.models.captures import Captures, captures_of_rows
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.foresight.bands import Spread, band
from shared.statistics.foresight.expected import Expected
from shared.warehouse import Warehouse

Floats = NDArray[np.float64]

_MEASURED: Final = {"tilt": ("tilt", "off_neutral"), "sway": ("sway",)}
_FIGURES: Final = ("expected", "low", "high", "knee_low", "knee_high")
_UNITS: Final = {"tilt": "deg", "sway": "mm", "off_neutral": "deg"}
CAUTIONS: Final = (
    "This describes what followed in this studio's riders with feet like these. It is no medical advice and no prescription.",
    "Change one support at a time, in small steps; check foot room and comfort after each.",
)
METHOD: Final = {
    "expected": "the mixed model's best linear prediction from exam and arrival captures, each support by the middle of its "
    "told interval",
    "band": "of the next capture as it will be measured; kept honest on riders held out whole",
    "allowed": "no rule of agreement with the exam is flagged that is not flagged already",
    "tied": "the error of the effects alone could bring the difference from the first",
    "level": LEVEL,
}


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember = at_once) -> Next:
    """What is foreseen for the one rider of the selection; where none, or several, are named, how to name one.

    Raises TooFewError where the rider has no capture with a setup."""
    scope = scope_of(warehouse, selection, settings, remember)
    scope.require_fits()
    if len(selection.rider) != 1:
        told = "Name one rider to see what tended to follow for feet like theirs, as in: fitledger next --rider ID."
        return _told(selection.as_dict(), scope.words, scope.as_of, told)
    found = loaded(warehouse, selection.rider[0], settings, selection.fitter)
    if found is None:
        raise TooFewError(f"Not recorded: no capture of rider {selection.rider[0]} has a setup.")
    answer = foreseen_next(
        warehouse,
        found.form,
        settings,
        remember,
        rider=selection.rider[0],
        session_id=found.session_id,
        fitters=selection.fitter,
    )
    return replace(answer, selection=selection.as_dict(), selection_words=scope.words, as_of=scope.as_of)


def foreseen_next(
    warehouse: Warehouse,
    form: Form,
    settings: Settings,
    remember: Remember = at_once,
    *,
    rider: str = "",
    session_id: str | None = None,
    fitters: tuple[str, ...] = (),
) -> Next:
    """What is foreseen for two knees as they stand; like knees are those of these fitters' fits, where any are named.

    Raises StatisticsError where the warehouse holds too few riders."""
    whole = scope_of(warehouse, Selection(), settings, remember)
    silence = _silence(form, settings)
    rows: list[NextRow] = []
    alike: list[AlikeRow] = []
    if not silence:
        by_outcome = made_ready(warehouse, settings, remember)
        rows = [row for side in SIDES for row in _of_side(form, side, by_outcome, settings)]
        alike = alike_knees(warehouse, form, settings, remember, rider, fitters)
    bare = _told({}, "feet as given", whole.as_of, silence or _headline(rows))
    return replace(
        bare,
        is_silent=bool(silence),
        session_id=session_id,
        side_difference_now=_difference(rows, lambda row: row.setup == AS_IT_IS),
        side_difference_first=_difference(rows, lambda row: row.is_allowed and row.place == 1),
        setups=tuple(rows),
        alike=tuple(alike),
        alike_told=tuple(alike_words(alike)),
    )


def made_ready(warehouse: Warehouse, settings: Settings, remember: Remember) -> dict[str, Ready]:
    """What tilt and sway are foreseen with, made once a snapshot."""
    return {name: ready(warehouse, name, settings, remember) for name in _MEASURED}


def _told(selection: dict[str, Any], words: str, as_of: date | None, headline: str) -> Next:
    """An answer that holds a sentence and no figure."""
    return Next(as_of, selection, words, METHOD, headline, False, None, CAUTIONS, None, None, (), (), ())


def _silence(form: Form, settings: Settings) -> str:
    """Why nothing is foreseen, or nothing."""
    refer = "Nothing is foreseen. Stop, and refer to a licensed clinician before anything is changed."
    if form.pain is not None and form.pain >= settings.foresight.silent_from_pain:
        return f"The rider told of pain ({form.pain} of 10). {refer}"
    if form.injury:
        return f"The rider told of an injury or a recent operation. {refer}"
    room = "make room first; nothing is foreseen until then. Where a foot hurts or is numb, refer to a licensed clinician."
    tight = [side for side in SIDES if form.knee(side).foot_room_ok is False]
    if tight:
        return f"There is too little room for the {' and the '.join(tight)} foot: {room}"
    if form.foot_room is not None and form.foot_room <= settings.foresight.silent_to_foot_room:
        return f"The rider told of too little foot room ({form.foot_room} of 10): {room}"
    return ""


def _of_side(form: Form, side: str, by_outcome: dict[str, Ready], settings: Settings) -> Iterator[NextRow]:
    setups = next_setups(form.knee(side), side, settings)
    foreseen = {name: _foreseen(form, side, setups, made, settings) for name, made in by_outcome.items()}
    kind = (
        foot_type_of(form.knee(side), settings.forefoot) or "",
        arrived(form.knee(side), settings.knee.neutral_within_deg) or "",
    )
    order, tied = _order(setups, foreseen["tilt"], kind[0], by_outcome["tilt"])
    for name, outcomes in _MEASURED.items():
        expected, beyond, typical = foreseen[name]
        for outcome in outcomes:
            spreads = [Spread(expected.mean, sd, outcome == "off_neutral") for sd in (expected.capture_sd, expected.knee_sd)]
            reach = by_outcome[name].bands.of(np.full(len(setups), kind[0], object), is_distance=spreads[0].is_distance)
            low, high = band(spreads[0], reach)
            knee_low, knee_high = band(spreads[1], reach)
            columns = np.column_stack([spreads[0].expected(), low, high, knee_low, knee_high])
            nearer = _nearer(spreads[1], typical) if outcome == "off_neutral" else None
            n_alike = by_outcome[name].n_alike.get(kind, 0) if all(kind) else 0
            for index, one in enumerate(setups):
                figures = [float(value) for value in columns[index]]
                shown: dict[str, Any] = {
                    name: None if beyond[index] else value for name, value in zip(_FIGURES, figures, strict=True)
                }
                yield NextRow(
                    side=side,
                    setup=one.words,
                    outcome=outcome,
                    unit=_UNITS[outcome],
                    is_allowed=not one.against,
                    against=one.against,
                    place=int(order[index]),
                    is_tied=bool(tied[index]),
                    **shown,
                    level=LEVEL,
                    nearer=None if nearer is None or beyond[index] else float(nearer[index]),
                    n_alike=n_alike,
                    beyond_data=bool(beyond[index]),
                    words=BEYOND if beyond[index] else told(outcome, figures[0], figures[1], figures[2], n_alike),
                )


_Foreseen = tuple[Expected, NDArray[np.bool_], float]


def _foreseen(form: Form, side: str, setups: Sequence[NextSetup], made: Ready, settings: Settings) -> _Foreseen:
    """The next capture of one knee with each setup, which of them lie beyond the data, and the typical error of a capture."""
    captures, targets = _captures(form, side, setups, made.foreseer.outcome, settings)
    expected = made.foreseer.foresee(captures, targets)
    return expected, made.foreseer.is_beyond(captures, targets), made.foreseer.variances.noise**0.5


def _captures(form: Form, side: str, setups: Sequence[NextSetup], outcome: str, settings: Settings) -> tuple[Captures, Targets]:
    """One visit a setup: both knees as they were measured, and a capture to come of this one."""
    rows: list[dict[str, Any]] = []
    for visit, one in enumerate(setups):
        for number, name in enumerate(SIDES):
            knee = form.knee(name)
            about = _about(knee, name, form, settings) | {"knee": number, "visit": visit, "session_knee": 2 * visit + number}
            measured = [np.nan if value is None else value for value in knee.measured(outcome)] or [np.nan]
            seen = [(knee.before, value) for value in measured]
            for order, (setup, value) in enumerate([*seen, (one.setup, np.nan)] if name == side else seen):
                rows.append(about | _of_capture(setup, order) | {outcome: value})
    text = {name for name, value in rows[0].items() if isinstance(value, str) or value is None}
    columns = {name: np.array([row[name] for row in rows], dtype=object if name in text else None) for name in rows[0]}
    captures = captures_of_rows(columns)
    targets = targets_of(captures)
    cells = 2 * np.arange(len(setups)) + SIDES.index(side)
    last = np.cumsum(captures.n)[cells] - 1
    return captures, targets.kept(np.isin(targets.row, last))


def _about(knee: Knee, side: str, form: Form, settings: Settings) -> dict[str, Any]:
    return {
        "rider": 0,
        "side": side,
        "visit_kind": form.visit_kind,
        "arch_height": knee.arch_height,
        "arch_collapse": knee.arch_collapse,
        "heel_posture": knee.heel_posture,
        "squat_knee_path": knee.squat_knee_path,
        "forefoot_angle_deg": np.nan if knee.forefoot_angle_deg is None else knee.forefoot_angle_deg,
        "foot_type": foot_type_of(knee, settings.forefoot),
    }


def _of_capture(setup: Setup, order: int) -> dict[str, Any]:
    return {
        "capture_order": order,
        "insole_level": setup.insole_level,
        "total_shims": setup.total_shims,
        "stance_mm": float(setup.stance_mm),
    }


def _order(
    setups: Sequence[NextSetup], foreseen: _Foreseen, foot_type: str, made: Ready
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The place of each setup by distance from neutral, of those allowed and of the others, and what is tied with the first."""
    expected, beyond, _ = foreseen
    distance = np.where(beyond, np.inf, Spread(expected.mean, expected.capture_sd, is_distance=True).expected())
    allowed = np.array([not one.against for one in setups])
    place, tied = np.zeros(len(setups), dtype=np.int64), np.zeros(len(setups), dtype=bool)
    values = np.array([_values(one.setup) for one in setups])
    for group in (allowed, ~allowed):
        members = np.flatnonzero(group)
        if len(members):
            order = members[np.argsort(distance[members], kind="stable")]
            place[order] = np.arange(1, len(order) + 1)
            error = np.sqrt(made.foreseer.unsure_of(values[order] - values[order[0]], np.full(len(order), foot_type, object)))
            apart = np.abs(expected.mean[order] - expected.mean[order[0]])
            tied[order] = np.isfinite(distance[order]) & (apart <= stats.norm.ppf(0.975) * error)
            tied[order[0]] = False
    return place, tied


def _values(setup: Setup) -> list[float]:
    levels = [float(setup.insole_level == level) for level in ("low", "medium", "high", "custom")]
    return [*levels, float(setup.total_shims), float(setup.stance_mm)]


def _nearer(knee: Spread, typical_error: float) -> Floats:
    """How probable it is that the knee stands nearer to neutral than expected as it is (the first), by more than the typical
    error of a capture."""
    return knee.below(np.full(len(knee.mean), knee.expected()[0] - typical_error))


def _difference(rows: Sequence[NextRow], chosen: Any) -> float | None:
    tilt = {row.side: row.expected for row in rows if row.outcome == "tilt" and chosen(row)}
    left, right = tilt.get("left"), tilt.get("right")
    return None if left is None or right is None else right - left


def _headline(rows: Sequence[NextRow]) -> str:
    """For each side the allowed setup after which such knees stood nearest to neutral, where it differs from as it is; hardly
    nearer where on neither side that is likely by more than the typical error."""
    nearest, others, likely = [], [], False
    for side in SIDES:
        of_side = {row.setup: row for row in rows if row.side == side and row.outcome == "off_neutral" and row.is_allowed}
        now = of_side[AS_IT_IS]
        first = min(of_side.values(), key=lambda row: row.place)
        if now.expected is None or first.expected is None:
            others.append(f"{side}: beyond our data")
        elif first is now or now.is_tied:
            others.append(f"{side}: no change told apart from as it is ({spoken(now.expected, 1, '°')} from neutral)")
        else:
            ties = [row.setup for row in of_side.values() if row.is_tied]
            tied = f" or {' or '.join(ties)}" if ties else ""
            likely |= (first.nearer or 0) >= LIKELY
            nearest.append(f"{side} with {first.setup}{tied} ({spoken(now.expected, 1)} to {spoken(first.expected, 1, '°')})")
    told = [f"{'Nearest' if likely else 'Hardly nearer'} to neutral: {', '.join(nearest)}"] if nearest else []
    parts = [*told, *others]
    return "; ".join([parts[0][:1].upper() + parts[0][1:], *parts[1:]]) + "."
