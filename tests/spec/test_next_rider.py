"""The next setups of a rider's knees: what the exam allows, what is foreseen of each, and when nothing is."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.foresight.alike import alike_words
from dashboard.questions.foresight.answers_foresight import AlikeRow, Next, NextRow
from dashboard.questions.foresight.knees import Form, Knee, Setup, arrived, foot_type_of, loaded, read_form
from dashboard.questions.foresight.next_rider import _foreseen, foreseen_next, made_ready
from dashboard.questions.foresight.ready import Ready
from dashboard.questions.foresight.setups import AS_IT_IS, next_setups
from dashboard.questions.memory.remembering import Foundation, at_once
from dashboard.questions.selection.selection import Selection
from dashboard.web.warming import Warming
from shared.errors import TooFewError, UsageError
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.alike import assert_alike

INWARD = Knee(arch_height="low", squat_knee_path="inward", forefoot_angle_deg=5, tilt_deg=(-4.0,), sway_mm=(17.0,))
TIGHT = INWARD.model_copy(update={"foot_room_ok": False})
STRAIGHT = Knee(arch_height="low", squat_knee_path="straight", forefoot_angle_deg=1, tilt_deg=(0.2,), sway_mm=(14.0,))


def test_every_next_setup_is_one_change_and_the_exam_speaks_against_some() -> None:
    """A low arch takes no high insole (two levels above), a varus forefoot no valgus wedge, an inward knee no wider stance."""
    setups = next_setups(INWARD, "left", Settings())
    assert [one.words for one in setups] == [
        AS_IT_IS, "a low insole", "a medium insole", "a high insole", "one varus shim more (1 in all)",
        "one valgus shim more (1 in all)", "stance 2 mm wider", "stance 2 mm narrower",
    ]  # fmt: skip
    assert [one.words for one in setups if one.against] == [
        "a high insole", "one valgus shim more (1 in all)", "stance 2 mm wider",
    ]  # fmt: skip
    assert "2 levels above it" in setups[3].against and "an inward knee at −4.0°" in setups[6].against
    assert [setups[place].setup.stance_mm for place in (6, 7)] == [2.0, -2.0]


def test_what_is_against_the_exam_already_does_not_forbid_another_change() -> None:
    """Three shims under a forefoot that asks for one are flagged as they are; an insole beside them is no new fault."""
    knee = INWARD.model_copy(update={"setup": Setup(total_shims=3)})
    by_words = {one.words: one for one in next_setups(knee, "left", Settings())}
    assert by_words["a low insole"].against == "" and by_words["one varus shim fewer (2 in all)"].against == ""
    assert "one varus shim more (4 in all)" in by_words


def test_classes_are_those_of_the_warehouse() -> None:
    """The limits of the settings: neutral within 2 degrees, marked above 8; a knee near neutral within 1."""
    angles = (-2.1, -2.0, 2.0, 2.1, 8.0, 8.1)
    kinds = [foot_type_of(Knee(arch_height="high", forefoot_angle_deg=angle), Settings().forefoot) for angle in angles]
    assert kinds == [
        f"high arch, {kind}" for kind in ("valgus", "neutral", "neutral", "mild_varus", "mild_varus", "marked_varus")
    ]
    assert foot_type_of(Knee(arch_height="high"), Settings().forefoot) is None
    assert [arrived(Knee(tilt_deg=(tilt,)), 1.0) for tilt in (-1.1, -1.0, 1.0, 1.1)] == [
        "inward", "near neutral", "near neutral", "outward",
    ]  # fmt: skip
    assert arrived(Knee(), 1.0) is None


@pytest.fixture(scope="module")
def foreseen(demo_warehouse: Path) -> Next:
    return foreseen_next(open_reading(demo_warehouse), Form(left=INWARD, right=STRAIGHT), Settings())


def rows(answer: Next, side: str, outcome: str) -> dict[str, NextRow]:
    return {row.setup: row for row in answer.setups if (row.side, row.outcome) == (side, outcome)}


def test_an_inward_knee_is_foreseen_nearer_by_what_each_support_does(foreseen: Next) -> None:
    """The demo's truth: a low insole raises the tilt by 0.4, a medium one by 0.8, a shim by 0.5, a mm of stance by −0.12."""
    tilt = rows(foreseen, "left", "tilt")
    moved = {words: (row.expected or 0) - (tilt[AS_IT_IS].expected or 0) for words, row in tilt.items()}
    assert moved["a low insole"] == pytest.approx(0.4, abs=0.15)
    assert moved["a medium insole"] == pytest.approx(0.8, abs=0.2)
    assert moved["one varus shim more (1 in all)"] == pytest.approx(0.5, abs=0.15)
    assert moved["stance 2 mm narrower"] == pytest.approx(0.24, abs=0.1)
    # With nothing changed the extreme arrival is expected to return a little.
    assert -4.0 < (tilt[AS_IT_IS].expected or 0) < -3.2
    for row in tilt.values():
        assert row.low is not None and row.knee_low is not None and row.knee_high is not None and row.high is not None
        assert row.low < row.knee_low < (row.expected or 0) < row.knee_high < row.high


