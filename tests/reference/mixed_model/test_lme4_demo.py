"""The pooled model of the demo's captures, as questions ask for it, against lme4's fit of the same rows; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard.questions.models.frames import SUPPORTS, frame_of
from dashboard.questions.models.study import study_of
from dashboard.questions.models.supports import build_design
from shared.settings import Settings
from shared.statistics.mixed.fits import fit_mixed_cells
from shared.warehouse import open_reading

LME4 = pd.read_csv(
    Path(__file__).with_name("lme4_demo.csv"), header=None, names=["outcome", "term", "estimate", "error", "n"]
).set_index(["outcome", "term"])
IN_LME4 = {"tilt": "knee_tilt_deg", "sway": "knee_sway_mm", "offset": "knee_offset_mm"}
SUPPORTS_IN_LME4 = ("insolelow", "insolemedium", "insolehigh", "insolecustom", "total_shims", "stance_mm")


@pytest.mark.parametrize("outcome", IN_LME4)
def test_the_demo_has_lme4s_answer(outcome: str, demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    design = build_design(frame_of(study_of(warehouse, Settings()).captures, outcome), None)
    warehouse.close()
    found = fit_mixed_cells(design.frame.cells, design.pooled, np.zeros(len(design.pooled.names), dtype=bool))
    expected = LME4.loc[IN_LME4[outcome]]
    supports = expected.loc[list(SUPPORTS_IN_LME4)]
    places = [found.terms.index(name) for name in SUPPORTS]
    error = supports["error"].to_numpy(float)
    assert found.n_rows == supports["n"].iloc[0]
    assert (np.abs(found.estimate[places] - supports["estimate"].to_numpy(float)) < 1e-6 * error).all()
    assert np.sqrt(np.diag(found.model_covariance))[places] == pytest.approx(error, rel=1e-6)
    variances = {
        "rider_id": found.variance_rider,
        "knee": found.variance_knee,
        "session_id": found.variance_visit,
        "Residual": found.variance_residual,
    }
    for name, variance in variances.items():
        assert variance == pytest.approx(expected.loc[f"variance {name}", "estimate"], rel=1e-5)
