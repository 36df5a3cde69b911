"""The Supports page without a browser: next steps, narrowing by the grid, disagreements, single riders."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from dashboard.components.address import Addresses, read_view
from dashboard.components.page import Desk, moved_to, view_tabs
from dashboard.figures.theme import bare_interval
from dashboard.pages.supports.answer import answered
from dashboard.pages.supports.asked import chosen_outcome, way_to_settling
from dashboard.pages.supports.by_dose import doses
from dashboard.pages.supports.callbacks import PAGE
from dashboard.pages.supports.for_whom import for_whom, grid_title, way_back
from dashboard.pages.supports.grid import Ground, LevelCells, grid_table
from dashboard.pages.supports.narrow import is_narrowed, is_shown, narrowed, widened, words_of
from dashboard.pages.supports.tables import influence_columns, larger
from dashboard.pages.supports.trust import both, chance, influence, moved_beyond_noise, rests_on_one
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from tests.unit.made_answers import MadeAsker, made_effects
from tests.unit.made_effects import INFLUENCE, made_whole_effects
from tests.unit.page_places import words

DESK = Desk(MadeAsker(), Addresses("/"))  # type: ignore[arg-type]


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


def test_a_row_of_the_grid_leads_to_the_answer_for_it_and_back() -> None:
    one = Selection(visit_kind=("first",), arch_height=("low",))
    ground = Ground(DESK, one, "sway", "arch_height")
    assert ground.asked == Selection(visit_kind=("first",), split="arch_height")
    assert ground.address("high") == "/supports?visit_kind=first&arch_height=high"
    assert ground.address("none of these") == "/supports?visit_kind=first&arch_height=none+of+these"
    assert Ground(DESK, one, "sway", "heel_posture").address("everted") is None
    assert ground.way_back() == "/supports/for-whom?visit_kind=first&outcome=sway"
    assert "Show every arch height again" in words(way_back(ground))
    assert way_back(Ground(DESK, Selection(), "sway", "arch_height")) is None


def test_what_is_unclear_leads_to_how_many_more_fits_settle_it() -> None:
    clear, unclear = made_effects().effects[0], made_effects().effects[0]
    clear = replace(clear, told_low=0.2, told_high=0.4, q_value=0.01)
    unclear = replace(clear, told_low=-0.2)
    selection = Selection(studio=("north",), split="side")
    assert way_to_settling(DESK, selection, [clear]) == []
    for rows in ([clear, unclear], []):
        (way,) = way_to_settling(DESK, selection, rows)
        assert words(way).startswith("How many more riders settle what is unclear, for tilt and sway over all knees: ")
        assert way.children[1].href == "/supports/what-moved-it?studio=north"
    for view in (
        for_whom(made_whole_effects("foot_type"), Ground(DESK, Selection(), "tilt", "foot_type"), "light"),
        doses(DESK, Selection(), replace(made_whole_effects(), dose=()), "tilt", "light"),
    ):
        assert "How many more riders settle what is unclear" in words(view)


def test_for_whom_says_whether_the_levels_differ_once_and_what_the_empty_cells_lack() -> None:
    """Of the made families one more shim differs; four cells of a level have four changes in four riders."""
    told = words(for_whom(made_whole_effects("foot_type"), Ground(DESK, Selection(), "tilt", "foot_type"), "light"))
    assert "Tilt by foot type: a difference for one more shim, and enough changes in 12 of 24 cells" in told
    assert "12 of 24 cells are empty; nearest to a figure:" in told
    assert "A figure needs 10 changes in 10 riders." in told
    assert told.count("6 more changes needed, in other riders") >= 3
    missing = for_whom(made_whole_effects(), Ground(DESK, Selection(), "tilt", "side"), "light")
    assert "There is no side to tell apart here." in words(missing)


def test_titles_claim_by_the_family_s_q_and_cells_by_interval_and_q() -> None:
    """Titles go by the family's q-value, not its p-value; bold by the told interval and q, not the shrunken interval."""
    ground = Ground(DESK, Selection(), "tilt", "foot_type")
    made = made_whole_effects("foot_type")
    cells = [row for row in made.effects if row.split == "foot_type" and row.outcome == "tilt"]
    assert "a difference for one more shim, and" in grid_title(cells, made.families, ground)
    neither = [replace(row, p_value=0.001, q_value=0.05) for row in made.families]
    assert "no support clearly differs" in grid_title(cells, neither, ground)
    cell = next(row for row in cells if row.direction)
    shrunk = {"shrunk": 0.9, "shrunk_low": 0.8, "shrunk_high": 1.0}
    for row, is_bold in (
        (cell, True),
        (replace(cell, **shrunk, told_low=-0.1, told_high=1.9), False),
        (replace(cell, **shrunk, q_value=0.05), False),
    ):
        printed = str(grid_table([LevelCells(row.level, {row.support: row})], ground, lambda row: "empty"))
        assert ("Strong" in printed) is is_bold
        assert bare_interval(row.told_low, row.told_high, "deg", effect=True) in printed


def steps(answer: Effects, selection: Selection) -> list[tuple[str, str]]:
    shown = str(answered(DESK, selection, answer, "light")[-1].to_plotly_json())
    return re.findall(r"Link\(children=\[(.*?)\], href='(.*?)'\)", shown)


