"""A small seeded part of `tests.recovery.checked`: what is there is found, what is not is not, and the truth stays inside.

Pass marks as in test_scenarios: the binomial's 99.9 % quantile of what should be missed or falsely found.
"""

import pytest
from scipy import stats

from tests.recovery.checked import Looked, cases, many

BY_NAME = {scenario.name: scenario for scenario in cases(150)}
JOINT = ("insole_shim", "shim_bend", "stance_bend", "order_arch")


def seen(name: str, studios: int) -> list[Looked]:
    return many(BY_NAME[name], range(2000, 2000 + studios))


def inside(studios: list[Looked]) -> tuple[int, int]:
    return sum(one.inside for one in studios), sum(one.n for one in studios)


@pytest.mark.recovery
@pytest.mark.parametrize(("case", "least"), [("30 % late", 7), ("60 % late", 10)])
def test_a_late_effect_is_found_and_allowed_for(case: str, least: int) -> None:
    studios = seen(f"blend: {case}", 10)
    assert sum(one.form.is_late for one in studios) >= least
    held, n = inside(studios)
    assert n - held <= stats.binom.ppf(0.999, n, 0.07)
    assert held > sum(one.plain_inside for one in studios)


@pytest.mark.recovery
def test_a_shim_that_does_more_on_an_insole_is_found() -> None:
    studios = seen("blend: a shim 0.3° more on an insole", 10)
    assert sum(one.found("insole_shim") for one in studios) >= 8
    ends = [one for studio in studios for one in studio.tested if one.check == "insole_shim"]
    # Each case holds its own truth: half a degree without an insole, 0.8 on one.
    assert sum(one.first is not None and one.first.low <= 0.5 <= one.first.high for one in ends) >= 8
    assert sum(one.other is not None and one.other.low <= 0.8 <= one.other.high for one in ends) >= 8
    assert sum(one.difference is not None and abs(one.difference - 0.3) < 0.15 for one in ends) == 10


@pytest.mark.recovery
def test_a_drift_that_differs_by_arch_is_found_and_allowed_for() -> None:
    studios = seen("true: 0.3° a capture by arch", 10)
    assert all(one.form.by_arch for one in studios)
    held, n = inside(studios)
    assert n - held <= stats.binom.ppf(0.999, n, 0.05)
    assert sum(one.plain_inside for one in studios) < 0.8 * n


@pytest.mark.recovery
@pytest.mark.parametrize("choice", ["exam", "measured", "true", "blend"])
@pytest.mark.parametrize("case", ["as told", "nothing acts"])
def test_what_is_not_there_is_seldom_found(choice: str, case: str) -> None:
    studios = seen(f"{choice}: {case}", 10)
    assert sum(one.found(check) for one in studios for check in JOINT) <= stats.binom.ppf(0.999, 10, 0.02)
    # Where nothing acts there is nothing that could come late.
    late = sum(one.form.is_late for one in studios)
    assert late == 0 if case == "nothing acts" else late <= stats.binom.ppf(0.999, 10, 0.05)
    held, n = inside(studios)
    assert n - held <= stats.binom.ppf(0.999, n, 0.05)
