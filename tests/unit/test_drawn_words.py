"""What drawn orders say: which blocks are whole, what was left behind, and a difference only where it may be claimed."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from dashboard.questions.drawn import drawn
from dashboard.questions.drawn.answers_drawn import ComparisonRow
from dashboard.questions.drawn.recorded import About, Seen, _is_both
from dashboard.questions.drawn.steps import STEPS, feet_words, step_between
from dashboard.questions.foresight.knees import Knee, Setup, arrived, forefoot_of
from shared.logbook.drawing import Draw
from shared.settings import Settings
from tests.unit.test_studio_words import bare

ROW = ComparisonRow(
    **dict.fromkeys(ComparisonRow.__dataclass_fields__)  # type: ignore[arg-type]
    | {"first_step": "a low insole", "second_step": "a wider stance", "outcome": "tilt", "unit": "deg", "told_low": 0.2,
       "told_high": 0.84, "q_value": 0.01, "n_drawn": 12, "stop_after": 40, "n_waiting": 0, "n_overruled": 0}
)  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({}, "By the draw, tilt rose by 0.20 to 0.84° more after a wider stance than after a low insole."),
        ({"told_low": -0.84, "told_high": -0.2},
         "By the draw, tilt rose by 0.20 to 0.84° less after a wider stance than after a low insole."),
        ({"told_low": -0.84},
         "By the draw, no clear difference between a wider stance and a low insole: in tilt anything from −0.84 to 0.84°."),
        ({"q_value": 0.05},
         "By the draw, no clear difference between a wider stance and a low insole: in tilt anything from 0.20 to 0.84°."),
        ({"told_low": None}, "Not enough yet to compare a wider stance and a low insole by the draw: too few."),
        ({"told_high": None}, "Not enough yet to compare a wider stance and a low insole by the draw: too few."),
    ],
)  # fmt: skip
def test_a_difference_is_said_only_where_interval_and_q_allow_it(changed: dict[str, Any], words: str) -> None:
    assert bare(drawn._verdict(replace(ROW, **changed), "too few")) == words


def test_draws_are_counted_with_those_that_wait_and_those_that_were_overruled() -> None:
    assert drawn._counts(ROW) == "12 of 40 drawn."
    assert drawn._counts(replace(ROW, n_waiting=1, n_overruled=2)) == "12 of 40 drawn, 1 not loaded yet, 2 overruled."
    assert (replace(ROW, closed_on=None).is_open, replace(ROW, closed_on=date(2026, 7, 1)).is_open) == (True, False)


def seen(number: int, arm: str, *, block: int = 1, stratum: str = "F1", **more: Any) -> Seen:
    draw = Draw("C-1", number, stratum, block, 2, number, arm, f"S{number}", "left", 1, "2026-06-01T08:00:00", "F1")  # type: ignore[arg-type]
    return Seen(draw, **{"is_waiting": False, "before": 1.0, "after": 1.5, **more})


def test_a_block_is_whole_once_all_of_it_is_drawn_and_nothing_of_it_is_waited_for() -> None:
    own = [seen(1, "first"), seen(2, "second")]
    assert drawn._whole(own) == {("F1", 1)}
    assert drawn._whole([own[0], seen(2, "second", is_waiting=True)]) == set()
    assert drawn._whole([*own, seen(3, "first", block=2), seen(4, "first", stratum="F2")]) == {("F1", 1)}


def test_what_an_order_left_is_both_steps_less_what_stood_before() -> None:
    one = seen(1, "first", both=2.25)
    assert (one.change, one.left) == (0.5, 1.25)
    assert (replace(one, after=None).change, replace(one, both=None).left, replace(one, before=None).left) == (None, None, None)


ABOUT = About("C-1", "insole_low", "stance_wider", "tilt", "any", date(2026, 6, 1), None, 40, "seal", "")


def test_each_arm_is_told_by_what_was_drawn_whatever_was_made() -> None:
    rows = [seen(1, "first", made="insole_low", rider="R1"), seen(2, "first", made="", rider="R2", after=None),
            seen(3, "second", made="insole_low", rider="R1", before=2.0), seen(4, "second", rider="R3", after=3.5)]  # fmt: skip
    first, second = drawn._arms(ABOUT, rows)
    assert (first.step, first.n_drawn, first.n_captured, first.n_overruled, first.n_riders) == ("a low insole", 2, 1, 1, 1)
    assert (first.mean_before, first.mean_change) == (1.0, 0.5)
    assert (second.step, second.n_overruled, second.mean_before, second.mean_change) == ("a wider stance", 1, 1.5, 1.0)
    assert [row.mean_change for row in drawn._arms(ABOUT, [])] == [None, None]


LOW = Setup(insole_level="low", total_shims=1, shims_built_in=0, stance_mm=0.0)


@pytest.mark.parametrize(
    ("changed", "step"),
    [
        ({}, ""),
        ({"insole_level": "medium"}, "insole_medium"),
        ({"total_shims": 2}, "shim_more"),
        ({"total_shims": 0}, "shim_fewer"),
        ({"total_shims": 3}, None),
        ({"stance_mm": 2.0}, "stance_wider"),
        ({"stance_mm": -2.0}, "stance_narrower"),
        ({"stance_mm": 2.0, "total_shims": 2}, None),
        ({"insole_level": "custom"}, None),
    ],
)
def test_a_step_is_one_change_that_a_comparison_may_be_of(changed: dict[str, Any], step: str | None) -> None:
    assert step_between(LOW, LOW.model_copy(update=changed)) == step
    assert not step or step in STEPS


def test_both_steps_are_there_where_nothing_else_differs() -> None:
    steps = {"insole_medium", "shim_more"}
    both = LOW.model_copy(update={"insole_level": "medium", "total_shims": 2})
    assert _is_both(LOW, both, steps)
    assert not _is_both(LOW, both.model_copy(update={"stance_mm": 2.0}), steps)
    assert not _is_both(LOW, LOW.model_copy(update={"total_shims": 2}), steps)
    assert not _is_both(None, both, steps) and not _is_both(LOW, None, steps)


@pytest.mark.parametrize(
    ("feet", "words"),
    [
        (("any", "any", "none", 0, "any"), "any arch, any forefoot, no insole, no shim, any knee"),
        (("low", "mild_varus", "low", 1, "neutral"), "low arch, mild varus forefoot, low insole, 1 shim, knee near neutral"),
        ((None, None, None, None, None), "any arch, any forefoot, any insole, any shims, any knee"),
        (("high", "valgus", "high", -2, "inward"), "high arch, valgus forefoot, high insole, −2 shims, knee inward"),
    ],
)  # fmt: skip
def test_feet_of_a_comparison_are_told_part_by_part(feet: tuple[Any, ...], words: str) -> None:
    assert feet_words(*feet) == words


def test_a_forefoot_and_a_knee_at_a_limit_are_near_neutral() -> None:
    own = Settings.model_validate({"forefoot": {"neutral_within_deg": 0.5, "marked_above_deg": 4.0}}).forefoot
    told = [forefoot_of(angle, own) for angle in (None, -0.51, -0.5, 0.5, 0.51, 4.0, 4.01)]
    assert told == [None, "valgus", "neutral", "neutral", "mild_varus", "mild_varus", "marked_varus"]
    places = [arrived(Knee(tilt_deg=tilt), 1.0) for tilt in ((), (-1.01,), (-1.0, 9.0), (1.0,), (1.01,))]
    assert places == [None, "inward", "near neutral", "near neutral", "outward"]
