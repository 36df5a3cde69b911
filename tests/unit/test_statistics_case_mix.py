"""Expected shares by logistic regression: the maximum of the likelihood, and where there is none."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import expit

from shared.errors import NotEstimableError
from shared.statistics.case_mix import expected_share

Array = NDArray[np.float64]
TERMS = ("intercept", "tilt", "sway", "rare_kind")


def drawn(n: int) -> tuple[Array, Array]:
    chance = np.random.default_rng(7)
    design = np.column_stack([np.ones(n), chance.normal(size=(n, 2)), chance.random(n) < 0.1])
    events = (chance.random(n) < expit(design @ [-1.0, 0.8, -1.5, 0.6])).astype(float)
    return events, design


@pytest.mark.parametrize("n", [200, 30_000])
def test_the_score_is_zero_at_the_answer(n: int) -> None:
    events, design = drawn(n)
    found = expected_share(events, design, TERMS)
    assert (events - found.expected) @ design / n == pytest.approx(np.zeros(4), abs=1e-9)
    assert found.variance == pytest.approx(found.expected * (1 - found.expected))


@pytest.mark.parametrize("n", [400, 30_000])
def test_a_column_that_decides_has_no_maximum(n: int) -> None:
    events, design = drawn(n)
    events[design[:, 3] > 0] = 1.0
    with pytest.raises(NotEstimableError, match="rare kind"):
        expected_share(events, design, TERMS)


def test_an_outcome_that_one_column_tells_wholly_is_refused() -> None:
    _, design = drawn(400)
    with pytest.raises(NotEstimableError, match="tilt"):
        expected_share((design[:, 1] > 0).astype(float), design, TERMS)


def test_a_rare_kind_with_two_events_is_no_separation() -> None:
    events, design = drawn(30_000)
    rare = design[:, 3] > 0
    events[rare] = 0.0
    events[np.flatnonzero(rare)[:2]] = 1.0
    found = expected_share(events, design, TERMS)
    assert found.expected[rare].sum() == pytest.approx(2.0, abs=1e-6)


def test_tied_columns_change_no_expected_share() -> None:
    events, design = drawn(1000)
    plain = expected_share(events, design, TERMS)
    tied = expected_share(events, np.column_stack([design, design[:, 1], np.zeros(1000)]), (*TERMS, "again", "none"))
    assert tied.expected == pytest.approx(plain.expected, rel=1e-9)
