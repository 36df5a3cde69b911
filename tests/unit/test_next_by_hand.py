"""The form by hand: what was typed as two knees, sentences that name the field, and nothing typed in a log."""

import json
import logging
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest

from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.pages.next_rider import by_hand, ids
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.foresight import knees
from dashboard.questions.foresight.answers_foresight import Next
from dashboard.questions.foresight.knees import Form, Knee, Setup
from dashboard.questions.foresight.typed import GROUPS, NO_NUMBER, form_typed
from shared.errors import StatisticsError, UsageError
from shared.settings import Settings
from tests.unit.page_places import words
from tests.unit.test_pages_next import ANSWER, RECORD

TYPED = {
    "left.arch_height": "low", "left.squat_knee_path": "inward", "left.forefoot_angle_deg": "5", "left.tilt_1": "-4",
    "left.tilt_2": "-3.5", "left.sway_1": "17", "left.sway_2": "", "left.insole_level": "low", "left.shims_added": "1",
    "left.shims_built_in": "-2", "left.stance_mm": " 2.5 ", "left.foot_room": "enough", "right.arch_height": "", "pain": "2",
    "visit_kind": "refit", "riding": "gravel", "bike_kind": " Cargo ",
}  # fmt: skip


class Typing:
    """Foresees what is written here, and keeps who was asked about."""

    settings = Settings()

    def __init__(self, answer: Next | Exception = ANSWER) -> None:
        self.answer = answer
        self.asked: list[Form] = []

    def ask(self, question: str, _selection: Any) -> Any:
        assert question == "foresight"
        return replace(RECORD, is_kept=False, headline="Do not lean on what is foreseen today.")

    def foresee(self, form: Form) -> Next:
        self.asked.append(form)
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


def told(typed: Any, asked: Typing | None = None) -> str:
    desk = Desk(asked or Typing(), Addresses("/"))  # type: ignore[arg-type]
    return words(by_hand.foretold(desk, typed, "light"))


def test_what_is_typed_is_two_knees_with_gaps() -> None:
    """Shims in all are those added and those built in; an empty field is not known, an empty support none."""
    left = Knee(
        arch_height="low",
        squat_knee_path="inward",
        forefoot_angle_deg=5,
        tilt_deg=(-4.0, -3.5),
        sway_mm=(17.0,),
        setup=Setup(insole_level="low", total_shims=-1, shims_built_in=-2, stance_mm=2.5),
        foot_room_ok=True,
    )
    assert form_typed(TYPED) == Form(left=left, right=Knee(), pain=2, visit_kind="refit", riding="gravel", bike_kind="Cargo")
    assert form_typed({"right.foot_room": "too_little"}).right.foot_room_ok is False


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("left.forefoot_angle_deg", "99", "Forefoot angle, left: found 99, expected 30 ° at most."),
        ("right.tilt_2", "-31", "Tilt again, right: found -31, expected −30 ° at least."),
        ("right.sway_1", NO_NUMBER, "Sway, right: this is no number, expected a number."),
        ("right.sway_1", "nan", "Sway, right: found nan, expected a number."),
        ("left.shims_added", "1.5", "Shims added, left: found 1.5, expected a whole number."),
        ("left.shims_built_in", "7", "Shims built in, left: found 7, expected 6 at most."),
        ("right.stance_mm", "51", "Stance, right: found 51, expected 50 mm at most."),
        ("left.arch_height", "flat", "Arch height, left: found flat, expected one of low, medium, high."),
        ("riding", "walking", "Riding: found walking, expected one of road, gravel, mountain, triathlon, commuting, indoor."),
        ("bike_kind", "x" * 41, f"Bicycle: found {'x' * 41}, expected 40 letters at most."),
        ("pain", "11", "Pain: found 11, expected 10 at most."),
    ],
)  # fmt: skip
def test_a_wrong_value_is_a_sentence_that_names_the_field(name: str, text: str, sentence: str) -> None:
    with pytest.raises(UsageError) as fault:
        form_typed({**TYPED, name: text})
    assert str(fault.value) == sentence
    # The library's own fault holds all that was typed.
    assert fault.value.__cause__ is None and fault.value.__context__ is None


def test_every_wrong_field_is_named() -> None:
    assert told({"left.tilt_1": "40", "right.sway_1": "-1"}) == (
        "Tilt, left: found 40, expected 30 ° at most. Sway, right: found -1, expected 0 mm at least."
    )


