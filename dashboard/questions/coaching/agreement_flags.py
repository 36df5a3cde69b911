"""The rules of agreement asked of every selected fit: each rule once for each distinct foot that it can tell apart."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching import SQL
from dashboard.questions.coaching.agreement_rules import FOOT_RULES, SADDLE, Finding, Foot, Rule, Seat, saddle_before_supports
from dashboard.questions.coaching.agreement_severity import came_nearer, severity_of, tilt_limits
from dashboard.questions.selection.coded import CODES, code_sql, kinds
from dashboard.questions.selection.every_fit import Remember, Table, every_fit, places_of, rows_at
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import Scope, forefoot_class, fragments
from dashboard.questions.symmetry.both_sides import mean_of_sides
from dashboard.questions.symmetry.knee_patterns import Knees, patterns
from shared.settings import Settings
from shared.warehouse import Warehouse

Weights = NDArray[np.int8]

NOT_ASKED, AGREES, NOTE, FLAG = -1, 0, 1, 2
_WEIGHTS = {"agrees": AGREES, "note": NOTE, "flag": FLAG}
_WHOLE = ("total_shims_arrival", "shims_added", "shims_built_in", "stance_moved")
_KNEES = ("inward", "neutral", "outward")
_SIDES = ("left", "right")
# The text of each coded field of a foot.
_TEXTS = {
    **{name: CODES[name] for name in ("arch_height", "forefoot", "squat_knee_path", "shim_place", "stance_by")},
    **dict.fromkeys(("insole_arrival", "insole_departure"), CODES["insole_level"]),
    "knee": _KNEES,
}
_FOOT_FIELDS = tuple(field.name for field in fields(Foot) if field.name != "side")


@dataclass(frozen=True)
class Judged:
    """Every selected fit, by date. `by_foot`: each rule's weights, two a fit, left before right; `saddle`: one a fit. `feet`
    holds two rows a fit, of more fits than these: those of a fit at twice its place in `places` (n_fits,).

    `is_judged` (n_fits,): both feet examined (arch and forefoot) with a setup at departure; `agrees`: judged, and no flag;
    `severity`: columns of severity_of.
    """

    fits: Table
    feet: Table
    places: NDArray[np.int64]
    by_foot: Mapping[str, Weights]
    saddle: Weights
    is_judged: NDArray[np.bool_]
    agrees: NDArray[np.bool_]
    severity: Table
    limits: Settings

    @property
    def is_far(self) -> NDArray[np.bool_]:
        """Flagged, and many levels and shims from the exam."""
        return self.is_judged & ~self.agrees & self.severity["is_far"]

    @property
    def to_look_at(self) -> NDArray[np.bool_]:
        """Far from the exam, with nothing come out better: the fits to look at together."""
        return self.is_far & self.severity["is_poor"]

    def findings(self, fit: int) -> list[tuple[str | None, Finding]]:
        """The notes and flags of one fit in words, each with its side (None for the saddle)."""
        findings: list[tuple[str | None, Finding]] = []
        for number, side in enumerate(_SIDES):
            foot = foot_at(self.feet, 2 * int(self.places[fit]) + number)
            for rule in FOOT_RULES:
                if self.by_foot[rule.name][2 * fit + number] >= NOTE and (finding := rule.ask(foot, self.limits.agreement)):
                    findings.append((side, finding))
        if self.saddle[fit] >= NOTE and (finding := saddle_before_supports(_seat(self.fits, fit))):
            findings.append((None, finding))
        return findings

    def at(self, places: NDArray[np.int64]) -> "Judged":
        """Cuts out the fits at these places, which must rise."""
        feet = (2 * places[:, None] + np.array([0, 1])).ravel()
        fits = rows_at(self.fits, places)
        return replace(
            self,
            fits=fits | {"rider": _from_zero(fits["rider"])},
            places=self.places[places],
            by_foot=rows_at(self.by_foot, feet),
            saddle=self.saddle[places],
            is_judged=self.is_judged[places],
            agrees=self.agrees[places],
            severity=rows_at(self.severity, places),
        )


def judged_with_ids(warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None = None) -> Judged:
    """As judged_fits, with the ids of sessions and fitters, which are slow for many fits."""
    judged = judged_fits(warehouse, scope, settings, remember)
    ids = warehouse.arrays(SQL / "fit_ids.sql", scope.parameters, **fragments())
    return replace(judged, fits={**judged.fits, **ids})


def judged_fits(warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None = None) -> Judged:
    """Asks every rule of every selected fit; with `remember`, of all fits once a snapshot, since no rule asks for others."""
    if remember is None:
        return _judged(warehouse, scope, settings, None)
    judged: Judged = remember(("judged_fits",), lambda: _judged(warehouse, every_fit(scope), settings, remember))
    return judged.at(places_of(warehouse, scope, judged.fits["fit_no"], remember))


def _judged(warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None) -> Judged:
    fits, nearest = _fits(warehouse, scope, settings, remember)
    feet = _feet(warehouse, scope, settings)
    by_foot = {rule.name: _weights(rule, feet, settings) for rule in FOOT_RULES}
    saddle = _saddle_weights(fits, _fits_changed(feet), settings)
    flags = {name: weights == FLAG for name, weights in by_foot.items()}
    flagged = (saddle == FLAG) | np.any([of_feet.reshape(-1, 2).any(axis=1) for of_feet in flags.values()], axis=0)
    complete = (feet["arch_height"] > 0) & (feet["forefoot"] > 0) & (feet["insole_departure"] > 0)
    is_judged = np.asarray(complete.reshape(-1, 2).all(axis=1))
    severity = severity_of(fits, feet, flags, saddle == FLAG, nearest, settings)
    places = np.arange(len(saddle))
    return Judged(fits, feet, places, by_foot, saddle, is_judged, is_judged & ~flagged, severity, settings)


def _fits(
    warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None
) -> tuple[dict[str, NDArray[Any]], NDArray[np.int8]]:
    """Every fit's saddle, knees and outcomes: means over both knees, empty where a knee was not recorded at both ends; and what
    became of the tilt of both knees, as came_nearer tells it."""
    coded = {"saddle_condition_code": code_sql("fits.saddle_condition", "saddle_condition")}
    fits = warehouse.arrays(SQL / "agreement_fits.sql", scope.parameters, **fragments(), **coded)
    off = {side: np.abs(fits[f"tilt_{side}_deg"]) for side in _SIDES}
    both_ends = np.where(fits["has_departure"].astype(bool), 0.0, np.nan)
    nearer = (off["left"] + off["right"]) / 2 - sum(np.abs(fits[f"tilt_{side}_departure_deg"]) for side in _SIDES) / 2
    less = sum(fits[f"sway_{side}_mm"] for side in _SIDES) / 2 - sum(fits[f"sway_{side}_departure_mm"] for side in _SIDES) / 2
    before, after = (np.column_stack([fits[f"tilt_{side}{end}_deg"] for side in _SIDES]) for end in ("", "_departure"))
    limit = tilt_limits(warehouse, scope, fits, settings, remember)
    kept = {
        **{name: column for name, column in fits.items() if "departure" not in name},
        "rider": _from_zero(fits["rider"]),
        "off_neutral_arrival_deg": mean_of_sides(off["left"], off["right"]),
        "nearer_neutral_deg": nearer + both_ends,
        "sway_arrival_mm": mean_of_sides(fits["sway_left_mm"], fits["sway_right_mm"]),
        "less_sway_mm": less + both_ends,
    }
    return kept, came_nearer(before, after + both_ends[:, None], limit)


def _from_zero(rider: NDArray[Any]) -> NDArray[np.int32]:
    """Riders' numbers (n,) as numbers from 0 by id, among those that are there."""
    if len(rider) == 0:
        return rider.astype(np.int32)
    numbers: NDArray[np.int32] = (np.cumsum(np.bincount(rider) > 0) - 1).astype(np.int32)[rider]
    return numbers


