"""The tables of an anonymous export: one row a group of riders, every cell a mean or a share of at least `smallest` of them.

A rider stands in one row of each table (of `knees` in one a side), and nothing leads from a row to another: each
table and side has groups of its own, and every column is told in one table only.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from shared.statistics.microaggregation import groups_of

SQL: Final = Path(__file__).with_name("sql")
# So many of the lowest and of the highest measured values are told as the last of them, where riders are many.
_FEW_OF_MANY: Final = 20
Floats = np.ndarray[Any, np.dtype[np.float64]]
Integers = np.ndarray[Any, np.dtype[np.int64]]


@dataclass(frozen=True)
class Family:
    """Shares of riders by kind, of whom each is of one kind at most; `guarded`: no row says the same of all its riders."""

    columns: tuple[str, ...]
    guarded: bool = False


@dataclass(frozen=True)
class GroupTable:
    """One table: its SQL, what riders are grouped by, its families of shares, its means, and the ends of means on a scale."""

    name: str
    sql: str
    by_side: bool
    placed_by: tuple[str, ...]
    families: tuple[Family, ...]
    means: tuple[str, ...]
    scales: Mapping[str, tuple[float, float]]

    @property
    def shares(self) -> tuple[str, ...]:
        return tuple(column for family in self.families for column in family.columns)

    @property
    def columns(self) -> tuple[str, ...]:
        return (*self.shares, *self.means)


_INSOLES: Final = tuple(
    Family(tuple(f"share_insole_{level}_{moment}" for level in ("low", "medium", "high", "custom")))
    for moment in ("arrival", "departure")
)
_SETUPS: Final = ("shims_arrival", "shims_departure", "stance_arrival_mm", "stance_departure_mm")
SUPPORTS: Final = (*(column for family in _INSOLES for column in family.columns), *_SETUPS)
ARCH: Final = Family(tuple(f"share_arch_{height}" for height in ("low", "medium", "high")), guarded=True)
FOREFOOT: Final = Family(
    tuple(f"share_forefoot_{kind}" for kind in ("valgus", "neutral", "mild_varus", "marked_varus")), guarded=True
)
OUTCOMES: Final = tuple(
    f"{outcome}_{moment}_{unit}"
    for outcome, unit in (("tilt", "deg"), ("sway", "mm"), ("offset", "mm"))
    for moment in ("arrival", "departure")
)
KNEES: Final = GroupTable(
    "knee-groups", "first_knees.sql", True, SUPPORTS, (*_INSOLES, ARCH, FOREFOOT), (*_SETUPS, *OUTCOMES), scales={}
)
SEX: Final = Family(("share_female", "share_male"))
AGE: Final = Family(("share_under_30", "share_30_to_44", "share_45_to_59", "share_60_and_over"))
RIDING: Final = Family(
    tuple(f"share_{riding}" for riding in ("road", "gravel", "mountain", "triathlon", "commuting", "indoor"))
)
BOOKED: Final = Family(("share_booked",), guarded=True)
ATTENDED: Final = Family(("share_attended",), guarded=True)
COMFORT: Final = ("comfort_arrival", "comfort_departure")
RIDERS: Final = GroupTable(
    "rider-groups",
    "first_fits.sql",
    False,
    (*SEX.columns, *AGE.columns, *RIDING.columns),
    (SEX, AGE, RIDING, BOOKED, ATTENDED),
    COMFORT,
    scales=dict.fromkeys(COMFORT, (0.0, 10.0)),
)
TABLES: Final = (RIDERS, KNEES)


@dataclass(frozen=True)
class Grouped:
    """One table (or one side of it): the riders' own values, the row in which each stands, and the rows that are given out.

    `values` and `row_of` have one entry a rider, `rider_ids` beside them; `n_riders` and `shown` one entry a row.
    `left_out`: riders of the period who lack a value that most have, or of whom nothing is known here.
    """

    table: GroupTable
    side: str | None
    rider_ids: tuple[str, ...]
    values: pd.DataFrame
    row_of: Integers
    n_riders: Integers
    shown: pd.DataFrame
    left_out: int


def grouped(table: GroupTable, side: str | None, known: pd.DataFrame, smallest: int) -> Grouped:
    """The groups of one table and side of `known` (its SQL's rows). Raises TooFewError where there are too few riders."""
    rows = known[known["side"] == side] if side else known
    columns = list(table.columns)
    # A mean that most lack is not told of anyone; who lacks one of the others is left out, so that a row is of all its riders.
    told = [name for name in columns if rows[name].notna().mean() > 0.5]
    whole = rows.dropna(subset=told).reset_index(drop=True)
    row_of = _groups(whole[["rider_id", *columns]], table.placed_by, smallest)
    values = whole[columns].astype(float)
    row_of, n_riders, shown = _rows(table, values, row_of, set(told), smallest)
    return Grouped(table, side, tuple(whole["rider_id"]), values, row_of, n_riders, shown, len(rows) - len(whole))


def _groups(riders: pd.DataFrame, placed_by: tuple[str, ...], smallest: int) -> Integers:
    """Groups of riders who are near to each other, quite others where one rider is another.

    The riders' order and how much each column weighs are drawn from the riders themselves: the same riders stand in the same
    groups, and of two exports that differ by one rider not even the other rows can be taken from each other.
    """
    drawn = hashlib.sha256(pd.util.hash_pandas_object(riders, index=False).to_numpy().tobytes()).digest()
    generator = np.random.default_rng(int.from_bytes(drawn[:16], "big"))
    order = generator.permutation(len(riders))
    values = riders[list(placed_by)].to_numpy(dtype=float)[order]
    spread = values.std(axis=0)
    values = values / np.where(spread > 0, spread, 1.0) * generator.uniform(0.75, 1.25, len(placed_by))
    row_of = np.empty(len(riders), dtype=np.int64)
    row_of[order] = groups_of(values, smallest)
    return row_of


def _rows(
    table: GroupTable, values: pd.DataFrame, row_of: Integers, told: set[str], smallest: int
) -> tuple[Integers, Integers, pd.DataFrame]:
    """The rows that are given out, in an order that follows from what they say alone."""
    n_riders = np.bincount(row_of)
    coded = values.copy()
    for name in table.means:
        if name not in table.scales and name in told:
            coded[name] = _ends_together(values[name].to_numpy(), smallest)
    sums = coded.groupby(row_of).sum()
    shown = pd.DataFrame(index=range(len(n_riders)))
    for family in table.families:
        counts = _of_family(family, sums[list(family.columns)].to_numpy(), n_riders, values)
        for place, name in enumerate(family.columns):
            shown[name] = np.round(counts[:, place] / n_riders, 3)
    for name in table.means:
        means = sums[name].to_numpy() / n_riders
        if ends := table.scales.get(name):
            half = (ends[1] - ends[0]) / (2 * n_riders)
            means = np.clip(means, ends[0] + half, ends[1] - half)
        # Without negative zeros.
        shown[name] = np.round(means, 1) + 0.0 if name in told else np.nan
    order = np.lexsort([*(shown[name].to_numpy() for name in reversed(table.columns)), n_riders])
    place_of = np.argsort(order)
    return place_of[row_of], n_riders[order], shown.iloc[order].reset_index(drop=True)


def _ends_together(values: Floats, smallest: int) -> Floats:
    """The values with the few lowest and the few highest drawn in to the last of them, so that nobody's stands out."""
    n = min(smallest, len(values) // _FEW_OF_MANY)
    if n < 2:
        return values
    ordered = np.sort(values)
    return np.clip(values, ordered[n - 1], ordered[-n])


def _of_family(family: Family, counts: Floats, n_riders: Integers, values: pd.DataFrame) -> Floats:
    """Riders of each kind a row; where all of a guarded row are of one kind, one is told as of the most common other kind."""
    counts = np.rint(counts)
    if not family.guarded:
        return counts
    whole = np.column_stack([counts, n_riders - counts.sum(axis=1)])
    of_kind = values[list(family.columns)].sum().to_numpy()
    common = np.append(of_kind, len(values) - of_kind.sum())
    for row, kind in zip(*np.nonzero(whole == n_riders[:, None]), strict=True):
        others = np.where(np.arange(len(common)) == kind, -1, common)
        whole[row, kind] -= 1
        whole[row, int(np.argmax(others))] += 1
    return whole[:, :-1]
