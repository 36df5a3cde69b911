"""The knees most like a rider's: what was changed for them and what became of their fits, counted by hand."""

from dataclasses import replace
from typing import Any, cast

import numpy as np
import pytest

from dashboard.questions.data import noise
from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, NOT_MEASURED
from dashboard.questions.foresight import alike
from dashboard.questions.foresight.answers_foresight import AlikeRow
from dashboard.questions.foresight.knees import Setup
from dashboard.questions.foresight.setups import _shims
from shared.settings import Settings
from tests.unit.test_riders_counts import followed
from tests.unit.test_studio_words import bare

SETUP: dict[str, Any] = {
    "insole_arrival": "low", "insole_departure": "low", "shims_arrival": 1, "shims_departure": 1, "stance_arrival_mm": 0.0,
    "stance_departure_mm": 0.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({}, {}),
        ({"insole_departure": "high"}, {"insole": "insole low to high"}),
        ({"insole_arrival": None}, {"insole": "insole not recorded to low"}),
        ({"shims_departure": 3}, {"shims": "shims 1 to 3"}),
        ({"stance_departure_mm": -2.0, "shims_departure": 0}, {"shims": "shims 1 to 0", "stance": "stance 0 to −2 mm"}),
        ({"shims_arrival": None}, {}),
        ({"stance_departure_mm": None}, {}),
    ],
)  # fmt: skip
def test_what_was_changed_for_a_like_knee_is_told_support_by_support(changed: dict[str, Any], told: dict[str, str]) -> None:
    assert {name: bare(words) for name, words in alike._changes({**SETUP, **changed})} == told


@pytest.mark.parametrize(
    ("settings", "became"),
    [({}, [NOT_MEASURED, NOT_MEASURED]), ({"noise": {"assumed_tilt_deg": 0.3}}, [HELD, NOT_HELD])],
)
def test_fits_of_like_knees_held_by_the_noise_that_a_studio_assumes_as_they_do_on_returns(
    settings: dict[str, Any], became: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left at 1°, found at 1.8 and 1.9: 0.3 · 1.96 · √2 is 0.83. Fits 2 and 0; fit 1 asks for no follow-up."""
    fits = {**followed([0, 1], [True, True], [True, True], [1.8, 1.9]), "fit_no": np.array([2, 0])}
    monkeypatch.setattr(alike, "scope_of", lambda *_: None)
    monkeypatch.setattr(alike, "followed_fits", lambda *_: fits)
    monkeypatch.setattr(noise, "pairs_of", lambda *_: {name: np.zeros(0) for name in ("tilt", "sway", "rider")})
    found = alike._became(cast(Any, None), Settings.model_validate(settings), cast(Any, None))
    assert [BECAME[found[2]], BECAME[found[0]], found[1]] == [*became, -1]


LIKE = AlikeRow(**dict.fromkeys(AlikeRow.__dataclass_fields__) | {"side": "left", "supports": "", "became": HELD})  # type: ignore[arg-type]


def test_like_knees_are_counted_by_what_was_changed_and_what_became_of_them() -> None:
    rows = [
        replace(LIKE, supports="insole, shims", tilt_arrival_deg=-3.0, tilt_departure_deg=1.0),
        replace(LIKE, supports="shims", tilt_arrival_deg=2.0, tilt_departure_deg=-0.5, became=NOT_HELD),
        replace(LIKE, tilt_arrival_deg=9.0, became=None),
        replace(LIKE, side="right", supports="stance"),
    ]
    left, right = (bare(words) for words in alike.alike_words(rows))
    assert left == (
        "3 knees most like the left one: changed were insole 1, shims 2, stance 0. 2.5° from neutral at arrival, 0.8° at "
        "departure on average. 1 fit held, 1 did not; of 1 it is not known."
    )
    assert right == (
        "1 knee most like the right one: changed were insole 0, shims 0, stance 1. 1 fit held, 0 did not; of 0 it is not known."
    )
    assert list(alike.alike_words([])) == []


@pytest.mark.parametrize(
    ("total", "step", "words"),
    [
        (1, 1, "one varus shim more (2 in all)"),
        (1, -1, "one varus shim fewer (0 in all)"),
        (0, 1, "one varus shim more (1 in all)"),
        (0, -1, "one valgus shim more (1 in all)"),
        (-1, 1, "one valgus shim fewer (0 in all)"),
        (-1, -1, "one valgus shim more (2 in all)"),
    ],
)
def test_a_shim_more_or_less_is_named_by_its_kind(total: int, step: int, words: str) -> None:
    setup = Setup(insole_level="none", total_shims=total, shims_built_in=0, stance_mm=0.0)
    assert _shims(setup, step) == words