def _feet(warehouse: Warehouse, scope: Scope, settings: Settings) -> dict[str, NDArray[Any]]:
    """Two rows a fit, left before right; text as codes (0 not recorded), and what the rules ask of knee and stance."""
    columns = {name: f"exams.{name}" for name in _TEXTS if name not in ("knee", "forefoot")}
    columns["forefoot"] = forefoot_class("exams.forefoot_angle_deg")
    coded = {f"{name}_code": code_sql(text, _code_name(name)) for name, text in columns.items()}
    feet = warehouse.arrays(
        SQL / "agreement_feet.sql", scope.parameters, **fragments(), **coded, forefoot_of_foot=columns["forefoot"]
    )
    tilt, limit = feet["tilt_arrival_deg"], settings.knee.neutral_within_deg
    start, end = feet["stance_arrival_mm"], feet["stance_departure_mm"]
    # Small numbers, since they are kept.
    return {
        **feet,
        **{name: feet[name].astype(np.float32) for name in _WHOLE if name in feet},
        "knee": np.where(np.isnan(tilt), 0, np.where(tilt < -limit, 1, np.where(tilt > limit, 3, 2))).astype(np.int8),
        "stance_moved": np.sign(end - start).astype(np.float32),
        "is_narrow": np.where(np.isnan(end), np.nan, end < 0).astype(np.float32),
    }


