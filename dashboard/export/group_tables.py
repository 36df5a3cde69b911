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
_STEPS: Final = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
_STEPS_IN_SPREAD: Final = 25
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
    mostly_known = [name for name in columns if rows[name].notna().mean() > 0.5]
    whole = rows.dropna(subset=mostly_known).reset_index(drop=True)
    generator = _drawn_from(whole[["rider_id", *columns]])
    row_of = _groups(whole[list(table.placed_by)], smallest, generator)
    values = whole[columns].astype(float)
    row_of, n_riders, given_out = _rows_given_out(table, values, row_of, set(mostly_known), smallest, generator)
    return Grouped(table, side, tuple(whole["rider_id"]), values, row_of, n_riders, given_out, len(rows) - len(whole))


def _drawn_from(riders: pd.DataFrame) -> np.random.Generator:
    """Random numbers that follow from the riders themselves: the same riders give the same table, one rider more another one.

    So of two exports that differ by one rider not even the other rows are alike, and the rider cannot be taken from them.
    """
    digest = hashlib.sha256(pd.util.hash_pandas_object(riders, index=False).to_numpy().tobytes()).digest()
    return np.random.default_rng(int.from_bytes(digest, "big"))


def _groups(places: pd.DataFrame, smallest: int, generator: np.random.Generator) -> Integers:
    """Groups of riders who are near to each other; their order and how much each column weighs are drawn."""
    order = generator.permutation(len(places))
    values = places.to_numpy(dtype=float)[order]
    spread = values.std(axis=0)
    row_of = np.empty(len(places), dtype=np.int64)
    row_of[order] = groups_of(
        values / np.where(spread > 0, spread, 1.0) * generator.uniform(0.75, 1.25, values.shape[1]), smallest
    )
    return row_of


def _rows_given_out(
    table: GroupTable,
    values: pd.DataFrame,
    row_of: Integers,
    mostly_known: set[str],
    smallest: int,
    generator: np.random.Generator,
) -> tuple[Integers, Integers, pd.DataFrame]:
    """The rows that are given out, in an order that follows from what they say alone."""
    n_riders = np.bincount(row_of)
    coded = values.copy()
    for name in table.means:
        if name not in table.scales and name in mostly_known:
            coded[name] = _ends_together(values[name].to_numpy(), smallest)
    sums = coded.groupby(row_of).sum()
    given_out = pd.DataFrame(index=range(len(n_riders)))
    for family in table.families:
        counts = _of_family(family, sums[list(family.columns)].to_numpy(), n_riders, values, generator)
        for place, name in enumerate(family.columns):
            given_out[name] = np.round(counts[:, place] / n_riders, 3)
    for name in table.means:
        means = sums[name].to_numpy() / n_riders
        if ends := table.scales.get(name):
            half = (ends[1] - ends[0]) / (2 * n_riders)
            means = np.clip(means, ends[0] + half, ends[1] - half)
        given_out[name] = _in_steps(means, values[name].to_numpy()) if name in mostly_known else np.nan
    order = np.lexsort([*(given_out[name].to_numpy() for name in reversed(table.columns)), n_riders])
    place_of = np.argsort(order)
    return place_of[row_of], n_riders[order], given_out.iloc[order].reset_index(drop=True)


def _ends_together(values: Floats, smallest: int) -> Floats:
    """The values with the few lowest and the few highest drawn in to the last of them, so that nobody's stands out."""
    n = min(smallest, len(values) // _FEW_OF_MANY)
    if n < 2:
        return values
    ordered = np.sort(values)
    return np.clip(values, ordered[n - 1], ordered[-n])


def _in_steps(means: Floats, values: Floats) -> Floats:
    """Means in steps that go with the riders' spread, so that all rows together hide what one rider adds to them."""
    least = float(values.std()) / _STEPS_IN_SPREAD
    step = next((step for step in _STEPS if step >= least), _STEPS[-1])
    # Without negative zeros and without what binary fractions leave behind.
    return np.round(np.rint(means / step) * step, 1) + 0.0


def _of_family(
    family: Family, counts: Floats, n_riders: Integers, values: pd.DataFrame, generator: np.random.Generator
) -> Floats:
    """Riders of each kind a row, with one rider or so told as of another kind, drawn at random."""
    whole = np.column_stack([np.rint(counts), n_riders - np.rint(counts).sum(axis=1)])
    of_kind = values[list(family.columns)].sum().to_numpy()
    common = np.append(of_kind, len(values) - of_kind.sum())
    for row in whole:
        if family.guarded:
            _tell_one_as_another(row, common, generator)
        else:
            _make_even(row, generator)
    return whole[:, :-1]


def _tell_one_as_another(row: Floats, common: Floats, generator: np.random.Generator) -> None:
    """One rider of the row, drawn at random, becomes of a kind drawn by how common kinds are; never so that all are of one."""
    row[generator.choice(len(row), p=row / row.sum())] -= 1
    is_of_one_kind = np.count_nonzero(row) == 1
    weights = np.where(is_of_one_kind & (row > 0), 0.0, common)
    # Where the whole table is of one kind, any other one.
    weights = weights if weights.sum() else (row == 0).astype(float)
    row[generator.choice(len(row), p=weights / weights.sum())] += 1


def _make_even(row: Floats, generator: np.random.Generator) -> None:
    """A kind of an odd number of riders gives one to another such kind, or takes one from it; one kind may stay odd."""
    odd = generator.permutation(np.flatnonzero(row % 2 == 1))
    for gives, takes in zip(odd[0::2], odd[1::2], strict=False):
        row[gives] -= 1
        row[takes] += 1
