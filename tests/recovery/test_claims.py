"""A small seeded part of what `make recovery` prints of claims: little is claimed where nothing acts, and what acts is found.

Pass marks: the 99.9 % quantile of what the wanted rate would bring, so that a run exceeds it once in a thousand.
"""

from collections import Counter
from dataclasses import replace

import pytest
from scipy import stats

from tests.recovery.claims import BLEND, NULL, SPLITS, counted, with_factors

STUDIOS = range(6)
PART = ("foot_type", "arch_height", "side", "riding")


@pytest.mark.recovery
def test_where_nothing_acts_nearly_nothing_is_claimed() -> None:
    """Wanted: at most half a claim a studio over all 17 splits, and a difference between levels in at most one of five."""
    each = [counted(replace(NULL, riders=100), seed, PART) for seed in STUDIOS]
    found = sum(each, Counter[str]())
    share = len(STUDIOS) * len(PART) / len(SPLITS)
    most = stats.poisson.ppf(0.999, 0.5 * share)
    assert found["cells"] > 800
    assert found["bold"] <= most
    assert found["differ"] <= stats.poisson.ppf(0.999, 0.2 * share)
    assert sum(one["claims"] > 0 for one in each) <= stats.binom.ppf(0.999, len(each), 0.05)
    # The rules before this one: the shrunken pooled interval for what is bold, the bracket alone for the words.
    assert found["bold before"] > 5 * most and found["words before"] > most


@pytest.mark.recovery
def test_where_supports_act_they_are_found_as_often_as_by_the_bracket_alone() -> None:
    found = sum((counted(BLEND, seed, ("arch_height",)) for seed in STUDIOS), Counter[str]())
    assert found["claims before"] > 0.8 * found["rows"]
    assert found["claims"] >= 0.98 * found["claims before"]
    assert found["bold"] >= 0.95 * found["words before"] > 0.6 * found["cells"]


@pytest.mark.recovery
def test_where_foot_types_differ_a_cell_s_told_interval_holds_its_own_truth_and_the_shrunken_one_does_not() -> None:
    scenario = replace(BLEND, riders=400)
    found = sum((counted(with_factors(scenario, 0.4, seed), seed, ("foot_type",)) for seed in range(4)), Counter[str]())
    misses = found["known"] - found["told holds"]
    assert misses <= stats.binom.ppf(0.999, found["known"], 0.05)
    assert found["known"] - found["shrunken holds"] > stats.binom.ppf(0.999, found["known"], 0.05)
    assert found["wrong"] == 0
