"""What can be wrong with a capture rig, put into a studio's recorded rows as the rig would have written them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.rig.recorded import QUANTITIES, Recorded
from shared.statistics.rig.moves import DAYS_A_MONTH

STEP_DEG = 1.5
SLOPE_DEG_A_MONTH = 0.08
APART_DEG = 1.4
EXCHANGED_SHARE = 0.15
# The standard deviation of what a worn rig adds to a tilt: with the demo's typical error of 0.6 degrees, about twice the noise.
NOISE_DEG = 1.0
Columns = dict[str, NDArray[Any]]
_Change = Callable[[Columns, NDArray[Any], np.random.Generator], None]


@dataclass(frozen=True)
class Fault:
    """`kind` is what should be found. `since`: whether it begins on a day, or holds from the first fit on."""

    name: str
    kind: str | None
    since: bool
    change: _Change


def _step(columns: Columns, hit: NDArray[Any], rng: np.random.Generator) -> None:
    for name in _tilts(columns):
        columns[name] = columns[name] + STEP_DEG * hit


def _slope(columns: Columns, hit: NDArray[Any], rng: np.random.Generator) -> None:
    months = (columns["day"] - columns["day"].min()) / DAYS_A_MONTH
    for name in _tilts(columns):
        columns[name] = columns[name] + SLOPE_DEG_A_MONTH * months


def _apart(columns: Columns, hit: NDArray[Any], rng: np.random.Generator) -> None:
    for name in _tilts(columns):
        columns[name] = columns[name] + (APART_DEG / 2 if "right" in name else -APART_DEG / 2) * hit


def _exchange(columns: Columns, hit: NDArray[Any], rng: np.random.Generator) -> None:
    for name in columns:
        if name.partition("_")[0] in QUANTITIES and "_left" in name:
            other = name.replace("left", "right")
            left, right = columns[name], columns[other]
            columns[name], columns[other] = np.where(hit, right, left), np.where(hit, left, right)


def _noise(columns: Columns, hit: NDArray[Any], rng: np.random.Generator) -> None:
    for name in _tilts(columns):
        columns[name] = columns[name] + hit * rng.normal(0, NOISE_DEG, len(hit))


def _nothing(columns: Columns, hit: NDArray[Any], rng: np.random.Generator) -> None:
    return


def _tilts(columns: Columns) -> list[str]:
    return [name for name in columns if name.startswith("tilt")]


FAULTS = (
    Fault("nothing", None, False, _nothing),
    Fault("zero moves by 1.5° on a day", "step", True, _step),
    Fault("zero drifts by 0.08° a month", "slope", False, _slope),
    Fault("right 1.4° out against left, always", "side", False, _apart),
    Fault("right 1.4° out against left from a day on", "side", True, _apart),
    Fault("left and right exchanged, always", "exchange", False, _exchange),
    Fault("left and right exchanged from a day on", "exchange", True, _exchange),
    Fault("left and right exchanged in 15 % of captures", "exchange", False, _exchange),
    Fault("noise doubled from a day on", "noise", True, _noise),
)
BY_NAME = {fault.name: fault for fault in FAULTS}


def with_fault(rows: Recorded, fault: Fault, day: int, rng: np.random.Generator) -> Recorded:
    """The rows as a rig with this fault would have written them; `day`: from when on, where it begins on a day."""
    changed = []
    hits = _hits_now_and_then(rows, rng) if "15 %" in fault.name else None
    for place, table in enumerate((rows.arrivals, rows.captures)):
        columns = {name: column.copy() for name, column in table.items()}
        if place == 1 and hits is not None:
            _exchange_each(columns, *hits)
        else:
            hit = rng.random(len(columns["day"])) < EXCHANGED_SHARE if hits is not None else np.ones(len(columns["day"]), bool)
            fault.change(columns, hit & (columns["day"] >= day) if fault.since else hit, rng)
        changed.append(columns)
    return Recorded(*changed)


def until(rows: Recorded, day: int) -> Recorded:
    """What was there on a day."""
    return Recorded(
        *({name: column[table["day"] <= day] for name, column in table.items()} for table in (rows.arrivals, rows.captures))
    )


def looks(rows: Recorded, first: int, every: int = 7) -> Iterator[tuple[int, Recorded]]:
    """What was there on `first`, and every few days after, to the end."""
    for day in range(first, int(rows.arrivals["day"].max()) + 1, every):
        yield day, until(rows, day)


def _hits_now_and_then(rows: Recorded, rng: np.random.Generator) -> tuple[NDArray[Any], NDArray[Any]]:
    """Whether the earlier, and the later capture of each pair is exchanged: each capture once, as earlier and as later one."""
    fit = rows.captures["fit_no"]
    later = rng.random(len(fit)) < EXCHANGED_SHARE
    first = rng.random(len(fit)) < EXCHANGED_SHARE
    begins = np.append(True, fit[1:] != fit[:-1])
    return np.where(begins, first, np.roll(later, 1)), later


def _exchange_each(columns: Columns, before: NDArray[Any], later: NDArray[Any]) -> None:
    for suffix, hit in (("_before", before), ("", later)):
        left, right = columns[f"tilt_left{suffix}"], columns[f"tilt_right{suffix}"]
        columns[f"tilt_left{suffix}"] = np.where(hit, right, left)
        columns[f"tilt_right{suffix}"] = np.where(hit, left, right)
