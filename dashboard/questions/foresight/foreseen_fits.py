"""Foresees the fits of another set of tables, of riders who are not in the warehouse."""

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.foresight import SQL
from dashboard.questions.foresight.answers_foresight import ForeseenFits, ForeseenRow
from dashboard.questions.foresight.by_type import types_of
from dashboard.questions.foresight.ready import LEVEL, OUTCOMES, Ready, kinds_of, ready
from dashboard.questions.foresight.targets import Targets, targets_of
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.models.captures import Captures, read_captures
from dashboard.questions.models.frames import SUPPORTS
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted, scope_of
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.statistics.foresight.bands import Spread, band
from shared.warehouse import Warehouse

METHOD: Final = {
    "expected": "the mixed model's best linear prediction from the exam and the captures before the first change, with the "
    "middle of each support's told interval",
    "band": "of the capture as it will be measured, as wide as riders held out whole ask for (distributional conformal "
    "prediction, rows of a rider counted together as one); by foot type from 40 riders on",
    "level": LEVEL,
}
_NAMES: Final = {"tilt": "Tilt", "sway": "Sway", "off_neutral": "Distance from neutral"}
_UNITS: Final = {"tilt": "°", "sway": "mm", "off_neutral": "°"}


def foreseen_fits(warehouse: Warehouse, given: Warehouse, settings: Settings, remember: Remember = at_once) -> ForeseenFits:
    """Every capture after the first of each session and side of `given`, foreseen from what `warehouse` holds.

    Raises StatisticsError where the warehouse holds too few riders to foresee anything.
    """
    scope = scope_of(warehouse, Selection(), settings, remember)
    captures, _ = read_captures(given, settings)
    keys = given.arrays(SQL / "capture_keys.sql")
    by_measured = {measured: ready(warehouse, measured, settings, remember) for measured in dict.fromkeys(OUTCOMES.values())}
    rows = tuple(row for outcome, measured in OUTCOMES.items() for row in _rows(outcome, by_measured[measured], captures, keys))
    rows = tuple(sorted(rows, key=lambda row: (row.session_id, row.side, row.capture_no)))
    n_beyond = sum(row.beyond_data for row in rows)
    headline = f"{counted(len(rows), 'figure')} foreseen of captures after the first."
    if not rows:
        headline = "No capture after the first has a recorded setup: nothing is foreseen."
    if n_beyond:
        headline += f" {counted(n_beyond, 'figure')} lie beyond our data and have no number."
    return ForeseenFits(
        as_of=scope.as_of,
        selection={},
        selection_words="Fits that are given, foreseen from all fits of the warehouse",
        method=METHOD,
        headline=headline,
        foreseen=rows,
    )


def _rows(outcome: str, made: Ready, captures: Captures, keys: dict[str, NDArray[np.generic]]) -> Iterator[ForeseenRow]:
    targets = targets_of(captures)
    beyond = made.foreseer.is_beyond(captures, targets)
    foreseen = made.foreseer.foresee(captures, targets)
    spread = Spread(foreseen.mean, foreseen.capture_sd, is_distance=outcome == "off_neutral")
    expected = spread.expected()
    low, high = band(spread, made.bands.of(types_of(captures)[targets.cell], is_distance=spread.is_distance))
    kinds = kinds_of(captures)
    at_once = _changed(targets)
    for place, row in enumerate(targets.row):
        kind = kinds[targets.cell[place]]
        n_alike = made.n_alike.get(kind, 0) if all(kind) else 0
        figures = (float(expected[place]), float(low[place]), float(high[place]))
        shown: tuple[float | None, float | None, float | None] = (None, None, None) if beyond[place] else figures
        yield ForeseenRow(
            str(keys["session_id"][row]),
            str(keys["side"][row]),
            int(keys["capture_no"][row]),
            outcome,
            *shown,
            LEVEL,
            n_alike,
            bool(beyond[place]),
            BEYOND if beyond[place] else told(outcome, *figures, n_alike) + (AT_ONCE if at_once[place] > 1 else ""),
        )


def _changed(targets: Targets) -> NDArray[np.int64]:
    """How many supports differ from what they were before the change, each (n,): insole, shims, stance."""
    is_insole = np.array([name.startswith("insole") for name in SUPPORTS])
    differs = targets.change != 0
    return np.asarray(differs[:, is_insole].any(axis=1) + differs[:, ~is_insole].sum(axis=1), dtype=np.int64)


AT_ONCE: Final = " More than one support differs from the first capture: what each does is added up."
BEYOND: Final = "Beyond our data: no fit here changed a support so, or as far; nothing is foreseen."


def told(outcome: str, expected: float, low: float, high: float, n_alike: int) -> str:
    """What is foreseen, in words."""
    unit = _UNITS[outcome]
    return (
        f"{_NAMES[outcome]} expected at {spoken(expected, 1, unit)}; of ten such captures about eight lie between "
        f"{spoken(low, 1)} and {spoken(high, 1, unit)}. {counted(n_alike, 'like knee')} seen here."
    )
