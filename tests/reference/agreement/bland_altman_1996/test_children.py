"""Within-subject SD against Bland & Altman 1996; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.statistics.agreement import repeatability_from_anova

CHILDREN = pd.read_csv(Path(__file__).with_name("pefr_children.csv"), index_col=0)


def test_children() -> None:
    values = CHILDREN.to_numpy(float)
    found = repeatability_from_anova(values.ravel(), np.repeat(CHILDREN.index.to_numpy(), values.shape[1]), 0.95)
    assert (found.n_subjects, found.n_values) == (20, 80)
    assert found.mean_square_between == pytest.approx(15016.759868, rel=1e-6)
    assert found.mean_square_within == pytest.approx(460.520833, rel=1e-6)
    assert found.within_sd == pytest.approx(21.459749, rel=1e-6)
    assert found.repeatability == pytest.approx(21.459749 * 1.96 * 2**0.5, rel=1e-6)
    assert found.within_sd_low < found.within_sd < found.within_sd_high