def test_setups_are_ordered_by_distance_from_neutral_those_against_the_exam_apart(foreseen: Next) -> None:
    for side in ("left", "right"):
        distance = rows(foreseen, side, "off_neutral")
        for is_allowed in (True, False):
            group = sorted((row for row in distance.values() if row.is_allowed is is_allowed), key=lambda row: row.place)
            assert [row.place for row in group] == list(range(1, len(group) + 1))
            known = [row.expected for row in group if row.expected is not None]
            assert known == sorted(known)
            assert not group[0].is_tied
    first = next(row for row in rows(foreseen, "left", "off_neutral").values() if row.is_allowed and row.place == 1)
    assert first.setup == "a medium insole"
    assert foreseen.headline.startswith(
        "Nearest to neutral: left with a medium insole (3.7 to 2.8°); right: no change told apart from as it is ("
    )


def test_how_probable_nearer_is_rises_with_what_is_done(foreseen: Next) -> None:
    distance = rows(foreseen, "left", "off_neutral")
    order = [AS_IT_IS, "a low insole", "a medium insole"]
    nearer = [distance[words].nearer or 0 for words in order]
    assert nearer == sorted(nearer) and nearer[0] < 0.35 < nearer[2]
    assert all(row.nearer is None for row in rows(foreseen, "left", "tilt").values())


def test_the_side_difference_that_would_remain_is_right_less_left(foreseen: Next) -> None:
    left, right = rows(foreseen, "left", "tilt"), rows(foreseen, "right", "tilt")
    now = (right[AS_IT_IS].expected or 0) - (left[AS_IT_IS].expected or 0)
    assert foreseen.side_difference_now == pytest.approx(now) and now > 3
    assert foreseen.side_difference_first is not None and foreseen.side_difference_first < now


def test_missing_parts_widen_the_band(demo_warehouse: Path, foreseen: Next) -> None:
    bare = Form(left=Knee(), right=Knee())
    wide = foreseen_next(open_reading(demo_warehouse), bare, Settings())
    told, known = rows(wide, "left", "tilt")[AS_IT_IS], rows(foreseen, "left", "tilt")[AS_IT_IS]
    assert (told.high or 0) - (told.low or 0) > 1.5 * ((known.high or 0) - (known.low or 0))
    assert wide.alike == () and told.n_alike == 0


@pytest.fixture(scope="module")
def made(demo_warehouse: Path) -> dict[str, Ready]:
    return made_ready(open_reading(demo_warehouse), Settings(), at_once)


