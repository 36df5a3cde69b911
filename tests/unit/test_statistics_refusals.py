"""What statistics say when they refuse: the whole sentence, at the very count where it begins, and not one count later."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from shared.errors import NotEstimableError, StatisticsError, TooFewError
from shared.statistics.agreement import typical_error
from shared.statistics.case_mix import expected_mean, expected_share
from shared.statistics.clustered.means import clustered_mean, clustered_share
from shared.statistics.funnel import binomial_limit, dispersion
from shared.statistics.group_difference import adjusted_difference
from shared.statistics.microaggregation import groups_of
from shared.statistics.ordinal import signed_rank
from shared.statistics.paired_shares import paired_shares
from shared.statistics.pooling import combine_types
from shared.statistics.proportions import share_difference, wilson_interval
from shared.statistics.regression_to_mean import expected_distance_change
from shared.statistics.time_to_event import cumulative_incidence, log_rank
from shared.statistics.wald import wald_p_value

ONES = np.ones(40)
CODES = np.arange(40)
NOISE = np.random.default_rng(5).normal(size=40)


def _difference(n: int, in_group: np.ndarray[Any, Any] | None = None, riders: np.ndarray[Any, Any] | None = None) -> object:
    group = np.arange(n) % 2 == 0 if in_group is None else in_group
    return adjusted_difference(NOISE[:n], group, np.empty((n, 0)), CODES[:n] if riders is None else riders, 0.95)


def _mixed(n: int) -> np.ndarray[Any, Any]:
    """A design of one column beside the intercept."""
    return np.column_stack([ONES[:n], NOISE[:n]])


def _events(n: int, rarer: int) -> np.ndarray[Any, Any]:
    """Events spread over the sorted column, so that it separates nothing."""
    events = np.zeros(n)
    events[np.argsort(NOISE[:n])[np.linspace(0, n - 1, rarer).astype(int)]] = 1
    return events


CASES: dict[str, tuple[Callable[[], object], type[StatisticsError], str]] = {
    "typical error of two pairs": (
        lambda: typical_error(NOISE[:2], 0.95),
        TooFewError,
        "Not enough yet: 2 repeat pairs, and a typical error needs at least 3.",
    ),
    "typical error of two riders": (
        lambda: typical_error(NOISE[:4], 0.95, CODES[:4] % 2),
        TooFewError,
        "Not enough yet: repeat pairs of 2 riders, and a typical error needs 3 at least.",
    ),
    "rows for a case mix": (
        lambda: expected_mean(NOISE[:19], _mixed(19), ("intercept", "tilt")),
        TooFewError,
        "Not enough yet: 19 fits for 2 terms of the case mix, and 20 are needed.",
    ),
    "fewer rows than terms": (
        lambda: expected_mean(NOISE[:1], _mixed(1), ("intercept", "tilt")),
        TooFewError,
        "Not enough yet: 1 fit for 2 terms of the case mix, and 20 are needed.",
    ),
    "the rarer outcome": (
        lambda: expected_share(_events(30, 9), _mixed(30), ("intercept", "tilt")),
        TooFewError,
        "Not enough yet: 9 of the rarer outcome for 2 terms of the case mix, and 10 are needed.",
    ),
    "separation": (
        lambda: expected_share((NOISE > 0).astype(float), _mixed(40), ("intercept", "arrival_tilt")),
        NotEstimableError,
        "No figure: one part of the case mix decides the outcome by itself (separation; look at arrival tilt), so that no "
        "chance can be expected. Widen the selection.",
    ),
    "a mean of one rider": (
        lambda: clustered_mean(NOISE[:5], CODES[:5] * 0, 0.95),
        TooFewError,
        "Not enough yet: 1 rider, and an interval needs at least 2.",
    ),
    "a share of one rider": (
        lambda: clustered_share(ONES[:5], CODES[:5] * 0, 0.95),
        TooFewError,
        "Not enough yet: 1 rider, and an interval needs at least 2.",
    ),
    "no fits in a funnel": (
        lambda: binomial_limit(0.5, np.array([1, 0]), np.array([0.025, 0.025])),
        TooFewError,
        "Not enough yet: no fits.",
    ),
    "two fitters": (
        lambda: dispersion(NOISE[:2], ONES[:2], 0.1, "counted"),
        TooFewError,
        "Not enough yet: 2 fitters with enough fits, and their scatter needs at least 3.",
    ),
    "nine riders": (lambda: _difference(9), TooFewError, "Not enough yet: 9 riders, and a difference needs at least 10."),
    "an empty group": (
        lambda: _difference(10, np.zeros(10, dtype=bool)),
        NotEstimableError,
        "No figure: one of the two groups is empty, or it is known from the starting values alone.",
    ),
    "a group of one rider": (
        lambda: _difference(12, CODES[:12] < 2, np.maximum(CODES[:12] - 1, 0)),
        NotEstimableError,
        "No figure: one of the two groups rests on one rider alone.",
    ),
    "a group too small to hide in": (
        lambda: groups_of(NOISE[:3].reshape(3, 1), 4),
        TooFewError,
        "Groups: found 3 rows, expected at least 4 for one group.",
    ),
    "five that moved": (
        lambda: signed_rank(np.array([1.0, 2, 3, 4, 5, 0]), CODES[:6]),
        TooFewError,
        "Not enough yet: the scores of 5 riders moved, and a test needs at least 6.",
    ),
    "nobody seen twice": (
        lambda: paired_shares(0, 0, 0, 0, 0.95),
        TooFewError,
        "Not enough yet: nobody was seen both times, and a change needs at least 1.",
    ),
    "one foot type": (
        lambda: combine_types(ONES[:1], ONES[:1], 0.95),
        TooFewError,
        "Not enough yet: 1 foot type with an estimate, and bringing types together needs 2.",
    ),
    "a type without a standard error": (
        lambda: combine_types(ONES[:2], np.array([0.0, 1.0]), 0.95),
        NotEstimableError,
        "Not estimable: a type has no standard error of its own. Leave it out.",
    ),
    "an endless standard error": (
        lambda: combine_types(ONES[:2], np.array([np.inf, 1.0]), 0.95),
        NotEstimableError,
        "Not estimable: a type has no standard error of its own. Leave it out.",
    ),
    "a share of nobody": (
        lambda: wilson_interval([0, 1], [0, 2], 0.95),
        TooFewError,
        "Not enough yet: nobody is counted, and a share needs at least 1.",
    ),
    "a difference from nobody": (
        lambda: share_difference([1], [2], [0], [0], 0.95),
        TooFewError,
        "Not enough yet: nobody is counted, and a share needs at least 1.",
    ),
    "two knees at arrival": (
        lambda: expected_distance_change(NOISE[:2], 0.5),
        TooFewError,
        "Not enough yet: 2 knees at arrival, and a regression to the mean needs 3.",
    ),
    "no fit to follow": (
        lambda: cumulative_incidence(NOISE[:0], CODES[:0], 0.95),
        TooFewError,
        "Not enough yet: no fit to follow.",
    ),
    "one group to compare": (
        lambda: log_rank(ONES[:4], ONES[:4] > 0, CODES[:4] * 0),
        NotEstimableError,
        "No comparison: it needs at least two groups.",
    ),
    "no end while both could end": (
        lambda: log_rank(np.array([1.0, 1.0, 2.0, 3.0]), np.array([False, False, True, True]), np.array([0, 0, 1, 1])),
        NotEstimableError,
        "No comparison: no fit ended while another group could still end.",
    ),
    "contrasts that depend on one another": (
        lambda: wald_p_value(ONES[:2], np.ones((2, 2)), 5.0),
        NotEstimableError,
        "Not estimable: the contrasts depend on one another. Leave one out.",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_the_sentence_of_a_refusal(name: str) -> None:
    ask, kind, sentence = CASES[name]
    with pytest.raises(StatisticsError) as refusal:
        ask()
    assert type(refusal.value) is kind
    assert str(refusal.value) == sentence


ENOUGH: dict[str, Callable[[], object]] = {
    "typical error of three pairs": lambda: typical_error(NOISE[:3], 0.95),
    "typical error of three riders": lambda: typical_error(NOISE[:3], 0.95, CODES[:3]),
    "rows for a case mix": lambda: expected_mean(NOISE[:20], _mixed(20), ("intercept", "tilt")),
    "the rarer outcome": lambda: expected_share(_events(30, 10), _mixed(30), ("intercept", "tilt")),
    "a mean of two riders": lambda: clustered_mean(NOISE[:4], CODES[:4] % 2, 0.95),
    "one fit in a funnel": lambda: binomial_limit(0.5, np.array([1]), np.array([0.025])),
    "three fitters": lambda: dispersion(NOISE[:3], ONES[:3], 0.1, "counted"),
    "ten riders": lambda: _difference(10),
    "as many rows as one group": lambda: groups_of(NOISE[:4].reshape(4, 1), 4),
    "six that moved": lambda: signed_rank(np.array([1.0, 2, 3, 4, 5, 6]), CODES[:6]),
    "one seen twice": lambda: paired_shares(0, 0, 0, 1, 0.95),
    "two foot types": lambda: combine_types(ONES[:2], ONES[:2], 0.95),
    "three knees at arrival": lambda: expected_distance_change(NOISE[:3], 0.1),
    "one end while both could end": lambda: log_rank(np.array([1.0, 2.0]), np.array([True, False]), np.array([0, 1])),
}


@pytest.mark.parametrize("name", ENOUGH)
def test_what_is_just_enough_is_answered(name: str) -> None:
    assert ENOUGH[name]() is not None
