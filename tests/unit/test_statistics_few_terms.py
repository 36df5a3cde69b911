"""CR2 for few terms is the general CR2, by either of its ways."""

import numpy as np
import pytest

from shared.statistics.cluster_robust import cr2_of_rows
from shared.statistics.few_terms import cr2_of_few


@pytest.mark.parametrize(("n_riders", "p"), [(3000, 3), (3000, 1), (12, 2)])
def test_it_is_the_general_one(n_riders: int, p: int) -> None:
    """Twelve riders hold more of the information each than the series takes, three thousand do not."""
    chance = np.random.default_rng(3)
    rider = np.concatenate([np.arange(n_riders), chance.integers(0, n_riders, n_riders)])
    design = np.column_stack([np.ones(len(rider)), chance.random(len(rider)) < 0.4, chance.normal(size=len(rider))])[:, :p]
    residual = chance.normal(size=len(rider)) + chance.normal(size=n_riders)[rider]
    found, known = cr2_of_few(design, residual, rider), cr2_of_rows(design, residual, rider)
    assert found.influence == pytest.approx(known.influence, rel=1e-10, abs=1e-14)
    assert found.covariance == pytest.approx(known.covariance, rel=1e-10, abs=1e-16)
    assert found.df == pytest.approx(known.df, rel=1e-8)
