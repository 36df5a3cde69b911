"""What the rig recorded, as numbers: arrivals of both knees, and pairs of consecutive captures, all fits of the warehouse."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shared.statistics.rig.exchange import Captures
from shared.statistics.rig.moves import Series
from shared.warehouse import Warehouse

Floats = NDArray[np.float64]
Rows = Mapping[str, NDArray[Any]]

QUANTITIES: Final = ("tilt", "sway", "offset")
_HERE: Final = Path(__file__).parent
_FEET: Final = ("arch", "collapse", "forefoot", "insole", "shims", "stance")
# Codes of a foot that are no numbers: each beyond the first is a column of its own.
_LEVELS: Final = {"arch": 3, "collapse": 3, "insole": 5}


@dataclass(frozen=True)
class Recorded:
    """`arrivals`: a row a fit; `captures`: a row a capture with one before it; columns as their named SQL says."""

    arrivals: Rows
    captures: Rows

    def by_studio(self) -> Iterator[tuple[int, "Recorded"]]:
        """The rows of each studio with its number."""
        for studio in np.unique(self.arrivals["studio"]).tolist():
            yield int(studio), self.where("studio", studio)

    def where(self, column: str, value: Any) -> "Recorded":
        return Recorded(*(_rows(table, table[column] == value) for table in (self.arrivals, self.captures)))


def recorded(warehouse: Warehouse) -> Recorded:
    """Reads all fits of a warehouse."""
    arrivals = warehouse.arrays(_HERE / "arrivals.sql")
    return Recorded(_with_days(arrivals), _with_days(warehouse.arrays(_HERE / "captures.sql")))


def designs(arrivals: Rows) -> tuple[Floats, Floats]:
    """What arrivals are held for, of both knees together and of right less left: the mean, and the difference, of what the feet
    are and carry; together also visit, bicycle and fitter."""
    left, right = (_feet(arrivals, side) for side in ("left", "right"))
    words = [_indicators(arrivals[word].astype(float)) for word in ("visit_kind", "bike_kind", "fitter")]
    return _with_intercept((left + right) / 2, *words), _with_intercept(right - left)


def together(arrivals: Rows, quantity: str, design: Floats, least: int) -> Series:
    """The mean of both knees at arrival."""
    return _series(arrivals, (arrivals[f"{quantity}_left"] + arrivals[f"{quantity}_right"]) / 2, design, least)


def apart(arrivals: Rows, quantity: str, design: Floats, least: int) -> Series:
    """The right knee less the left one at arrival."""
    return _series(arrivals, arrivals[f"{quantity}_right"] - arrivals[f"{quantity}_left"], design, least)


def scatter(captures: Rows, quantity: str, least: int) -> Series:
    """How far two captures with the same setup lie apart: the root of the distance, which is nearly normal, a knee each."""
    distances, places = [], []
    for side in ("left", "right"):
        distance = np.abs(change_of(captures, quantity, side))
        at = np.flatnonzero(captures[f"is_repeat_{side}"].astype(bool) & np.isfinite(distance))
        distances.append(distance[at])
        places.append(at)
    at = np.concatenate(places)
    order = np.argsort(at, kind="stable")
    rows = _rows(captures, at[order])
    values = np.sqrt(np.concatenate(distances)[order])
    return _series(rows, values, _with_intercept(_indicators(rows["fitter"].astype(float))), least)


def change_of(captures: Rows, quantity: str, side: str) -> Floats:
    """How much later captures differ from the ones before."""
    if quantity == "tilt":
        return np.asarray(captures[f"tilt_{side}"] - captures[f"tilt_{side}_before"])
    return np.asarray(captures[f"{quantity}_{side}_change"])


def pairs(captures: Rows) -> Captures:
    """Tilts and setups of consecutive captures in which all of them are known."""
    steps = {side: _steps(captures, side) for side in ("left", "right")}
    tilts = [captures[f"tilt_{side}{when}"] for side in ("left", "right") for when in ("_before", "")]
    known = np.isfinite(np.column_stack([*tilts, steps["left"], steps["right"]])).all(axis=1)
    left_before, left, right_before, right = (tilt[known] for tilt in tilts)
    return Captures(
        before=right_before - left_before,
        after=right - left,
        mean_change=(right - right_before + left - left_before) / 2,
        own=(steps["right"] - steps["left"])[known],
        shared=((steps["right"] + steps["left"]) / 2)[known],
        fit=captures["fit_no"][known],
        day=captures["day"][known],
    )


def _steps(captures: Rows, side: str) -> Floats:
    """What was changed at one foot: levels of insole as indicators, shims, stance."""
    later, before = (captures[f"insole_{side}{when}"] for when in ("", "_before"))
    known = np.where(np.isfinite(later) & np.isfinite(before), 0.0, np.nan)
    levels = [(later == level) * 1.0 - (before == level) + known for level in range(2, _LEVELS["insole"] + 1)]
    return np.column_stack([*levels, captures[f"shims_{side}"], captures[f"stance_{side}"]])


def _feet(arrivals: Rows, side: str) -> Floats:
    """What one foot is and carries: levels as indicators, numbers as they are, what is missing as the mean and an indicator."""
    columns = []
    for name in _FEET:
        values = arrivals[f"{name}_{side}"].astype(float)
        missing = ~np.isfinite(values)
        if name in _LEVELS:
            columns += [(values == level) * 1.0 for level in range(2, _LEVELS[name] + 1)]
        else:
            columns.append(np.where(missing, values[~missing].mean() if not missing.all() else 0.0, values))
        columns.append(missing * 1.0)
    return np.column_stack(columns)


def _indicators(codes: Floats) -> Floats:
    """A column for each code but the most frequent."""
    if not len(codes):
        return np.empty((0, 0))
    labels, counts = np.unique(codes, return_counts=True)
    others = np.delete(labels, np.argmax(counts))
    return np.asarray((codes[:, None] == others[None, :]) * 1.0)


def _with_intercept(*columns: Floats) -> Floats:
    """The columns that say anything, behind the intercept."""
    beside = np.column_stack(columns)
    return np.column_stack([np.ones(len(beside)), beside[:, beside.any(axis=0)]])


def _series(rows: Rows, values: Floats, design: Floats, least: int) -> Series:
    known = np.isfinite(values)
    if known.all():
        return Series(values.astype(float), design, rows["rider"], rows["day"], least)
    return Series(values[known].astype(float), design[known], rows["rider"][known], rows["day"][known], least)


def _with_days(rows: Rows) -> Rows:
    return {**rows, "day": rows["day"].astype("datetime64[D]").astype(np.int64)}


def _rows(table: Rows, places: NDArray[Any]) -> Rows:
    return {name: column[places] for name, column in table.items()}
