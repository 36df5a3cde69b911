"""The published forefoot shares; see SOURCE.md."""

import pytest

from dashboard.questions.symmetry.types import PUBLISHED_FOREFOOT
from shared.statistics.proportions import wilson_interval

COUNTS = {"varus": 208, "valgus": 21, "neutral": 11}


def test_the_shares_are_whole_counts_of_240_feet_and_not_of_234() -> None:
    for level, count in COUNTS.items():
        assert PUBLISHED_FOREFOOT[level] == pytest.approx(count / 240, abs=5e-5)
        in_234 = PUBLISHED_FOREFOOT[level] * 234
        assert abs(in_234 - round(in_234)) > 0.15
    assert sum(PUBLISHED_FOREFOOT.values()) == pytest.approx(1)


def test_their_wilson_intervals() -> None:
    found = wilson_interval(list(COUNTS.values()), [240] * 3, 0.95)
    assert found.low == pytest.approx([0.81783, 0.05794, 0.02578], abs=5e-6)
    assert found.high == pytest.approx([0.90395, 0.13006, 0.08019], abs=5e-6)
