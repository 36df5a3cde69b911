"""What is foreseen for a rider's knees, where nothing is, and the knees most like theirs: told and counted by hand."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from dashboard.questions.data import noise
from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, NOT_MEASURED
from dashboard.questions.foresight import alike, foresight, next_rider
from dashboard.questions.foresight.answers_foresight import AlikeRow, NextRow
from dashboard.questions.foresight.foreseen_fits import _changed, told
from dashboard.questions.foresight.knees import Form, Knee, Setup
from dashboard.questions.foresight.record import Record
from dashboard.questions.foresight.setups import _shims
from shared.settings import Settings
from tests.unit.test_riders_counts import followed
from tests.unit.test_studio_words import bare

SETUP: dict[str, Any] = {
    "insole_arrival": "low", "insole_departure": "low", "shims_arrival": 1, "shims_departure": 1, "stance_arrival_mm": 0.0,
    "stance_departure_mm": 0.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "by"),
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
def test_what_was_changed_for_a_like_knee_is_told_support_by_support(changed: dict[str, Any], by: dict[str, str]) -> None:
    assert {name: bare(words) for name, words in alike._changes({**SETUP, **changed})} == by


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


OWN = Settings.model_validate({"foresight": {"silent_from_pain": 4, "silent_to_foot_room": 3}})


@pytest.mark.parametrize(
    ("form", "words"),
    [
        (Form(left=Knee(), right=Knee(), pain=4),
         "The rider told of pain (4 of 10). Nothing is foreseen. Stop, and refer to a licensed clinician before anything is "
         "changed."),
        (Form(left=Knee(), right=Knee(), injury=True),
         "The rider told of an injury or a recent operation. Nothing is foreseen. Stop, and refer to a licensed clinician "
         "before anything is changed."),
        (Form(left=Knee(foot_room_ok=False), right=Knee(foot_room_ok=False)),
         "There is too little room for the left and the right foot: make room first; nothing is foreseen until then. Where a "
         "foot hurts or is numb, refer to a licensed clinician."),
        (Form(left=Knee(), right=Knee(), foot_room=3),
         "The rider told of too little foot room (3 of 10): make room first; nothing is foreseen until then. Where a foot "
         "hurts or is numb, refer to a licensed clinician."),
        (Form(left=Knee(foot_room_ok=True), right=Knee(), pain=3, foot_room=4, injury=False), ""),
    ],
)  # fmt: skip
def test_pain_an_injury_and_a_tight_shoe_are_silence(form: Form, words: str) -> None:
    assert next_rider._silence(form, OWN) == words


def foreseen(side: str, setup: str, expected: float | None, place: int, **more: Any) -> NextRow:
    given = {"is_allowed": True, "is_tied": False, "nearer": 0.4, **more}
    blank = dict.fromkeys(NextRow.__dataclass_fields__) | {"outcome": "off_neutral", "unit": "deg"}
    return NextRow(**blank | given | {"side": side, "setup": setup, "expected": expected, "place": place})  # type: ignore[arg-type]


def test_the_nearest_allowed_setup_is_told_a_side_and_what_cannot_be_told_apart_from_it() -> None:
    left = [
        foreseen("left", "as it is", 2.04, 3), foreseen("left", "a low insole", 1.0, 1, nearer=0.5),
        foreseen("left", "a medium insole", 1.1, 2, is_tied=True),
        foreseen("left", "a high insole", 0.1, 1, is_allowed=False),
    ]  # fmt: skip
    right = [foreseen("right", "as it is", 0.5, 1), foreseen("right", "a low insole", 0.9, 2)]
    assert next_rider._headline([*left, *right]) == (
        "Nearest to neutral: left with a low insole or a medium insole (2.0 to 1.0°); right: no change told apart from as it "
        "is (0.5° from neutral)."
    )
    left[1] = replace(left[1], nearer=0.49)
    assert next_rider._headline([*left, *right]).startswith("Hardly nearer to neutral: left with a low insole or a medium")
    left[0] = replace(left[0], is_tied=True)
    right[0] = replace(right[0], expected=None)
    assert next_rider._headline([*left, *right]) == (
        "Left: no change told apart from as it is (2.0° from neutral); right: beyond our data."
    )


def test_a_side_difference_is_right_less_left_where_both_are_foreseen() -> None:
    rows = [replace(foreseen(side, "as it is", value, 1), outcome="tilt") for side, value in (("left", -1.0), ("right", 0.5))]
    assert next_rider._difference(rows, lambda row: row.setup == "as it is") == 1.5
    assert next_rider._difference(rows, lambda row: row.side == "left") is None


def test_what_is_foreseen_is_told_with_its_band_and_like_knees() -> None:
    assert told("off_neutral", 1.04, 0.2, 2.36, 1) == (
        "Distance from neutral expected at 1.0°; of ten such captures about eight lie between 0.2 and 2.4°. 1 like knee seen "
        "here."
    )
    assert bare(told("sway", 12.0, 9.96, 14.0, 1200)) == (
        "Sway expected at 12.0 mm; of ten such captures about eight lie between 10.0 and 14.0 mm. 1,200 like knees seen here."
    )


def test_supports_that_differ_at_once_are_counted_with_the_insole_as_one() -> None:
    """Low, medium, high and custom insole, shims, stance."""
    change = np.array([[0, 0, 0, 0, 0, 0], [1, -1, 0, 0, 0, 0], [0, 0, 0, 0, 1, 2], [1, 0, 0, 0, -1, 0.5]])
    assert _changed(cast(Any, SimpleNamespace(change=change))).tolist() == [0, 1, 2, 3]


def test_a_record_is_told_by_what_fell_inside_and_how_far_off_it_was() -> None:
    """Four riders: inside but for the last, whose 3 lies beyond 2; off by 0, 1, 1 and 2, at arrival by 1, by the mean 3."""
    ones = np.ones(4)
    record = Record(
        np.arange(4), np.arange(4), np.zeros(4, bool), expected=ones, low=0 * ones, high=2 * ones,
        measured=np.array([1.0, 2.0, 0.0, 3.0]), arrival=np.array([2.0, 1.0, 1.0, 2.0]),
        mean_before=np.array([4.0, 5.0, 3.0, 0.0]),
    )  # fmt: skip
    row = foresight._row("tilt", "all", "", record, Settings())
    assert (row.n_captures, row.n_riders, row.inside, row.width, row.off, row.off_arrival, row.off_mean) == (
        4, 4, 0.75, 2.0, 1.0, 1.0, 3.0,
    )  # fmt: skip
    # Wilson's interval of 3 of 4 is 0.301 to 0.954, by his formula.
    assert bare(row.words) == (
        "75 % inside the band (30 to 95 %; 4 captures); off by 1.0° on average, where “same as at arrival” is off by 1.0°."
    )
    alone = foresight._row("tilt", "all", "", record.kept(np.array([3])), Settings())
    assert (alone.words, alone.inside) == ("Not enough yet: 1 capture of 1 rider.", None)
    parts = list(foresight._reliability("tilt", replace(record, expected=np.array([3.0, 1.0, 2.0, 0.0]))))
    assert [(part.part, part.expected, part.measured) for part in parts] == [(1, 0, 3), (2, 1, 2), (3, 2, 0), (4, 3, 1)]
