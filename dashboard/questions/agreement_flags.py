"""The rules of agreement asked of every selected fit: each rule once for each distinct foot that it can tell apart."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dashboard.questions.agreement_rules import FOOT_RULES, SADDLE, Finding, Foot, Rule, Seat, saddle_before_supports
from dashboard.questions.knee_patterns import Knees, patterns
from dashboard.questions.levels import exam_fragments
from dashboard.questions.numbers import spoken
from dashboard.questions.scope import SQL, Scope
from shared.settings import Settings
from shared.warehouse import Warehouse

Table = Mapping[str, NDArray[Any]]
Weights = NDArray[np.int8]

NOT_ASKED, AGREES, NOTE, FLAG = -1, 0, 1, 2
_WEIGHTS = {"agrees": AGREES, "note": NOTE, "flag": FLAG}
_WHOLE = ("total_shims_arrival", "shims_added", "shims_built_in", "stance_moved")
_FOOT_FIELDS = tuple(field.name for field in fields(Foot))


@dataclass(frozen=True)
class Judged:
    """Every selected fit, numbered by date. `by_foot`: a weight for each rule and row of `feet`; `saddle`: one a fit.

    `is_judged` (n_fits,): both feet examined (arch and forefoot) with a setup at departure; `agrees`: judged, and no flag.
    """

    fits: Table
    feet: Table
    by_foot: Mapping[str, Weights]
    saddle: Weights
    is_judged: NDArray[np.bool_]
    agrees: NDArray[np.bool_]
    limits: Settings

    def findings(self, fit: int) -> list[tuple[str | None, Finding]]:
        """The notes and flags of one fit in words, each with its side (None for the saddle)."""
        found: list[tuple[str | None, Finding]] = []
        start, stop = np.searchsorted(self.feet["fit"], [fit, fit + 1])
        for row in range(int(start), int(stop)):
            foot = foot_at(self.feet, row)
            for rule in FOOT_RULES:
                if self.by_foot[rule.name][row] >= NOTE and (finding := rule.ask(foot, self.limits.agreement)):
                    found.append((foot.side, finding))
        if self.saddle[fit] >= NOTE and (finding := saddle_before_supports(_seat(self.fits, fit))):
            found.append((None, finding))
        return found


def judged_fits(warehouse: Warehouse, scope: Scope, settings: Settings) -> Judged:
    """Asks every rule of every selected fit."""
    own = exam_fragments()
    fits = warehouse.arrays(SQL / "agreement_fits.sql", scope.parameters, **own)
    feet = warehouse.arrays(SQL / "agreement_feet.sql", scope.parameters, **own)
    by_foot = {rule.name: _weights(rule, feet, settings) for rule in FOOT_RULES}
    saddle = _saddle_weights(fits, _fits_changed(fits, feet), settings)
    complete = _present(feet, "arch_height") & _present(feet, "forefoot") & _present(feet, "insole_departure")
    n = len(fits["fit"])
    is_judged = np.bincount(feet["fit"][complete], minlength=n) == 2
    flagged = saddle == FLAG
    for weights in by_foot.values():
        flagged |= np.bincount(feet["fit"][weights == FLAG], minlength=n) > 0
    return Judged(fits, feet, by_foot, saddle, is_judged, is_judged & ~flagged, settings)


def _present(table: Table, name: str) -> NDArray[np.bool_]:
    return np.asarray(pd.notna(table[name]))


def _weights(rule: Rule, feet: Table, settings: Settings) -> Weights:
    """One weight a foot; feet that are alike in the fields the rule decides by are asked once."""
    if not len(feet["fit"]):
        return np.empty(0, dtype=np.int8)
    kind, examples = _kinds({name: feet[name] for name in rule.fields})
    weights = [_weight(rule.ask(foot_at(feet, int(row), rule.fields), settings.agreement)) for row in examples]
    return np.asarray(np.array(weights, dtype=np.int8)[kind])


def _weight(finding: Finding | None) -> int:
    return NOT_ASKED if finding is None else _WEIGHTS[finding.weight]


def foot_at(feet: Table, row: int, names: tuple[str, ...] = _FOOT_FIELDS) -> Foot:
    """The named fields of one row as the rules take them: missing is None, counts are whole."""
    values: dict[str, Any] = {}
    for name in names:
        value = feet[name][row]
        if value is not None and not (isinstance(value, float) and math.isnan(value)):
            values[name] = int(value) if name in _WHOLE else value
    return Foot(**values)


def _fits_changed(fits: Table, feet: Table) -> NDArray[np.bool_]:
    """Whether any support of either foot differs between arrival and departure."""
    total = feet["shims_added"].astype(float) + feet["shims_built_in"].astype(float)
    both = _present(feet, "insole_arrival") & _present(feet, "insole_departure")
    changed = (feet["insole_arrival"] != feet["insole_departure"]) | (total != feet["total_shims_arrival"].astype(float))
    changed |= feet["stance_moved"].astype(float) != 0
    return np.bincount(feet["fit"][both & changed], minlength=len(fits["fit"])) > 0


def _saddle_weights(fits: Table, has_changed: NDArray[np.bool_], settings: Settings) -> Weights:
    measured = {
        name: fits[name].astype(float) for name in ("tilt_left_deg", "tilt_right_deg", "offset_left_mm", "offset_right_mm")
    }
    none = np.full(len(fits["fit"]), np.nan)
    knees = Knees(**measured, sway_left_mm=none, sway_right_mm=none, high_sway_mm=none)
    opposed = patterns(knees, settings.knee)["opposed"]
    known = np.isfinite(knees.tilt_left_deg) & np.isfinite(knees.tilt_right_deg)
    weights = np.where(known, AGREES, NOT_ASKED).astype(np.int8)
    asked = np.flatnonzero(opposed & known & has_changed)
    if len(asked):
        sit_bones, saddle = (fits[name].astype(float)[asked] for name in ("sit_bone_width_mm", "saddle_width_mm"))
        alike = {"no_sit": np.isnan(sit_bones), "no_saddle": np.isnan(saddle), "narrow": saddle < sit_bones}
        kind, examples = _kinds({**alike, "condition": fits["saddle_condition"][asked]})
        found = [_weight(saddle_before_supports(_seat(fits, int(asked[row])))) for row in examples]
        weights[asked] = np.array(found, dtype=np.int8)[kind]
    return weights


def _kinds(columns: dict[str, NDArray[Any]]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Rows that are alike in all columns get one number; also the first row of each."""
    kind = pd.DataFrame(columns).groupby(list(columns), dropna=False, sort=False).ngroup().to_numpy()
    first = np.full(int(kind.max()) + 1, -1, dtype=np.int64)
    first[kind[::-1]] = np.arange(len(kind))[::-1]
    return kind, first


def _seat(fits: Table, fit: int) -> Seat:
    """The saddle of a fit whose knees stood opposed and whose supports were changed."""
    left, right = (float(fits[f"tilt_{side}_deg"][fit]) for side in ("left", "right"))
    measured = (fits[name][fit] for name in ("sit_bone_width_mm", "saddle_width_mm", "saddle_condition"))
    sit_bones, saddle, condition = (None if pd.isna(value) else value for value in measured)
    words = f" (tilt left {spoken(left, 1, '°')}, right {spoken(right, 1, '°')})"
    return Seat(words, True, True, sit_bones, saddle, condition)


def rule_weights(judged: Judged) -> dict[str, Weights]:
    """Every rule's weights over the judged fits only: one a foot, or one a fit for the saddle."""
    feet = judged.is_judged[judged.feet["fit"]]
    return {**{name: weights[feet] for name, weights in judged.by_foot.items()}, SADDLE: judged.saddle[judged.is_judged]}
