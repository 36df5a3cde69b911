"""The Supports page without a browser: narrowing by the grid, disagreements, single riders."""

from dataclasses import replace
from typing import Any

import pytest

from dashboard.components.address import Addresses, read_view
from dashboard.components.page import Desk
from dashboard.figures.theme import bare_interval
from dashboard.pages.supports import callbacks
from dashboard.pages.supports.doses import doses
from dashboard.pages.supports.further import further, larger, rests_on_one
from dashboard.pages.supports.grid import Ground, cells_of, grid, grid_table, levels_of
from dashboard.pages.supports.narrow import is_narrowed, is_shown, narrowed, widened, words_of
from dashboard.pages.supports.tables import influence_columns
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from tests.unit.made_answers import MadeAsker
from tests.unit.made_effects import INFLUENCE, made_whole_effects
from tests.unit.page_places import words

DESK = Desk(MadeAsker(), Addresses("/"))  # type: ignore[arg-type]
TEXT = callbacks.TEXT


@pytest.mark.parametrize(
    ("split", "level", "expected"),
    [
        ("foot_type", "low arch, mild_varus", {"arch_height": ("low",), "forefoot": ("mild_varus",)}),
        ("arch_height", "low", {"arch_height": ("low",)}),
        ("visit_kind", "first", {"visit_kind": ("first",)}),
        ("heel_posture", "everted", {}),
        ("foot_type", "low arch, unheard of", {}),
        ("foot_type", "something else", {}),
        ("side", None, {}),
    ],
)
def test_a_level_is_the_words_that_ask_for_it(split: str, level: str | None, expected: dict[str, Any]) -> None:
    assert words_of(split, level) == expected


def test_narrowing_and_the_way_back_leave_the_other_words() -> None:
    whole = Selection(studio=("north",))
    one = narrowed(whole, "foot_type", "low arch, neutral")
    assert one == replace(whole, arch_height=("low",), forefoot=("neutral",))
    assert is_narrowed(one, "foot_type")
    assert is_shown(one, "foot_type", "low arch, neutral")
    assert not is_shown(one, "foot_type", "low arch, valgus")
    assert widened(one, "foot_type") == whole
    assert not is_narrowed(Selection(arch_height=("low", "high"), forefoot=("neutral",)), "foot_type")
    assert not is_narrowed(whole, "heel_posture")


def test_the_grid_keeps_every_row_and_marks_the_one_that_is_shown() -> None:
    one = Selection(visit_kind=("first",), arch_height=("low",))
    ground = Ground(DESK, one, None, "arch_height")
    assert ground.asked == Selection(visit_kind=("first",), split="arch_height")
    assert ground.address("high") == "/supports?visit_kind=first&arch_height=high"
    assert ground.way_back() == "/supports?visit_kind=first"
    assert read_view((ground.address("high") or "").partition("?")[2]).selection == Selection(
        visit_kind=("first",), arch_height=("high",)
    )


def test_a_choice_of_outcome_is_kept_by_the_rows() -> None:
    ground = Ground(DESK, Selection(), "sway", "foot_type")
    assert ground.address("low arch, neutral") == "/supports?arch_height=low&forefoot=neutral&outcome=sway"
    assert ground.address("none of these") is None


def test_the_grid_says_whether_the_levels_differ_and_how_much_can_be_told() -> None:
    answer = made_whole_effects("foot_type")
    told = words(grid(answer, Ground(DESK, Selection(), None, "foot_type"), TEXT))
    assert "Tilt by foot type: a difference for one more shim, and enough changes in" in told
    assert len(levels_of(cells_of(answer.effects, "tilt", "foot_type"))) == 4
    assert grid(answer, Ground(DESK, Selection(), None, "side"), TEXT) == []


def test_a_disagreement_hints_at_where_it_comes_from() -> None:
    row = made_whole_effects().effects[4]
    assert larger(replace(row, pooled=0.4, within=0.5)) == "within"
    assert larger(replace(row, pooled=-0.5, within=-0.4)) == "pooled"
    assert larger(replace(row, pooled=-0.1, within=0.4)) == "opposite"


