"""Tables of groups keep their promise whatever the riders are: few, all alike, far apart, with values missing."""

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.export.attackers import attackers, require_promise, told_by_rows
from dashboard.export.group_tables import KNEES, RIDERS, GroupTable, grouped
from shared.errors import TooFewError


def studio(
    table: GroupTable, generator: np.random.Generator, n: int, kinds: float, spread: float, missing: float
) -> pd.DataFrame:
    """Riders at random: `kinds` from 0 (all of one kind) to 1, values `spread` apart with one far out, some missing."""
    known = pd.DataFrame({"rider_id": [f"R{place}" for place in range(n)], "side": "left"})
    for family in table.families:
        of_kind = np.where(generator.random(n) < kinds, generator.integers(0, len(family.columns) + 1, n), 0)
        for place, name in enumerate(family.columns):
            known[name] = (of_kind == place).astype(float)
    for name in table.means:
        ends = table.scales.get(name, (-30.0, 30.0))
        values = np.clip(np.rint(generator.normal(1.0, spread, n) * 10) / 10, *ends)
        values[generator.integers(n)] = ends[1]
        known[name] = values if name in table.placed_by else np.where(generator.random(n) < missing, np.nan, values)
    return known


@given(
    seed=st.integers(0, 2**32 - 1),
    n=st.integers(1, 90),
    kinds=st.sampled_from([0.0, 0.05, 0.5, 1.0]),
    spread=st.sampled_from([0.0, 0.3, 9.0]),
    missing=st.sampled_from([0.0, 0.1, 0.6]),
    table=st.sampled_from([RIDERS, KNEES]),
)
@settings(max_examples=40, deadline=None, derandomize=True)
def test_any_studio_gets_rows_of_ten_or_none(
    seed: int, n: int, kinds: float, spread: float, missing: float, table: GroupTable
) -> None:
    known = studio(table, np.random.default_rng(seed), n, kinds, spread, missing)
    try:
        one = grouped(table, "left" if table.by_side else None, known, 10)
    except TooFewError:
        told = [name for name in table.columns if known[name].notna().mean() > 0.5]
        assert len(known.dropna(subset=told)) < 10
        return
    assert one.n_riders.min() >= 10 and one.n_riders.sum() == len(one.values) == n - one.left_out
    assert (np.bincount(one.row_of) == one.n_riders).all()
    found = attackers([one])
    require_promise(found, told_by_rows([one]), 10)
    assert all(row.fewest_alike >= 10 and row.share_below_ten == 0 and row.worst <= 0.1 + 1e-9 for row in found)
    for family in table.families:
        counts = one.shown[list(family.columns)].mul(one.n_riders, axis=0).round().astype(int)
        rest = one.n_riders - counts.sum(axis=1)
        assert (counts >= 0).all(axis=None) and (rest >= 0).all()
        if family.guarded:
            assert (counts.max(axis=1) < one.n_riders).all() and (rest < one.n_riders).all()
        true = one.values[list(family.columns)].groupby(one.row_of).sum()
        assert ((counts - true).abs() <= 1).all(axis=None)
    assert not [name for name in table.columns if one.shown[name].notna().any() and one.shown[name].isna().any()]
