"""How far a flagged fit is from the exam, whether nothing came out better, and so which fits are to look at.

A flag alone is no reason to sit down together: most fits have one. Distance and outcome are counted as METHODS.md says.
"""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching import SQL
from dashboard.questions.data.noise import own_noise, pairs_of
from dashboard.questions.selection.every_fit import Remember, Table, every_fit
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import Scope, counted
from shared.settings import Settings
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]
Counts = NDArray[np.int8]

# What became of tilt, comfort or pain, as agreement_fits.sql tells it of ratings.
NOT_ASKED, NOT_BETTER, BETTER = 0, 1, 2
_INSOLE_RULES = ("insole_follows_arch", "insole_left_out", "insole_not_away")
_SHIM_RULES = ("shims_to_need", "shim_against_forefoot", "shims_not_away")
_STANCE_RULE = "stance_follows_knee"


def severity_of(
    fits: Table, feet: Table, flagged: Mapping[str, Flags], saddle: Flags, nearest: Counts, settings: Settings
) -> dict[str, NDArray[Any]]:
    """Columns of every fit (n,): n_levels, n_shims and n_others from the exam, n_steps of all three, is_poor, and is_far.

    flagged: each rule's flags of the feet (2n,), left before right; saddle (n,); nearest (n,): what became of tilt. A flag that
    has no level or shim counts one step, and so does a wedge that brings the total to what the forefoot needs the wrong way.
    is_poor: none of tilt, comfort and pain came out better, and one of them had room to.
    """
    by_insole, by_shims = (np.any([flagged[name] for name in rules], axis=0) for rules in (_INSOLE_RULES, _SHIM_RULES))
    levels = _of_fits(np.where(by_insole, np.maximum(feet["levels_from_exam"], 1), 0))
    shims = _of_fits(np.where(by_shims, np.maximum(feet["shims_from_exam"], 1), 0))
    others = _of_fits(flagged[_STANCE_RULE]) + saddle
    came = np.array([nearest, fits["comfort_came"], fits["pain_came"]])
    steps = levels + shims + others
    return {
        "n_levels": levels.astype(np.int8),
        "n_shims": shims.astype(np.int8),
        "n_others": others.astype(np.int8),
        "n_steps": steps.astype(np.int8),
        "is_far": steps >= settings.agreement.look_from_steps,
        "is_poor": (came != BETTER).all(axis=0) & (came == NOT_BETTER).any(axis=0),
    }


def _of_fits(of_feet: NDArray[Any]) -> NDArray[np.int64]:
    """Sums two feet to a fit."""
    sums: NDArray[np.int64] = of_feet.reshape(-1, 2).sum(axis=1, dtype=np.int64)
    return sums


def tilt_limits(warehouse: Warehouse, scope: Scope, fits: Table, settings: Settings, remember: Remember | None) -> Any:
    """The smallest real change of tilt of each fit's own fitter (n,), NaN where none is known: from all repeats, whatever
    is selected, so that a fit is as severe in every selection."""
    noise = own_noise("tilt", pairs_of(warehouse, every_fit(scope), remember), settings)
    return noise.limits(fits["fitter"])


def came_nearer(before: NDArray[np.float64], after: NDArray[np.float64], limit: NDArray[np.float64]) -> Counts:
    """What became of the tilt of both knees: before, after (n, 2); limit (n,), NaN where none is known.

    BETTER: a knee came nearer to neutral by more than the limit, and none moved away by as much; NOT_BETTER: no knee did and
    one stood far enough from neutral to, or one moved away; else NOT_ASKED.
    """
    nearer, limits = np.abs(before) - np.abs(after), limit[:, None]
    has_worse = (nearer < -limits).any(axis=1)
    had_room = (np.isfinite(nearer) & (np.abs(before) > limits)).any(axis=1)
    better = (nearer > limits).any(axis=1) & ~has_worse
    came: Counts = np.where(better, BETTER, np.where(had_room | has_worse, NOT_BETTER, NOT_ASKED)).astype(np.int8)
    return came


def distance_words(n_levels: int, n_shims: int, n_others: int) -> str:
    """Says how far a fit is from the exam, as in: 2 levels and 1 shim."""
    counts = ((n_levels, "level"), (n_shims, "shim"), (n_others, "other finding"))
    parts = [counted(n, name) for n, name in counts if n]
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def rule_words(settings: Settings) -> str:
    """Says from when on a fit is to look at."""
    agreement = settings.agreement
    return (
        f"{counted(agreement.look_from_steps, 'level')} or shims or more from the exam, and neither tilt nor comfort nor pain "
        "came out better"
    )


def outcomes_of(warehouse: Warehouse, fit_nos: Iterable[int]) -> dict[int, tuple[str, str]]:
    """Each fit's session, and what became of tilt, comfort and pain in words, by the number of the fit."""
    rows = warehouse.rows(SQL / "agreement_worst.sql", {"fit_nos": sorted(int(number) for number in fit_nos)})
    return {row["fit_no"]: (row["session_id"], _outcome_words(row)) for row in rows}


def _outcome_words(row: Mapping[str, Any]) -> str:
    tilt = ", ".join(f"{side} {_from_to(row, f'tilt_{side}', 1, '°')}" for side in ("left", "right"))
    return f"tilt {tilt}; comfort {_from_to(row, 'comfort', 0)}; worst pain {_from_to(row, 'pain', 0)}"


def _from_to(row: Mapping[str, Any], name: str, decimals: int, sign: str = "") -> str:
    before, after = row[f"{name}_arrival"], row[f"{name}_departure"]
    if before is None or after is None:
        return "not recorded at both ends"
    return f"{spoken(before, decimals, sign)} to {spoken(after, decimals, sign)}"