def test_disagreements_are_listed_with_what_settles_them() -> None:
    made = made_whole_effects()
    said = "The two estimates differ by more than their noise."
    unsure = "A made sentence; no disagreement found, and little could be."
    answer = replace(made, effects=(replace(made.effects[0], words=said), *made.effects[1:]))
    told = words(further(DESK, Selection(), answer, None, TEXT, "light"))
    assert "The two estimates disagree in 1 of 15 figures" in told
    assert "repeat" not in told.partition("The two estimates disagree")[2].partition("Nearer to neutral")[0]
    assert "The two estimates agree in all 15 figures" in words(further(DESK, Selection(), made, None, TEXT, "light"))
    answer = replace(made, effects=(replace(made.effects[0], words=unsure), *made.effects[1:]))
    told = words(further(DESK, Selection(), answer, None, TEXT, "light"))
    assert "No disagreement of the two estimates found, and in 1 of 15 figures little could be" in told


def test_an_estimate_that_rests_on_one_rider_is_named() -> None:
    assert rests_on_one(INFLUENCE) == "One rider decides the direction of 1 estimate: pooled, one mm of stance on sway"
    shim = replace(INFLUENCE[0], within_without_low=-0.01)
    assert rests_on_one([shim, INFLUENCE[1]]) == (
        "One rider decides the direction of 2 estimates: pooled, one mm of stance on sway; within-knee, one more shim on tilt"
    )
    told = [(column.heading, column.text(INFLUENCE[0])) for column in influence_columns() if column.heading == "Those riders"]
    assert told == [("Those riders", "R1, R2"), ("Those riders", "R5, R6")]
    assert rests_on_one(INFLUENCE[:1]) == "No estimate would change its direction without any one rider"


def test_an_outcome_that_has_no_panel_of_its_own_is_refused_with_those_that_have() -> None:
    """The address let off_neutral through, and the grid then ended in a fault of the program."""
    with pytest.raises(UsageError, match="found 'off_neutral', expected one of tilt, sway, offset"):
        callbacks.chosen_outcome(read_view("?outcome=off_neutral"))


def test_the_grid_claims_what_its_rows_claim() -> None:
    """Titles go by the family's q-value, not its p-value; bold by the told interval and q, not the shrunken interval."""
    ground = Ground(DESK, Selection(), None, "foot_type")
    made = made_whole_effects("foot_type")
    assert "a difference for one more shim, and" in words(grid(made, ground, TEXT)[0])
    neither = replace(made, families=tuple(replace(row, p_value=0.001, q_value=0.05) for row in made.families))
    assert "no support clearly differs" in words(grid(neither, ground, TEXT)[0])
    cell = next(row for row in made.effects if row.level and row.direction)
    shrunk = {"shrunk": 0.9, "shrunk_low": 0.8, "shrunk_high": 1.0}
    for row, is_bold in (
        (cell, True),
        (replace(cell, **shrunk, told_low=-0.1, told_high=1.9), False),
        (replace(cell, **shrunk, q_value=0.05), False),
    ):
        printed = str(grid_table({(row.level, row.support): row}, "tilt", "foot_type"))
        assert ("Strong" in printed) is is_bold
        assert bare_interval(row.told_low, row.told_high, "deg", effect=True) in printed


def test_sections_without_rows_are_left_out() -> None:
    answer = replace(made_whole_effects(), dose=(), off_neutral=(), responders=(), influence=(), effects=())
    assert doses(DESK, Selection(), answer, "tilt", TEXT, "light") == []
    told = words(further(DESK, Selection(), answer, None, TEXT, "light"))
    assert told.lstrip().startswith("How this is computed")
    assert "Data up to 30 Jun 2026." in told


def test_every_passage_of_the_page_is_written() -> None:
    names = "reading grid narrowing narrowed not_narrowing families dose agree disagree within pooled opposite neutral"
    assert {*names.split(), "neutral_reading", "neutral_grid", "responders", "influence", "method"} <= set(TEXT)
