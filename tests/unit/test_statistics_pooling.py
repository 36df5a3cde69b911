"""Types brought together: the definition of the variance between types, shrinkage and its ends."""

import numpy as np
import pytest

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.pooling import combine_types

ESTIMATE = np.array([0.1, 0.5, 0.9, 0.4])
ERROR = np.array([0.1, 0.15, 0.2, 0.05])


def test_the_variance_between_types_is_paule_and_mandels() -> None:
    """By definition the weighted squares about the overall effect come to k - 1."""
    found = combine_types(ESTIMATE, ERROR, 0.95)
    weight = 1 / (ERROR**2 + found.between_sd**2)
    assert float(weight @ (ESTIMATE - found.overall) ** 2) == pytest.approx(3.0, abs=1e-4)
    assert found.overall == pytest.approx(float(weight @ ESTIMATE / weight.sum()))


def test_each_type_is_drawn_toward_the_overall_effect_and_the_noisiest_most() -> None:
    found = combine_types(ESTIMATE, ERROR, 0.95)
    assert (np.abs(found.shrunk - found.overall) < np.abs(ESTIMATE - found.overall)).all()
    assert np.argmin(found.weight) == np.argmax(ERROR)
    assert found.prediction_low < found.overall_low < found.overall_high < found.prediction_high


def test_types_that_agree_become_the_overall_effect() -> None:
    found = combine_types(np.full(3, 0.1), ERROR[:3], 0.95)
    assert found.between_sd == 0
    assert found.shrunk == pytest.approx([0.1, 0.1, 0.1])
    assert found.q_p_value == pytest.approx(1.0)


def test_a_change_of_unit_changes_the_unit_and_nothing_else() -> None:
    found, small = combine_types(ESTIMATE, ERROR, 0.95), combine_types(ESTIMATE / 1e4, ERROR / 1e4, 0.95)
    assert small.shrunk * 1e4 == pytest.approx(found.shrunk, rel=1e-9)
    assert small.weight == pytest.approx(found.weight, rel=1e-9)


def test_two_types_predict_nothing_about_a_third() -> None:
    found = combine_types(ESTIMATE[:2], ERROR[:2], 0.95)
    assert (found.prediction_low, found.prediction_high) == (-np.inf, np.inf)


def test_refusals() -> None:
    with pytest.raises(TooFewError, match="1 foot type"):
        combine_types(ESTIMATE[:1], ERROR[:1], 0.95)
    with pytest.raises(NotEstimableError, match="no standard error"):
        combine_types(ESTIMATE, np.array([0.1, 0.0, 0.2, 0.1]), 0.95)