def test_the_next_steps_lead_to_each_arch_and_to_what_a_repeat_would_settle() -> None:
    made = made_effects()
    assert [href for _, href in steps(made, Selection(visit_kind=("first",)))] == [
        "/supports?visit_kind=first&arch_height=low",
        "/supports?visit_kind=first&arch_height=medium",
        "/supports?visit_kind=first&arch_height=high",
    ]
    apart = replace(made.effects[-1], words="The two estimates differ by more than their noise.")
    told = steps(replace(made, effects=(*made.effects[:-1], apart)), Selection(arch_height=("low",)))
    assert [href for _, href in told] == [
        "/supports?arch_height=medium",
        "/supports?arch_height=high",
        "/supports",
        "/supports/how-far-to-trust-it?arch_height=low",
    ]
    assert "1 " in told[-1][0]


def test_the_answer_leads_to_what_settles_the_unclear_where_anything_is() -> None:
    made = made_effects()
    unclear = str(answered(DESK, Selection(), made, "light")[1].to_plotly_json())
    assert "Link(children='What settles the unclear', href='/supports/what-moved-it')" in unclear
    clear = [replace(row, told_low=0.2, told_high=0.4, q_value=0.01) for row in made.effects]
    assert "unclear" not in str(answered(DESK, Selection(), replace(made, effects=tuple(clear)), "light")[1].to_plotly_json())


def test_older_addresses_lead_to_what_they_led_to() -> None:
    assert moved_to(PAGE, {"outcome": "sway"}) == "supports/what-moved-it"
    assert {PAGE.moved[f"#supports-{old}"] for old in ("grid", "dose", "tables")} == {"for-whom", "by-dose", "what-moved-it"}
    assert {PAGE.moved[old] for old in ("#supports-further", "#supports-checks", "#influence")} == {"how-far-to-trust-it"}
    tabs = str(view_tabs(PAGE, PAGE.views[2], Addresses("/"), "?outcome=sway&side=left"))
    assert "/supports/by-dose?side=left&outcome=sway" in tabs
    assert "href='/supports?side=left'" in tabs


def test_a_disagreement_hints_at_where_it_comes_from() -> None:
    row = made_effects().effects[4]
    assert larger(replace(row, pooled=0.4, within=0.5)) == "within"
    assert larger(replace(row, pooled=-0.5, within=-0.4)) == "pooled"
    assert larger(replace(row, pooled=-0.1, within=0.4)) == "opposite"


def told_of_both(rows: Sequence[EffectRow]) -> str:
    return words(both(DESK, Selection(), rows, "tilt", "light"))


def test_disagreements_are_counted_with_what_settles_them() -> None:
    rows = [row for row in made_effects().effects if row.outcome == "tilt" and row.split is None]
    said = "The two estimates differ by more than their noise."
    unsure = "A made sentence; no disagreement found, and little could be."
    told = told_of_both([replace(rows[0], words=said), *rows[1:]])
    assert "Tilt: the two estimates disagree in 1 of 5 figures" in told
    assert "less what the third rules out. The third is believed only where enough changes could be foreseen" in told
    assert "repeat capture" not in told
    assert "differ, within-knee the larger" in told
    assert "the two estimates agree in all 5 figures" in told_of_both(rows)
    told = told_of_both([replace(rows[0], words=unsure), *rows[1:]])
    assert "no disagreement of the two estimates found, and in 1 of 5 figures little could be" in told
    assert "no figure yet for any support" in told_of_both([row for row in rows if row.pooled is None])
    assert "The rig moved." in told_of_both(
        [replace(row, told_low=None, told_high=None, words="The rig moved.") for row in rows]
    )


def test_the_mark_of_the_third_is_explained_where_it_stands() -> None:
    rows = [replace(row, sequential=None) for row in made_effects().effects if row.outcome == "tilt" and row.split is None]
    key = "by what was known before each capture (third)"
    assert key not in told_of_both(rows)
    third = replace(rows[0], sequential=0.4, sequential_low=0.1, sequential_high=0.7, strength=30.0)
    assert told_of_both([third, *rows[1:]]).count(key) == 1


def test_an_estimate_that_rests_on_one_rider_is_named() -> None:
    assert rests_on_one(INFLUENCE) == "One rider decides the direction of 1 estimate: pooled, one mm of stance on sway"
    shim = replace(INFLUENCE[0], within_without_low=-0.01)
    assert rests_on_one([shim, INFLUENCE[1]]) == (
        "One rider decides the direction of 2 estimates: pooled, one mm of stance on sway; within-knee, one more shim on tilt"
    )
    told = [(column.heading, column.text(INFLUENCE[0])) for column in influence_columns() if column.heading == "Those riders"]
    assert told == [("Those riders", "R1, R2"), ("Those riders", "R5, R6")]
    assert rests_on_one(INFLUENCE[:1]) == "No estimate would change its direction without any one rider"


def test_an_outcome_that_has_no_view_of_its_own_is_refused_with_those_that_have() -> None:
    """The address let off_neutral through, and the grid then ended in a fault of the program."""
    for without in ("tilt", "off_neutral"):
        with pytest.raises(UsageError, match="found 'off_neutral', expected one of tilt, sway, offset"):
            chosen_outcome(read_view("?outcome=off_neutral"), without)
    assert chosen_outcome(read_view(""), "off_neutral") == "off_neutral"


def test_sections_without_rows_are_left_out() -> None:
    answer = replace(made_whole_effects(), dose=(), off_neutral=(), responders=(), influence=(), effects=())
    assert "No shim and no stance was changed often enough" in words(doses(DESK, Selection(), answer, "tilt", "light"))
    assert chance(DESK, Selection(), answer, "light") == moved_beyond_noise(DESK, Selection(), answer) == []
    assert influence(DESK, Selection(), answer) == []