@pytest.mark.parametrize("typed", [{"left.tilt_1": " "}, {"pain": "2"}, {"left.tilt_1": 3}, [1], "?", {"left.name": "x"}])
def test_nothing_typed_is_a_sentence(typed: Any) -> None:
    asked = Typing()
    assert told(typed, asked).startswith("Nothing is typed yet.")
    assert asked.asked == []


def test_the_form_asks_for_every_part_of_a_knee_within_what_the_contract_takes() -> None:
    package = json.loads(Path("shared/catalogue/datapackage.json").read_text(encoding="utf-8"))
    contract = {
        field["name"]: field.get("constraints", {}) for one in package["resources"] for field in one["schema"]["fields"]
    }
    bounds = {"forefoot_angle_deg": knees.Angle, "knee_tilt_deg": knees.Tilt, "knee_sway_mm": knees.Sway,
              "stance_mm": knees.Stance,
              "shims_added": knees.Shims, "shims_built_in": knees.Shims, "score": knees.Pain}  # fmt: skip
    for name, kind in bounds.items():
        limits = {kind: value for one in get_args(kind)[1].metadata for kind, value in vars_of(one)}
        assert limits == {"ge": contract[name]["minimum"], "le": contract[name]["maximum"]}, name
    fields = {field.name: field for group in GROUPS for field in group.fields}
    for name in ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path", "insole_level", "riding", "visit_kind"):
        assert [code for code, _ in fields[name].options] == contract[name]["enum"], name


def vars_of(bound: Any) -> list[tuple[str, Any]]:
    return [(kind, getattr(bound, kind)) for kind in ("ge", "le") if hasattr(bound, kind)]


def test_the_panels_of_the_answer_stand_under_the_form_and_nothing_before_it_is_asked() -> None:
    asked = Typing()
    shown = told(TYPED, asked)
    assert asked.asked == [form_typed(TYPED)]
    assert (
        shown.startswith(f"Selected:  two feet typed by hand {ANSWER.headline}")
        and "One setup that the exam speaks against" in shown
    )
    # What must be known of the bands stands above them here too.
    assert shown.index("Do not lean on what is foreseen today.") < shown.index("Side difference")
    assert "This rider's fits" not in shown and "R0" not in shown
    assert told(None) == told({}) == ""


def test_a_tight_shoe_is_silence() -> None:
    silent = replace(ANSWER, is_silent=True, setups=(), headline="There is too little room for the left foot.")
    assert "There is too little room for the left foot." in told(TYPED, Typing(silent))
    assert "°" not in told(TYPED, Typing(silent))


def test_a_fault_that_holds_what_was_typed_leaves_none_of_it_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        shown = told({"left.tilt_1": "-7.77"}, Typing(ValueError("tilt -7.77 of the left knee")))
    assert "It is noted in the log" in shown
    assert "ValueError" in caplog.text and "7.77" not in caplog.text
    assert told(TYPED, Typing(StatisticsError("Too few riders."))) == "Too few riders."


def test_the_layout_holds_a_field_a_side_and_the_rider_s_own() -> None:
    sheet = next(part for part in by_hand.layout() if getattr(part, "id", "") == ids.SHEET)
    names = [name for group in sheet.groups for row in group["rows"] for name in row["names"]]
    assert len(names) == len(set(names)) == 2 * 14 + 4
    assert {"left.tilt_2", "right.sway_2", "left.foot_room", "pain", "visit_kind", "riding", "bike_kind"} <= set(names)


def test_of_what_is_typed_nothing_is_remembered_noted_or_opened(demo_warehouse: Path) -> None:
    """The same figures as of the command's form; no like rider is named, and a fitter is told no number of riders."""

    class Noted:
        opened_what: tuple[str, ...] = ()

        def opened(self, question: str, riders: Any) -> None:
            self.opened_what += (question,)

    asker, notes, form = Asker(demo_warehouse, Settings()), Noted(), form_typed(TYPED)
    answer = AskedBy(asker, lambda: LOCAL, notes).foresee(form)  # type: ignore[arg-type]
    assert answer.setups and answer.alike == answer.alike_told == () and notes.opened_what == ()
    remembered = set(asker._memory._answers)
    other = asker.foresee(form_typed({**TYPED, "left.tilt_1": "-7.77"}))
    assert other.setups != answer.setups and set(asker._memory._answers) == remembered
    fitter = AskedBy(asker, lambda: Reader("finn", Role.FITTER, "F2"), notes).foresee(form)  # type: ignore[arg-type]
    assert {row.n_alike for row in fitter.setups} == {0} and {row.n_alike for row in answer.setups} != {0}
    assert [row.expected for row in fitter.setups] == [row.expected for row in answer.setups]
