"""What the third estimate makes of rows before they are judged, by hand; and that of many captures it asks fewer riders."""

from dataclasses import replace

import numpy as np
import pytest

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.claims import Found, Noted, claimed
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.forms import PLAIN, Form
from dashboard.questions.models.frames import frame_of
from dashboard.questions.models.thirds import narrowed, thirds_of
from shared.settings import Settings
from shared.statistics.told import NO_THIRD, OTHER_FORM, Third
from tests.recovery.scenarios import TRUE_TILT_DEG, Scenario, simulated

ROW = EffectRow(
    outcome="tilt", support="shim", unit="deg", split=None, level=None, n_riders=30, n_changes=60, pooled=0.5, pooled_low=0.4,
    pooled_high=0.6, within=0.9, within_low=0.8, within_high=1.0, bracket_low=0.4, bracket_high=1.0, q_value=None,
    words="", told_low=0.4, told_high=1.0, told_by="bracket",
)  # fmt: skip
FOUND = Found(ROW, 0.001, Noted(True, 0.1))
THIRD = Third(0.5, 0.05, 1e9, 400.0, 0.5, 0.5)


def test_a_row_is_narrowed_and_carries_the_third_with_its_95_percent_interval() -> None:
    [row] = claimed(narrowed([FOUND], {"shim": THIRD}, PLAIN, Settings()), Settings())
    assert (row.told_low, row.told_by, row.sequential, row.strength) == (0.4, "sequential", 0.5, 400.0)
    assert row.told_high == pytest.approx(0.6288, abs=1e-4)
    assert (row.sequential_low, row.sequential_high) == pytest.approx((0.402, 0.598), abs=1e-4)
    assert row.words == (
        "One more varus shim raises the tilt by 0.40 to 0.63°. The two estimates differ by more than their noise (pooled "
        "0.50°, within-knee 0.90°): the third, by what was known before each capture, is 0.50° and narrows it."
    )


@pytest.mark.parametrize(
    ("form", "why"), [(Form(is_late=True), OTHER_FORM), (Form(by_arch=True), OTHER_FORM), (PLAIN, NO_THIRD)]
)
def test_without_a_third_and_where_the_models_allow_for_more_the_bracket_is_told(form: Form, why: str) -> None:
    [one] = narrowed([FOUND], {} if form == PLAIN else {"shim": THIRD}, form, Settings())
    assert one.row == ROW
    assert one.noted is not None and one.noted.why == why


def test_a_row_without_figures_stays_without() -> None:
    empty = Found(replace(ROW, bracket_low=None, bracket_high=None))
    assert narrowed([empty], {"shim": THIRD}, PLAIN, Settings()) == [empty]


def test_every_rider_is_asked_at_every_size() -> None:
    studio = Scenario("in turn", by_exam=1.0, in_turn=0.9, riders=1600)
    frame = frame_of(captures_of_rows(simulated(studio, np.random.default_rng(1))), "tilt")
    fits = fitted(frame, None, Settings())[1]
    assert fits is not None
    whole = thirds_of(frame, fits.within.terms)
    assert abs(whole["shim"].estimate - TRUE_TILT_DEG["shim"]) < 3 * whole["shim"].standard_error
    # Of half of the riders the error is about the root of two larger.
    half = thirds_of(frame.chosen(frame.cells.riders[0] % 2 == 0), fits.within.terms)
    assert 1.2 < half["shim"].standard_error / whole["shim"].standard_error < 1.7