def as_it_is(made: Ready, form: Form) -> tuple[float, float]:
    """What is expected of the left knee with nothing changed, and the standard deviation of the knee itself."""
    expected = _foreseen(form, "left", next_setups(form.left, "left", Settings()), made, Settings())[0]
    return float(expected.mean[0]), float(expected.knee_sd[0])


@pytest.mark.parametrize("is_measured", [True, False])
@pytest.mark.parametrize("part", ["arch_height", "arch_collapse", "squat_knee_path", "forefoot_angle_deg"])
def test_each_missing_part_of_the_exam_widens(made: dict[str, Ready], part: str, is_measured: bool) -> None:
    """Where the knee was measured, its captures tell nearly all that the exam would."""
    whole = INWARD.model_copy(update={"arch_collapse": "some", **({} if is_measured else {"tilt_deg": ()})})
    wide, known = (
        as_it_is(made["tilt"], Form(left=knee, right=STRAIGHT, visit_kind="first"))[1]
        for knee in (whole.model_copy(update={part: None}), whole)
    )
    assert wide > known


@pytest.mark.parametrize(("outcome", "part"), [("tilt", "tilt_deg"), ("sway", "sway_mm")])
def test_one_capture_less_widens_and_none_far_more(made: dict[str, Ready], outcome: str, part: str) -> None:
    twice, once, never = (
        as_it_is(made[outcome], Form(left=INWARD.model_copy(update={part: seen}), right=STRAIGHT))[1]
        for seen in ((3.0, 3.2), (3.0,), ())
    )
    assert twice < 0.9 * once and once < 0.7 * never


def test_the_visits_kind_is_in_the_model_and_one_that_is_not_known_stands_between(made: dict[str, Ready]) -> None:
    means = {
        kind: as_it_is(made["tilt"], Form(left=Knee(), right=Knee(), visit_kind=kind))[0]
        for kind in (None, "first", "follow_up", "refit")
    }
    known = [means[kind] for kind in ("first", "follow_up", "refit")]
    assert len(set(known)) == 3 and min(known) < means[None] < max(known)


def test_like_knees_tell_whether_the_fit_held_as_the_pages_do(demo_warehouse: Path, foreseen: Next) -> None:
    asker = Asker(demo_warehouse, Settings())
    seen = [row for row in foreseen.alike if row.became in ("held", "not_held")]
    assert seen
    for row in seen[:3]:
        rider = open_reading(demo_warehouse).value(
            "SELECT rider_id FROM mart.fits WHERE session_id = $session", {"session": row.session_id}
        )
        timeline: Any = asker.ask("riders", Selection(rider=(rider,)))
        fits = {fit.session_id: fit.became for fit in timeline.fits}
        assert fits[row.session_id] == row.became
    assert any(row.comfort_follow_up is not None for row in seen) and any(row.satisfaction is not None for row in seen)


def test_like_knees_are_told_in_a_sentence_a_side() -> None:
    def knee(side: str, arrival: float, departure: float | None, became: str | None, *supports: str) -> AlikeRow:
        return AlikeRow(side, "S", side, arrival, departure, None, None, None, None, None, ", ".join(supports), "", became)

    rows = [
        knee("left", -4.0, -2.0, "held", "insole"),
        knee("left", -3.0, 1.0, "not_held", "insole", "stance"),
        knee("left", -3.0, None, "waiting"),
        knee("right", 1.0, None, None),
    ]
    assert list(alike_words(rows)) == [
        "3 knees most like the left one: changed were insole 2, shims 0, stance 1. 3.5° from neutral at arrival, 1.5° at "
        "departure on average. 1 fit held, 1 did not; of 1 it is not known.",
        "1 knee most like the right one: changed were insole 0, shims 0, stance 0. "
        "0 fits held, 0 did not; of 1 it is not known.",
    ]


