"""The case mix: what a rider came with, as the columns of a design that knows no fitter."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.statistics.case_mix import ROWS_PER_TERM

Rows = dict[str, NDArray[Any]]

_ARRIVAL = ("off_neutral_arrival_deg", "tilt_arrival_deg", "side_difference_arrival_deg", "sway_arrival_mm")
_EXAM = (
    "forefoot_angle_deg",
    "arch_low",
    "arch_high",
    "collapse_some",
    "collapse_marked",
    "heel_inverted",
    "heel_everted",
    "squat_inward",
    "squat_outward",
)
# What these leave behind need not rise in a straight line: a knee far from neutral has further to go than supports reach.
_CURVED = ("off_neutral_arrival_deg", "side_difference_arrival_deg")
_KINDS = ("visit_kind", "bike_kind")


@dataclass(frozen=True)
class CaseMix:
    """design (n, p), intercept first; terms (p)."""

    design: NDArray[np.float64]
    terms: tuple[str, ...]


def case_mix(rows: Rows) -> CaseMix:
    """Arrival tilt and sway, exam, kind of visit and of bicycle of each fit.

    A missing measure takes the mean of the others and a column of its own. A column with fewer than ROWS_PER_TERM fits that
    differ from the rest is left out, and so is a rare kind: its fits count with the most common one.
    """
    n = len(rows["rider"])
    columns: dict[str, NDArray[np.float64]] = {}
    for name in (*_ARRIVAL, *_EXAM):
        values = rows[name].astype(float)
        missing = ~np.isfinite(values)
        columns[name] = np.where(missing, 0.0 if missing.all() else float(np.nanmean(values)), values)
        if missing.any():
            columns[f"{name} missing"] = missing.astype(float)
        if name in _CURVED:
            columns[f"{name} squared"] = columns[name] ** 2
    for name in _KINDS:
        kinds, counts = np.unique(rows[name].astype(str), return_counts=True)
        for kind in np.delete(kinds, int(np.argmax(counts))):
            columns[f"{name} {kind}"] = (rows[name] == kind).astype(float)
    kept = {name: column for name, column in columns.items() if _varies(column)}
    return CaseMix(np.column_stack([np.ones(n), *kept.values()]), ("intercept", *kept))


def _varies(column: NDArray[np.float64]) -> bool:
    """Whether enough fits differ from the most common value."""
    _, counts = np.unique(column, return_counts=True)
    return bool(len(column) - counts.max() >= ROWS_PER_TERM)
