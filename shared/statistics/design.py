"""A design from measures of which some are missing: what a row came with, as columns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.statistics.case_mix import ROWS_PER_TERM

Rows = Mapping[str, NDArray[Any]]


@dataclass(frozen=True)
class Design:
    """design (n, p), intercept first, column by column in memory; terms (p)."""

    design: NDArray[np.float64]
    terms: tuple[str, ...]


def filled(rows: Rows, names: Sequence[str], curved: Sequence[str] = ()) -> dict[str, NDArray[np.float64]]:
    """Measures by name: a missing one takes the mean of the others and a column of its own; those of `curved` also squared."""
    columns: dict[str, NDArray[np.float64]] = {}
    for name in names:
        values = rows[name]
        missing = ~np.isfinite(values)
        columns[name] = np.where(missing, 0.0 if missing.all() else float(np.nanmean(values)), values)
        if missing.any():
            columns[f"{name} missing"] = missing.astype(float)
        if name in curved:
            columns[f"{name} squared"] = columns[name] ** 2
    return columns


def of_columns(columns: Mapping[str, NDArray[np.float64]], n: int) -> Design:
    """The design (n rows) of an intercept and of the columns in which enough rows differ from the rest."""
    kept = {name: column for name, column in columns.items() if _varies(column)}
    # Column by column, as they are made.
    return Design(np.stack([np.ones(n), *kept.values()]).T, ("intercept", *kept))


def _varies(column: NDArray[np.float64]) -> bool:
    """Whether at least ROWS_PER_TERM fits differ from the most common value.

    Where fewer do, that value leads among any twice so many rows less one, so that only the value that leads there is counted.
    """
    values, counts = np.unique(column[: 2 * ROWS_PER_TERM - 1], return_counts=True)
    return bool(np.count_nonzero(column != values[int(np.argmax(counts))]) >= ROWS_PER_TERM)