def test_the_same_visit_bicycle_and_riding_come_first_among_like_knees(demo_warehouse: Path, foreseen: Next) -> None:
    form = Form(left=INWARD, right=STRAIGHT, visit_kind="first", bike_kind="Gravel", riding="gravel")
    of_gravel = foreseen_next(open_reading(demo_warehouse), form, Settings())
    kinds = {
        row["session_id"]: (row["visit_kind"], row["bike_kind"], row["riding"])
        for row in open_reading(demo_warehouse).rows("SELECT session_id, visit_kind, bike_kind, riding FROM mart.fits")
    }
    same = [sum(kinds[row.session_id] == ("first", "gravel", "gravel") for row in one.alike) for one in (of_gravel, foreseen)]
    assert same[0] > same[1]
    # They say who is alike; nothing is foreseen from bicycle and riding.
    plain = foreseen_next(open_reading(demo_warehouse), form.model_copy(update={"bike_kind": None, "riding": None}), Settings())
    assert plain.setups == of_gravel.setups


def test_twenty_like_knees_are_told_with_what_was_changed(foreseen: Next) -> None:
    alike = [row for row in foreseen.alike if row.side == "left"]
    assert len(alike) == 20
    assert all(abs(row.tilt_arrival_deg + 4.0) < 1.5 for row in alike)
    assert {row.changed == "nothing" for row in alike} == {False} or any("insole" in row.changed for row in alike)


@pytest.mark.parametrize(
    ("form", "words"),
    [
        (Form(left=INWARD, right=STRAIGHT, pain=4), "The rider told of pain (4 of 10). Nothing is foreseen. Stop, and refer"),
        (Form(left=INWARD, right=STRAIGHT, injury=True), "The rider told of an injury or a recent operation. Nothing is"),
        (Form(left=TIGHT, right=STRAIGHT), "There is too little room for the left foot: make room first"),
        (Form(left=INWARD, right=STRAIGHT, foot_room=2), "The rider told of too little foot room (2 of 10): make room first"),
    ],
)  # fmt: skip
def test_pain_and_a_tight_shoe_silence_it(demo_warehouse: Path, form: Form, words: str) -> None:
    answer = foreseen_next(open_reading(demo_warehouse), form, Settings())
    assert answer.headline.startswith(words)
    assert "refer to a licensed clinician" in answer.headline
    assert answer.is_silent and answer.setups == () and answer.alike == ()
    assert "no medical advice" in answer.cautions[0]


def test_pain_below_the_setting_does_not(demo_warehouse: Path) -> None:
    form = Form(left=INWARD, right=STRAIGHT, pain=3, foot_room=3, injury=False)
    answer = foreseen_next(open_reading(demo_warehouse), form, Settings())
    assert not answer.is_silent and answer.setups


def test_a_loaded_rider_is_the_form_of_the_last_fit(demo_warehouse: Path) -> None:
    warehouse, asker = open_reading(demo_warehouse), Asker(demo_warehouse, Settings())
    found = loaded(warehouse, "R0655", Settings())
    assert found is not None
    last = warehouse.rows("SELECT * FROM mart.fits WHERE rider_id = 'R0655' ORDER BY session_date DESC LIMIT 1")[0]
    assert found.session_id == last["session_id"]
    first = warehouse.rows(
        "SELECT side, knee_tilt_deg FROM core.knee_captures WHERE session_id = $session AND capture_no = 1 ORDER BY side",
        {"session": found.session_id},
    )
    assert [found.form.knee(row["side"]).tilt_deg[0] for row in first] == [row["knee_tilt_deg"] for row in first]
    asked: Any = asker.ask("next", Selection(rider=("R0655",)))
    by_form = foreseen_next(warehouse, found.form, Settings(), rider="R0655", session_id=found.session_id)
    assert_alike([asdict(row) for row in asked.setups], [asdict(row) for row in by_form.setups])
    assert asked.alike == by_form.alike
    assert all(row.session_id != found.session_id for row in asked.alike)