def _code_name(name: str) -> str:
    return "insole_level" if name.startswith("insole_") else name


def _weights(rule: Rule, feet: Table, settings: Settings) -> Weights:
    """One weight a foot; examined feet that are alike in the fields the rule decides by are asked once."""
    weights = np.full(len(feet["has_exam"]), NOT_ASKED, dtype=np.int8)
    examined = feet["has_exam"].astype(bool)
    if examined.any():
        kind, first = kinds({name: feet[name] for name in rule.fields})
        # A kind's first row may be of a foot without exam, which is alike in these fields all the same.
        asked = [
            _weight(rule.ask(foot_at(feet, row, rule.fields), settings.agreement)) if row >= 0 else NOT_ASKED
            for row in first.tolist()
        ]
        weights[examined] = np.array(asked, dtype=np.int8)[kind[examined]]
    return weights


def _weight(finding: Finding | None) -> int:
    return NOT_ASKED if finding is None else _WEIGHTS[finding.weight]


def foot_at(feet: Table, row: int, names: tuple[str, ...] = _FOOT_FIELDS) -> Foot:
    """The named fields of one row as the rules take them: missing is None, codes are text, counts are whole."""
    values: dict[str, Any] = {}
    for name in names:
        value = feet[name][row].item()
        if name in _TEXTS:
            values[name] = _TEXTS[name][value - 1] if value else None
        elif not (isinstance(value, float) and math.isnan(value)):
            values[name] = int(value) if name in _WHOLE else bool(value) if name == "is_narrow" else value
    return Foot(**values)


def _fits_changed(feet: Table) -> NDArray[np.bool_]:
    """Whether any support of either foot differs between arrival and departure."""
    total = feet["shims_added"].astype(float) + feet["shims_built_in"].astype(float)
    both = feet["has_exam"].astype(bool) & (feet["insole_arrival"] > 0) & (feet["insole_departure"] > 0)
    changed = (feet["insole_arrival"] != feet["insole_departure"]) | (total != feet["total_shims_arrival"].astype(float))
    changed |= feet["stance_moved"] != 0
    return np.asarray((both & changed).reshape(-1, 2).any(axis=1))


def _saddle_weights(fits: Table, has_changed: NDArray[np.bool_], settings: Settings) -> Weights:
    measured = {name: fits[name] for name in ("tilt_left_deg", "tilt_right_deg", "offset_left_mm", "offset_right_mm")}
    none = np.full(len(has_changed), np.nan)
    knees = Knees(**measured, sway_left_mm=none, sway_right_mm=none, high_sway_mm=none)
    opposed = patterns(knees, settings.knee)["opposed"]
    known = np.isfinite(knees.tilt_left_deg) & np.isfinite(knees.tilt_right_deg)
    weights = np.where(known, AGREES, NOT_ASKED).astype(np.int8)
    asked = np.flatnonzero(opposed & known & has_changed)
    if len(asked):
        sit_bones, saddle = (fits[name].astype(float)[asked] for name in ("sit_bone_width_mm", "saddle_width_mm"))
        alike = {"no_sit": np.isnan(sit_bones), "no_saddle": np.isnan(saddle), "narrow": saddle < sit_bones}
        kind, first = kinds({**alike, "condition": fits["saddle_condition"][asked]})
        weight_of_kind = [
            _weight(saddle_before_supports(_seat(fits, int(asked[row])))) if row >= 0 else NOT_ASKED for row in first.tolist()
        ]
        weights[asked] = np.array(weight_of_kind, dtype=np.int8)[kind]
    return weights


def _seat(fits: Table, fit: int) -> Seat:
    """The saddle of a fit whose knees stood opposed and whose supports were changed."""
    left, right = (float(fits[f"tilt_{side}_deg"][fit]) for side in _SIDES)
    widths = (float(fits[name][fit]) for name in ("sit_bone_width_mm", "saddle_width_mm"))
    sit_bones, saddle = (None if math.isnan(width) else width for width in widths)
    condition = int(fits["saddle_condition"][fit])
    words = f" (tilt left {spoken(left, 1, '°')}, right {spoken(right, 1, '°')})"
    return Seat(words, True, True, sit_bones, saddle, CODES["saddle_condition"][condition - 1] if condition else None)


def rule_weights(judged: Judged) -> dict[str, Weights]:
    """Every rule's weights over the judged fits only: one a foot, or one a fit for the saddle."""
    feet = np.repeat(judged.is_judged, 2)
    return {**{name: weights[feet] for name, weights in judged.by_foot.items()}, SADDLE: judged.saddle[judged.is_judged]}
