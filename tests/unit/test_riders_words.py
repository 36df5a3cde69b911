"""The sentences on one rider's setup, fit and follow-up, and the cells of the page's tables, from what is set by hand."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from dashboard.components.shown_rows import text_of
from dashboard.pages.riders import tables
from dashboard.pages.supports import checked
from dashboard.pages.supports import tables as supports
from dashboard.questions.effects.answers_effects import DoseRow, InfluenceRow, NeutralRow, ResponderRow
from dashboard.questions.followed.held import HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN, WAITING
from dashboard.questions.riders.answers_riders import FitRow, FollowUpRow, KneeRow
from dashboard.questions.riders.riders_told import told_of
from dashboard.questions.riders.riders_words import change_words, fit_words, room_words, setup_words
from tests.unit.test_check_words import check

SETUP: dict[str, Any] = {
    "insole_level": "low", "shims_added": 0, "shims_built_in": 1, "shim_place": None, "stance_mm": 2.0, "stance_by": None,
    "foot_room_ok": True,
}  # fmt: skip


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({}, "low insole; 1 varus shim built in; stance 2.0 mm"),
        ({"shims_added": 2, "shim_place": "at_cleat"},
         "low insole; 2 varus shims added at the cleat, 1 varus shim built in; stance 2.0 mm"),
        ({"shims_built_in": None, "shims_added": -1, "shim_place": "in_shoe"},
         "low insole; 1 valgus shim in the shoe; stance 2.0 mm"),
        ({"shims_built_in": 0, "stance_mm": 0.0, "insole_level": "none"}, "no insole; no shim"),
        ({"stance_by": "spacer", "foot_room_ok": False},
         "low insole; 1 varus shim built in; stance 2.0 mm by spacer; too little foot room"),
        ({"insole_level": None}, "setup not recorded"),
    ],
)  # fmt: skip
def test_a_setup_is_told_as_it_stands(changed: dict[str, Any], words: str) -> None:
    assert bare(setup_words({**SETUP, **changed})) == words


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ({}, {"insole_level": "medium"}, "medium insole instead of low"),
        ({"insole_level": "none"}, {}, "low insole instead of none"),
        ({}, {"insole_level": "none"}, "no insole instead of low"),
        ({}, {"shims_added": 1, "shim_place": "in_shoe"}, "one more varus shim (2 varus shims in all) in the shoe"),
        ({"shims_added": 2}, {"shims_added": 0}, "two varus shims fewer (1 varus shim in all)"),
        ({"shims_built_in": 0}, {"shims_built_in": 0, "shims_added": 1}, "one more varus shim"),
        ({}, {"shims_added": -3}, "2 valgus shims instead of 1 varus shim"),
        ({}, {"shims_added": 7}, "7 more varus shims (8 varus shims in all)"),
        ({}, {"shims_built_in": 0, "shims_added": 1}, "the same shims in all, now 1 varus shim"),
        ({"shims_added": 1, "shim_place": "in_shoe"}, {"shims_added": 1, "shim_place": "at_cleat"}, "shims at the cleat"),
        ({}, {"stance_mm": 4.0, "stance_by": "spacer"}, "foot 2.0 mm outward by spacer"),
        ({}, {"stance_mm": -1.0}, "foot 3.0 mm inward"),
        ({"stance_by": "cleat"}, {"stance_by": "spacer"}, "the same stance by spacer"),
        ({}, {"insole_level": "high", "stance_mm": 3.0}, "high insole instead of low; foot 1.0 mm outward"),
        ({}, {}, "nothing changed"),
        ({}, {"insole_level": None}, "setup not recorded"),
    ],
)
def test_a_change_of_a_foot_is_told_part_by_part(before: dict[str, Any], after: dict[str, Any], words: str) -> None:
    assert bare(change_words({**SETUP, **before}, {**SETUP, **after})) == words


def test_foot_room_is_found_and_lost() -> None:
    tight = {**SETUP, "foot_room_ok": False}
    assert (room_words(SETUP, tight), room_words(tight, SETUP)) == ("too little foot room now", "foot room again")
    assert room_words(SETUP, SETUP) == room_words(SETUP, {**SETUP, "foot_room_ok": None}) == ""


LEFT = KneeRow("S1", "left", "tilt", "deg", -3.04, -1.0, 2.04, 0.84, "changed", -1.2, 0.2)
RIGHT = KneeRow("S1", "right", "tilt", "deg", 1.0, 1.26, 0.26, 0.84, "unclear", 2.3, 1.04)


def test_what_a_fit_did_to_both_knees_is_told_against_the_noise() -> None:
    assert fit_words([LEFT, RIGHT], 3) == (
        "left tilt went from −3.0° to −1.0°, more than the 0.8° that would be noise; right did not clearly change (from 1.0° "
        "to 1.3°)."
    )
    both = replace(RIGHT, verdict="changed", departure=3.0)
    assert fit_words([LEFT, both], 3) == (
        "left tilt went from −3.0° to −1.0° and right tilt went from 1.0° to 3.0°, both more than the 0.8° that would be noise."
    )
    neither = replace(LEFT, verdict="unclear")
    assert fit_words([neither, RIGHT], 3) == (
        "neither knee clearly changed (tilt left from −3.0° to −1.0°, right from 1.0° to 1.3°; both within the 0.8° that "
        "would be noise)."
    )
    assert fit_words([neither], 3) == "no clear change (tilt left from −3.0° to −1.0°; within the 0.8° that would be noise)."
    assert fit_words([replace(LEFT, mdc95=None)], 3).endswith(
        "whether that is more than noise is not known, since there are too few repeat captures yet."
    )
    assert fit_words([], 0) == "no capture was recorded."
    assert fit_words([LEFT], 1) == "one capture only, so that no change can be told."
    assert fit_words([replace(LEFT, change=None)], 2) == "no knee's tilt was recorded at both ends."


FIT = FitRow(
    "S1", date(2026, 3, 1), "first", 1, "quay", "F1", None, 3, None, None, None, None, None, None, "", HELD, date(2026, 4, 1)
)
TODAY = date(2026, 7, 1)


def told(fit: FitRow, bookings: tuple[FollowUpRow, ...] = (), followed: FitRow | None = None, **knee: Any) -> str:
    return told_of(fit, [replace(LEFT, **knee), RIGHT], bookings, followed, 0.84, TODAY)


def booking(due: date, state: str = "open") -> FollowUpRow:
    return FollowUpRow("S1", date(2026, 3, 1), due, state, None, None, None, None, None)


def test_a_fit_is_told_from_arrival_to_follow_up_in_one_sentence() -> None:
    assert told(replace(FIT, became=NOT_HELD)) == (
        "The first fit of 1 Mar 2026 did not hold; tilt was −3.0° left and 1.0° right on arrival, −1.0° and 1.3° at "
        "departure (the left "
        "knee clearly changed), −1.2° and 2.3° at the follow-up 31 days later; since departure the right knee went 1.0° away "
        "from "
        "neutral, more than 0.8°, the smallest real change."
    )
    held = told_of(FIT, [LEFT, replace(RIGHT, further=0.84)], (), None, 0.84, TODAY)
    assert held.startswith("The first fit of 1 Mar 2026 held; ")
    assert held.endswith("since departure no knee went away from neutral by more than 0.8°, the smallest real change.")
    knees = [replace(LEFT, further=0.9), replace(RIGHT, verdict="changed")]
    both = told_of(replace(FIT, became=NOT_HELD), knees, (), None, 0.84, TODAY)
    assert "(both knees clearly changed)" in both
    assert "the left knee went 0.9° and the right knee went 1.0° away from neutral" in both
    assert "at the follow-up 1 day later" in told(replace(FIT, seen_on=date(2026, 3, 2)))
    alone = told_of(FIT, [replace(LEFT, verdict="unclear")], (), None, 0.84, TODAY)
    assert "tilt was −3.0° left (right not recorded) on arrival" in alone and "(no clear change)" in alone


@pytest.mark.parametrize(
    ("bookings", "became", "end"),
    [
        ((), NOT_SEEN, "no follow-up was booked."),
        ((), WAITING, "no follow-up is booked."),
        ((booking(date(2026, 7, 2)),), WAITING, "its follow-up is booked for 2 Jul 2026."),
        ((booking(TODAY),), WAITING, "its follow-up is due today."),
        ((booking(date(2026, 6, 30)),), NOT_SEEN, "its follow-up was due on 30 Jun 2026, 1 day ago."),
        ((booking(date(2026, 6, 1)),), NOT_SEEN, "its follow-up was due on 1 Jun 2026, 30 days ago."),
        ((booking(date(2026, 5, 1), "missed"), booking(date(2026, 6, 1), "cancelled")), NOT_SEEN,
         "the follow-up of 1 Jun 2026 was cancelled."),
        ((booking(date(2026, 5, 1), "missed"), booking(date(2026, 7, 2))), WAITING, "its follow-up is booked for 2 Jul 2026."),
    ],
)  # fmt: skip
def test_a_fit_that_was_not_seen_again_tells_where_its_booking_stands(
    bookings: tuple[FollowUpRow, ...], became: str, end: str
) -> None:
    assert told(replace(FIT, became=became, seen_on=None), bookings).endswith(f"; {end}")


def test_a_visit_that_asks_for_nothing_and_one_that_was_not_measured_say_so() -> None:
    visit = replace(FIT, became=None, visit_kind="follow_up")
    assert told(visit).endswith("; it asks for no follow-up.")
    assert told(visit, followed=FIT).endswith("; it followed up the first fit of 1 Mar 2026, which held.")
    assert told(visit, followed=replace(FIT, became=NOT_HELD)).endswith("which did not hold.")
    assert told(visit, followed=replace(FIT, became=None)).endswith("of which it is not known whether it held.")
    blank = replace(FIT, became=NOT_MEASURED)
    assert told(blank).endswith("; the rider came on 1 Apr 2026, and a knee was not recorded.")
    unknown = told_of(blank, [replace(LEFT, further=None)], (), None, None, TODAY)
    assert unknown.endswith("; the rider came on 1 Apr 2026, and no tilt was recorded.")
    few = told_of(blank, [LEFT], (), None, None, TODAY)
    assert few.endswith("; the rider came on 1 Apr 2026, and there are too few repeat captures yet.")


def cells(columns: Any, row: Any) -> list[str]:
    return [bare(text_of(column.text(row))) for column in columns]


def test_a_knee_of_a_fit_stands_with_its_change_beside_the_smallest_real_one() -> None:
    assert cells(tables.KNEES, LEFT) == ["Left tilt", "−3.0°", "−1.0°", "2.0°", "0.8°", "more than noise", "−1.2°"]
    assert [tables.VERDICTS[verdict] for verdict in ("unclear", "unknown")] == ["no clear change", "not known"]


def test_tables_of_supports_print_each_figure_with_its_sign_and_a_claim_in_bold() -> None:
    dose = DoseRow(
        "tilt", "shim", "deg", 2.0, "shims", 30, 1200, 0.5, 0.2, 0.8, 0.7, 0.3, 1.1, 0.2, 1.1, 0.6, 0.02, "", q_value=0.0004,
        told_low=0.2, told_high=1.1, is_rough=True,
    )  # fmt: skip
    assert cells(supports.dose_columns("95 %"), dose) == [
        "2 shims", "+0.20 to +1.10°", "+0.50°", "+0.20 to +0.80°", "+0.70°", "+0.30 to +1.10°", "+0.60°", "< 0.001 (rough)",
        "1,200", "30",
    ]  # fmt: skip
    came = NeutralRow("inward", 1200, 40, -1.1, -0.2, -0.9, -1.2, -0.6, "In words.", 0.0124, -1.2, -0.6)
    assert cells(supports.neutral_columns("95 %"), came) == [
        "inward", "In words.", "−1.10°", "−0.20°", "−0.90°", "−1.20 to −0.60°", "0.012", "1,200", "40",
    ]  # fmt: skip
    knees = ResponderRow("tilt", "better", 0.84, "deg", 300, 1200, 0.25, 0.2, 0.3, "In words.")
    assert cells(supports.responder_columns("95 %"), knees) == [
        "Tilt", "better", "25 %", "20 to 30 %", "300 of 1,200", "In words.",
    ]  # fmt: skip
    one = InfluenceRow("sway", "stance", "mm", -0.5, -0.6, -0.3, 0.2, 0.1, 0.4, "R1", "R2", "R3", "R4")
    assert cells(supports.influence_columns(), one) == [
        "One mm of stance", "Sway", "−0.50 mm", "−0.60 to −0.30 mm", "R1, R2", "+0.20 mm", "+0.10 to +0.40 mm", "R3, R4",
    ]  # fmt: skip
    assert [bare(supports.small(value)) for value in (None, 0.0009, 0.001, 0.0499)] == ["–", "< 0.001", "0.001", "0.050"]


def test_what_was_looked_for_is_found_allowed_for_or_not_enough_yet() -> None:
    row = check("shim_bend")
    assert cells(checked.check_columns("95 %"), row) == [
        "The first shim, and each further one", "yes", "+0.50 to +0.70°", "+0.10 to +0.30°", "−0.60 to −0.20°", "0.002",
        "1,200", "30",
    ]  # fmt: skip
    late = cells(checked.check_columns("95 %"), replace(check("late"), is_allowed_for=True))
    assert late[1:5] == ["yes, and allowed for", "–", "–", "20 to 42 %"]
    found = {
        checked._found_words(replace(row, **changed))
        for changed in ({"is_found": False}, {"difference": None}, {"difference": None, "is_allowed_for": True})
    }
    assert found == {"no", "not enough yet", "allowed for"}
