"""Codes of the catalogue as small whole numbers: read and compared many times faster than text.

A code's number is its place among the codes of its column, from 1; 0 is not recorded.
"""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.selection import FOREFOOT_CLASSES
from shared.catalogue import catalogue

Codes = NDArray[np.int64]
NOT_RECORDED = 0

_TABLES = {
    "foot_exams": ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path"),
    "foot_setups": ("insole_level", "shim_place", "stance_by"),
    "fit_sessions": ("visit_kind", "saddle_condition"),
    "rider_ratings": ("topic",),
    "riders": ("riding", "sex"),
}
CODES: Mapping[str, tuple[str, ...]] = {
    **{name: catalogue()[table].column(name).codes for table, names in _TABLES.items() for name in names},
    "forefoot": FOREFOOT_CLASSES,
}
FOOT_TYPES: Final = tuple(f"{arch} arch, {forefoot}" for arch in CODES["arch_height"] for forefoot in FOREFOOT_CLASSES)


def code_sql(text: str, name: str) -> str:
    """SQL of the number of a code, from the SQL of its text; `name` is a key of CODES."""
    cases = " ".join(f"WHEN '{code}' THEN {number}" for number, code in enumerate(CODES[name], start=1))
    return f"(CASE {text} {cases} ELSE {NOT_RECORDED} END)::TINYINT"


def kinds(columns: Mapping[str, NDArray[Any]]) -> tuple[Codes, Codes]:
    """Rows that are alike in all columns get one number, (n,); also the first row of each number, -1 where it has none.

    columns: whole numbers, or floats that hold whole numbers and NaN, each (n,), n at least 1. Missing is a kind of its own.
    """
    number, size = np.zeros(len(next(iter(columns.values()))), dtype=np.int64), 1
    for column in columns.values():
        own, n_own = _from_zero(column)
        number, size = number * n_own + own, size * n_own
        if size > 4 * len(number) + 1000:  # too many to count through: keep those that are there
            present, number = np.unique(number, return_inverse=True)
            size = len(present)
    first = np.full(size, -1, dtype=np.int64)
    first[number[::-1]] = np.arange(len(number))[::-1]
    return number, first


def _from_zero(column: NDArray[Any]) -> tuple[Codes, int]:
    """Moves whole numbers to start at 0, those of floats at 1 with 0 for missing ones; also returns how many there may be."""
    if column.dtype.kind != "f":
        whole = column.astype(np.int64)
        low = int(whole.min())
        return whole - low, int(whole.max()) - low + 1
    missing = np.isnan(column)
    low = int(np.nanmin(column)) if not missing.all() else 0
    whole = np.where(missing, low - 1, column).astype(np.int64) - low + 1
    return whole, int(whole.max()) + 1
