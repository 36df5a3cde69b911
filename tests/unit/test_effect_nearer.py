"""What brings a knee nearer to neutral: the sentence, what an empty cell needs, and the picture, from rows written by hand."""

from dataclasses import replace

import pytest

from dashboard.questions.effects.nearer import NOT_ENOUGH, headline_of, shift_words
from dashboard.questions.effects.needed import needed, why_empty
from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from shared.settings import Settings
from tests.unit.made_answers import made_effects


def row(
    support: str, level: str, low: float | None, high: float | None, q_value: float = 0.001, n_riders: int = 30
) -> EffectRow:
    """A row on the distance from neutral with its told interval; minus is nearer."""
    made = replace(
        made_effects().effects[4], outcome="off_neutral", support=support, split="arrival_direction", level=level,
        n_riders=n_riders, told_low=low, told_high=high, q_value=q_value,
    )  # fmt: skip
    return made if low is not None else replace(made, pooled=None, told_by=None, q_value=None, words="not enough yet")


SHIM_IN = row("shim", "inward", -0.5, -0.29, n_riders=497)
INSOLE_IN = row("insole_medium", "inward", -0.79, -0.41, q_value=1e-9)
STANCE_OUT = row("stance", "outward", -0.12, -0.02, q_value=0.01, n_riders=1)
SHIM_OUT = row("shim", "outward", 0.25, 0.48)
UNCLEAR = row("shim", "inward", -0.55, 0.02, q_value=0.11)


def test_the_sentence_tells_what_brings_inward_and_outward_knees_nearer() -> None:
    assert headline_of([SHIM_OUT, STANCE_OUT, INSOLE_IN, SHIM_IN]) == (
        "One more varus shim brings knees that came inward nearer to neutral by 0.29 to 0.50° (497 riders); "
        "one mm of outward stance those that came outward, by 0.02 to 0.12° (1 rider)."
    )


def test_without_a_clear_shim_the_surest_support_is_told_and_the_other_knees_are_not_left_out() -> None:
    assert headline_of([UNCLEAR, INSOLE_IN, SHIM_OUT]) == (
        "A medium insole brings knees that came inward nearer to neutral by 0.41 to 0.79° (30 riders). "
        "For knees that came outward none clearly does."
    )
    assert headline_of([INSOLE_IN, row("shim", "outward", None, None)]).endswith("For knees that came outward: not enough yet.")


def test_what_only_takes_knees_further_is_told_as_that() -> None:
    assert headline_of([UNCLEAR, SHIM_OUT]) == (
        "One more varus shim takes knees that came outward further from neutral by 0.25 to 0.48° (30 riders). "
        "No support clearly brings a knee nearer."
    )


def test_a_claim_carries_what_the_checks_found_of_its_support_and_says_it_once() -> None:
    def carried(row: EffectRow) -> list[str]:
        return ["About a third of it comes one capture late.", f"Carried by {row.support}."]

    assert headline_of([SHIM_IN, STANCE_OUT], carried).endswith(
        "(1 rider). On the tilt, about a third of it comes one capture late. On the tilt, carried by shim. "
        "On the tilt, carried by stance."
    )
    assert headline_of([UNCLEAR, SHIM_OUT], carried).endswith(
        "nearer. On the tilt, about a third of it comes one capture late. On the tilt, carried by shim."
    )
    assert "late" not in headline_of([UNCLEAR], carried)


def test_an_interval_without_zero_that_chance_may_bring_is_not_claimed() -> None:
    by_chance = replace(SHIM_IN, q_value=0.05)
    assert headline_of([by_chance]) == (
        "No clear change in the distance from neutral by any support: with one more varus shim, knees that came inward moved "
        "anything from 0.29 to 0.50° nearer (497 riders)."
    )
    assert "anything from 0.55° nearer to 0.02° further" in headline_of([UNCLEAR])
    none = replace(UNCLEAR, told_low=None, told_high=None)
    assert headline_of([UNCLEAR, none]).startswith(
        "No clear change in the distance from neutral in what can be told yet, 1 figure: with "
    )
    assert shift_words(SHIM_OUT) == "0.25 to 0.48° further"


def test_rows_of_other_outcomes_and_rows_without_figures_are_not_quoted() -> None:
    of_tilt = replace(SHIM_IN, outcome="tilt")
    assert headline_of([of_tilt, row("shim", "inward", None, None)]) == headline_of([]) == NOT_ENOUGH


@pytest.mark.parametrize(
    ("changes", "riders", "words"),
    [
        (4, 4, "6 more changes needed, in other riders"),
        (14, 6, "4 more changes needed, in other riders"),
        (13, 9, "1 more change needed, in another rider"),
        (2, 6, "8 more changes needed, 4 of them in other riders"),
        (8, 10, "2 more changes needed"),
        (0, 0, "10 more changes needed, in other riders"),
    ],
)
def test_an_empty_cell_tells_how_many_more_changes_it_needs(changes: int, riders: int, words: str) -> None:
    """Ten changes in ten riders are enough, by the shipped settings."""
    told = verdict.not_enough("shim", changes, riders, "10 changes in 10 riders") if changes else verdict.not_changed("shim")
    empty = replace(row("shim", "inward", None, None), n_changes=changes, n_riders=riders, words=told)
    assert why_empty(empty, Settings()) == words


def test_a_cell_that_more_changes_alone_would_not_fill_says_why() -> None:
    empty = replace(row("shim", "inward", None, None), n_changes=40, n_riders=30)
    tied = replace(empty, words=verdict.changed_together("shim", ["insole_low"], False))
    assert needed(tied, Settings()) is None
    assert why_empty(tied, Settings()) == "always changed together with others"
    assert why_empty(replace(empty, words=verdict.one_rider("shim")), Settings()) == "rests on one rider"
    assert why_empty(replace(empty, words="Left out here."), Settings()) == "no figure"
    assert why_empty(replace(empty, pooled=0.4, words="No effect is claimed: the rig moved."), Settings()) == "not claimed"
