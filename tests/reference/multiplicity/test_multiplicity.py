"""Benjamini and Hochberg's own example; see SOURCE.md."""

import pytest

from shared.statistics.multiplicity import benjamini_hochberg

P = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]
Q = [
    0.0015,
    0.003,
    0.0095,
    0.035625,
    0.0603,
    0.063857,
    0.063857,
    0.0645,
    0.0765,
    0.486,
    0.581182,
    0.714875,
    0.753231,
    0.813214,
    1.0,
]


def test_the_published_family() -> None:
    found = benjamini_hochberg(P)
    assert found == pytest.approx(Q, abs=1e-6)
    assert sum(q <= 0.05 for q in found) == 4


def test_an_empty_family() -> None:
    assert benjamini_hochberg([]) == []
