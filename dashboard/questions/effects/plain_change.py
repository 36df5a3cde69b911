"""The plain change from arrival to departure, where a studio does not record which supports were in."""

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.effects import SQL
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.scope import Scope, counted, fragments, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.clustered.means import Estimate, clustered_mean
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.units import UNITS
from shared.warehouse import Warehouse

# What is told of each knee, with its unit, its name, and how a fall and a rise of it are said.
_THINGS: Final = {
    "off_neutral": ("deg", "distance of the tilt from neutral", "nearer to neutral", "further from neutral"),
    "sway": ("mm", "sway", "with less sway", "with more sway"),
}


def told(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember, absent: tuple[str, ...]) -> str:
    """The mean change of distance from neutral and of sway over knees recorded at both ends, and what a single knee is judged
    by; empty where no capture is recorded."""
    if "knee_captures" in absent:
        return ""
    scope = scope_of(warehouse, selection, settings, remember)
    knees = warehouse.arrays(SQL / "plain_change.sql", scope.parameters, **fragments())
    sentences = list(_changes(knees, settings))
    if not sentences:
        n = counted(len(knees["rider"]), "knee")
        return f"From captures alone: not enough yet to tell a change from arrival to departure, {n} recorded at both ends."
    one_knee = _of_one_knee(warehouse, knees, scope, settings, remember)
    return f"From captures alone, from arrival to departure: {'; '.join(sentences)}. {one_knee}"


def _changes(knees: dict[str, NDArray[Any]], settings: Settings) -> Iterator[str]:
    found: dict[str, tuple[Estimate, int]] = {}
    for thing in _THINGS:
        change = knees[f"{thing}_change"].astype(float)
        is_known = np.isfinite(change)
        rider = knees["rider"][is_known]
        if is_known.sum() < settings.minimum.rows_shown or count_riders(rider) < 2:
            continue
        try:
            found[thing] = clustered_mean(change[is_known], rider, settings.intervals.level), int(is_known.sum())
        except StatisticsError:
            continue
    q_values = in_family([estimate.p_value for estimate, _ in found.values()])
    for (thing, (estimate, n)), q_value in zip(found.items(), q_values, strict=True):
        unit, name, less, more = _THINGS[thing]
        sign = UNITS[unit].sign
        size = f"{spoken(estimate.estimate, 2, sign)} ({spoken(estimate.low, 2)} to {spoken(estimate.high, 2, sign)})"
        way = {-1: f"knees left {less}", 1: f"knees left {more}", 0: "no clear change"}[
            direction(estimate.low, estimate.high, q_value)
        ]
        yield f"the {name} changed by {size} on average over {counted(n, 'knee')}: {way}"


def _of_one_knee(
    warehouse: Warehouse, knees: dict[str, NDArray[Any]], scope: Scope, settings: Settings, remember: Remember
) -> str:
    """How many single knees changed by more than the noise, where the studio assumes one; or that none is known."""
    row = noise.row_of("tilt", noise.pairs_of(warehouse, scope, remember), settings)
    change = knees["off_neutral_change"].astype(float)
    change = change[np.isfinite(change)]
    if row.mdc95 is None or not len(change):
        return (
            "Of a single knee nothing is told: how much it differs from itself is neither recorded nor assumed "
            "(noise.assumed_tilt_deg)."
        )
    limit = f"{spoken(row.mdc95, 1, '°')}"
    nearer, further = (spoken_percent(float(share)) for share in ((change < -row.mdc95).mean(), (change > row.mdc95).mean()))
    return (
        f"By the noise that the studio assumes, {nearer} of knees left nearer to neutral than they came by more than {limit}, "
        f"{further} further from it."
    )