def test_nobody_and_an_unknown_rider_are_sentences(demo_warehouse: Path) -> None:
    asker = Asker(demo_warehouse, Settings())
    nobody: Any = asker.ask("next", Selection())
    assert nobody.headline.startswith("Name one rider") and nobody.setups == () and not nobody.is_silent
    with pytest.raises(TooFewError, match="No fit matches"):
        asker.ask("next", Selection(rider=("nobody",)))


def test_the_command_takes_one_way_in_and_names_what_is_wrong_in_a_form(demo_warehouse: Path, tmp_path: Path) -> None:
    run = CliRunner()
    to = ["--warehouse", str(demo_warehouse)]
    assert isinstance(run.invoke(app, ["next", *to]).exception, UsageError)
    file = tmp_path / "form.json"
    file.write_text(json.dumps({"left": {"tilt": 3}, "right": {"arch_height": "flat"}}))
    with pytest.raises(
        UsageError, match=r"left\.tilt: extra inputs are not permitted; right\.arch_height: input should be 'low'"
    ):
        read_form(file)
    file.write_text(Form(left=INWARD, right=STRAIGHT).model_dump_json())
    told = json.loads(run.invoke(app, ["next", "--form", str(file), *to, "--json"]).stdout)
    assert len(told["setups"]) == 3 * (8 + len(next_setups(STRAIGHT, "right", Settings())))
    printed = run.invoke(app, ["next", "--form", str(file), *to]).stdout
    assert "It is no medical advice and no prescription." in printed
    assert np.isfinite([row["expected"] for row in told["setups"] if not row["beyond_data"]]).all()


def test_what_foresees_is_made_ahead_and_stays_and_of_nobody_nothing_is_asked(demo_warehouse: Path) -> None:
    """A model takes seconds: it is there before the first reader, and no number of answers crowds it out."""
    asker = Asker(demo_warehouse, Settings())
    Warming(asker).make()
    known = {key[1:]: answer for key, (answer, _) in asker._memory._answers.items()}
    assert ("foresight", "tilt") in known and ("foresight", "sway") in known
    assert not [key for key in known if key[0] == "next"]
    made = known["foresight", "tilt"]
    assert isinstance(made, Foundation) and 0 < made.n_bytes < 1_000_000
    asker.ask("next", Selection(rider=("R0655",)))
    after = {key[1:]: answer for key, (answer, _) in asker._memory._answers.items()}
    assert after["foresight", "tilt"] is made


def test_a_foot_may_stand_on_more_shims_than_can_be_added() -> None:
    """Six added to one that the shoe carries: both are within the contract."""
    assert Setup(total_shims=7, shims_built_in=1).total_shims == 7
    with pytest.raises(ValidationError):
        Setup(total_shims=13)


def test_a_fitter_is_told_of_own_fits_alone(demo_warehouse: Path) -> None:
    """A rider of another fitter is no fit at all, and like knees are those of the fitter's own fits."""
    asker, fits = Asker(demo_warehouse, Settings()), "SELECT session_id, rider_id, fitter_id FROM mart.fits ORDER BY ALL"
    rows_of_fits = open_reading(demo_warehouse).rows(fits)
    fitter_of = {row["session_id"]: row["fitter_id"] for row in rows_of_fits}
    ada = AskedBy(asker, lambda: Reader("ada", Role.FITTER, "F2"))
    own, other = (next(row["rider_id"] for row in rows_of_fits if row["fitter_id"] == one) for one in ("F2", "F1"))
    told: Any = ada.ask("next", Selection(rider=(own,)))
    assert fitter_of[told.session_id] == "F2"
    assert told.alike and {fitter_of[row.session_id] for row in told.alike} == {"F2"}
    whole: Any = asker.ask("next", Selection(rider=(own,)))
    assert len({fitter_of[row.session_id] for row in whole.alike}) > 1
    with pytest.raises(TooFewError, match="No fit matches"):
        ada.ask("next", Selection(rider=(other,)))
