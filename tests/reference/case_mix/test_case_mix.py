"""Observed against expected on the admissions table, where the crude gap reverses; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.case_mix import expected_mean, expected_share

TABLE = pd.read_csv(Path(__file__).with_name("admissions.csv"))
ROWS = TABLE.loc[TABLE.index.repeat(TABLE["admitted"] + TABLE["rejected"])]
ADMITTED = np.concatenate([np.repeat([1.0, 0.0], pair) for pair in TABLE[["admitted", "rejected"]].to_numpy()])
TERMS = ("intercept", *(f"department {letter}" for letter in "BCDEF"))
DESIGN = np.column_stack([np.ones(len(ROWS)), *(ROWS["department"] == letter for letter in "BCDEF")]).astype(float)
FEMALE = (ROWS["sex"] == "female").to_numpy()


def test_the_crude_gap_reverses() -> None:
    found = expected_share(ADMITTED, DESIGN, TERMS)
    observed = [ADMITTED[~FEMALE].sum(), ADMITTED[FEMALE].sum()]
    expected = [found.expected[~FEMALE].sum(), found.expected[FEMALE].sum()]
    assert observed == [1198, 557]
    assert ADMITTED[~FEMALE].mean() > ADMITTED[FEMALE].mean()
    assert expected == pytest.approx([1213.357167, 541.642833], rel=1e-5)
    assert [o / e for o, e in zip(observed, expected, strict=True)] == pytest.approx([0.987343, 1.028353], rel=1e-5)
    z = [(o - e) / found.variance[who].sum() ** 0.5 for o, e, who in zip(observed, expected, (~FEMALE, FEMALE), strict=True)]
    assert z == pytest.approx([-0.657663, 0.827650], rel=1e-4)


def test_least_squares_expects_each_departments_share() -> None:
    """With one column a department, the expected mean is the department's own (arithmetic)."""
    found = expected_mean(ADMITTED, DESIGN, TERMS)
    shares = ROWS["department"].map(
        TABLE.groupby("department")[["admitted", "rejected"]].sum().pipe(lambda t: t["admitted"] / t.sum(axis=1))
    )
    assert found.expected == pytest.approx(shares.to_numpy(float), abs=1e-9)
    assert found.expected == pytest.approx(expected_share(ADMITTED, DESIGN, TERMS).expected, abs=1e-6)


def test_separation_is_refused() -> None:
    one_sided = np.where(ROWS["department"] == "A", 1.0, np.arange(len(ROWS)) % 2).astype(float)
    with pytest.raises(NotEstimableError, match=r"decides the outcome by itself \(separation; look at department"):
        expected_share(one_sided, DESIGN, TERMS)


def test_a_tied_term_changes_no_expected_value() -> None:
    again = np.column_stack([DESIGN[:, :2], 2 * DESIGN[:, 1], DESIGN[:, 2:], DESIGN[:, 1] + DESIGN[:, 2]])
    terms = (*TERMS[:2], "twice", *TERMS[2:], "both")
    for compute in (expected_mean, expected_share):
        assert compute(ADMITTED, again, terms).expected == pytest.approx(compute(ADMITTED, DESIGN, TERMS).expected, abs=1e-9)


def test_too_few_rows_are_refused() -> None:
    some = np.arange(0, len(ROWS), len(ROWS) // 40)[:40]
    with pytest.raises(TooFewError, match="40 fits for 6 terms of the case mix, and 60 are needed"):
        expected_mean(ADMITTED[some], DESIGN[some], TERMS)
    with pytest.raises(TooFewError, match="12 of the rarer outcome"):
        expected_share(np.r_[np.ones(12), np.zeros(len(ROWS) - 12)], DESIGN, TERMS)
