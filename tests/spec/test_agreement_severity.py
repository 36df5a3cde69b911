"""Which flagged fits are to look at: distance from the exam and outcome, on fits small enough to judge by hand."""

from pathlib import Path

import numpy as np
import pytest

from dashboard.questions.coaching import agreement
from dashboard.questions.coaching.agreement_severity import BETTER, NOT_ASKED, NOT_BETTER, came_nearer, distance_words
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.selection.selection import Selection, parse_selection
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading
from tests.spec.tables import fill


def studio(memory: Warehouse, cases: dict[str, tuple[str, str, str]], **settings: object) -> AgreementWithExam:
    """Asks of fits by name: (setup of both feet at departure, tilts of both knees at arrival and departure, ratings).

    Every foot has a low arch and a mild varus forefoot, which asks for a low insole and one shim, and comes with just that.
    Ten fits more hold the repeat captures, agree with the exam, and are F9's: their left knees differ by 0.4 and -0.4 in turn,
    so that MDC95 is at most 1.96 * sqrt(10 * 0.16 / 9) = 0.83; right feet that were left as they came are repeats too.
    """
    sessions, exams, captures, setups, ratings = [], [], [], [], []
    for n, (name, (setup, tilts, rated)) in enumerate(cases.items()):
        sessions.append(f"{name} | R-{name} | F1 | q | 2026-03-{n + 1:02} | first")
        for side, foot, knee in zip(("left", "right"), setup.split(", "), tilts.split(", "), strict=True):
            exams.append(f"{name} | {side} | low | 5")
            setups += [
                f"{name} | 1 | {side} | low | 1 | in_shoe",
                f"{name} | 2 | {side} | {' | '.join(foot.split())} | in_shoe",
            ]
            captures += [f"{name} | {at} | {side} | {tilt}" for at, tilt in enumerate(knee.split(), start=1)]
        for topic, scores in (part.split(" ", 1) for part in rated.split(", ") if part):
            ratings += [f"{name} | {at} | {topic} | knee | {score}" for at, score in enumerate(scores.split(), start=1)]
    for n in range(10):
        sessions.append(f"T{n} | R-T{n} | F9 | q | 2026-02-01 | first")
        for side in ("left", "right"):
            exams.append(f"T{n} | {side} | low | 5")
            setups += [f"T{n} | {at} | {side} | low | 1 | in_shoe" for at in (1, 2)]
        captures += [f"T{n} | 1 | left | 0", f"T{n} | 2 | left | {0.4 if n % 2 else -0.4}"]
    riders = sorted({row.split(" | ")[1] for row in sessions})
    fill(
        memory,
        riders="rider_id\n" + "\n".join(riders),
        fitters="fitter_id\nF1\nF9",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        foot_exams="session_id | side | arch_height | forefoot_angle_deg\n" + "\n".join(exams),
        foot_setups="session_id | capture_no | side | insole_level | shims_added | shim_place\n" + "\n".join(setups),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n" + "\n".join(captures),
        rider_ratings="session_id | capture_no | topic | body_part | score\n" + "\n".join(ratings),
    )
    given = {"minimum": {"sessions_per_fitter": 1}, **settings}
    return agreement.ask(memory, parse_selection({}), Settings.model_validate(given))


# Far: a high insole on a low arch (2 levels) and a second shim (1) on the left foot. Near: a second shim on either foot.
FAR, NEAR = "high 2, low 1", "low 2, low 2"
STILL, NEARER = "-3 -3, 1 1", "-3 -1, 1 1"


def test_a_fit_is_to_look_at_where_it_is_far_and_nothing_came_out_better(memory: Warehouse) -> None:
    answer = studio(
        memory,
        {
            "still": (FAR, STILL, "comfort 5 6, pain 3 2"),  # a point is no real change of a rating
            "nearer": (FAR, NEARER, "comfort 5 6"),
            "comfort": (FAR, STILL, "comfort 5 7"),
            "pain": (FAR, STILL, "pain 3 1"),
            "near": (NEAR, STILL, "comfort 5 5"),
            "sound": ("low 1, low 1", STILL, "comfort 5 5"),
        },
    )
    assert (answer.n_judged, answer.n_flagged, answer.n_far, answer.n_to_look_at) == (10 + 6, 5, 4, 1)
    [row] = answer.worst
    assert (row.session_id, row.n_steps, row.n_levels, row.n_shims, row.n_others) == ("still", 2 + 1, 2, 1, 0)
    assert (row.is_poor, row.is_to_look_at, row.fitter_id) == (True, True, "F1")
    assert row.words == (
        "2 levels and 1 shim from the exam, and nothing came out better: tilt left −3.0° to −3.0°, right 1.0° to 1.0°; "
        "comfort 5 to 6; worst pain 3 to 2."
    )
    assert "1 of 16 fits that can be judged is to look at together: 3 levels or shims or more from the exam" in answer.headline
    assert {finding.session_id for finding in answer.look_at} == {"still"}
    assert [finding.rule for finding in answer.look_at] == ["shims_to_need", "insole_follows_arch"]


def test_the_furthest_from_the_exam_comes_first_and_then_the_newest(memory: Warehouse) -> None:
    rated = "comfort 5 5"
    cases = {
        "older": (FAR, STILL, rated),
        "worst": ("high 2, high 3", STILL, rated),  # 2 levels a foot, 1 and 2 shims
        "newer": (FAR, STILL, rated),
    }
    answer = studio(memory, cases)
    assert [(row.session_id, row.n_steps) for row in answer.worst] == [("worst", 2 + 1 + 2 + 2), ("newer", 3), ("older", 3)]


def test_without_room_for_a_real_change_nothing_is_poor(memory: Warehouse) -> None:
    near = "-0.6 0.6, 0.5 0.5"  # no knee stands further from neutral than MDC95, 1.96 * sqrt(10 * 0.16 / 13) = 0.69
    answer = studio(
        memory,
        {
            "no_room": (FAR, near, "comfort 9 9, pain 1 1"),
            "unrated": (FAR, near, ""),
            "worse": (FAR, near, "comfort 9 7, pain 1 1"),
            "pain_came": (FAR, near, "pain 0 2"),
        },
    )
    assert {row.session_id for row in answer.worst} == {"worse", "pain_came"}
    assert answer.n_far == 4


def test_the_settings_say_how_far_and_how_much_is_real(memory: Warehouse) -> None:
    cases = {"near": (NEAR, STILL, "comfort 5 5"), "rated": (FAR, STILL, "comfort 5 6")}
    strict = studio(memory, cases, agreement={"look_from_steps": 2, "smallest_rating_points": 1})
    assert [row.session_id for row in strict.worst] == ["near"]


def test_a_fitter_below_the_minimum_has_every_flagged_fit_listed_after_those_to_look_at(memory: Warehouse) -> None:
    cases = {"near": (NEAR, NEARER, "comfort 5 8"), "far": (FAR, STILL, "comfort 5 5"), "sound": ("low 1, low 1", STILL, "")}
    answer = studio(memory, cases, minimum={"sessions_per_fitter": 4})
    assert [(row.session_id, row.is_to_look_at, row.is_poor) for row in answer.worst] == [
        ("far", True, True),
        ("near", False, False),
    ]
    assert answer.worst[1].words.startswith("2 shims from the exam: tilt left")
    assert answer.n_to_look_at == 1


def test_a_fit_is_as_severe_in_every_selection(memory: Warehouse) -> None:
    """The smallest real change comes from all repeats: alone, F1's fits hold none."""
    studio(memory, {"still": (FAR, STILL, "")})
    own = agreement.ask(
        memory, parse_selection({"fitter": "F1"}), Settings.model_validate({"minimum": {"sessions_per_fitter": 1}})
    )
    assert [row.session_id for row in own.worst] == ["still"]


def test_in_the_demo_studios_fits_to_look_at_are_a_minority(demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    answer = agreement.ask(warehouse, Selection(), Settings())
    warehouse.close()
    assert answer.n_flagged > answer.n_judged / 2  # a flag alone is the rule
    assert 0 < answer.n_to_look_at < 0.15 * answer.n_judged
    steps = [row.n_steps for row in answer.worst]
    assert steps == sorted(steps, reverse=True) and steps[-1] >= Settings().agreement.look_from_steps
    assert all(row.is_poor and row.is_to_look_at for row in answer.worst)


@pytest.mark.parametrize(
    ("before", "after", "came"),
    [
        ((-3, 0), (-1.1, 0), BETTER),
        ((-3, 0), (-2.5, 0), NOT_BETTER),
        ((-1, 1), (0, 0), NOT_ASKED),  # no knee had room
        ((-3, 0), (-1, 2), NOT_BETTER),  # one came nearer, the other moved away as much
        ((0, 0), (0, 2), NOT_BETTER),  # moved away
        ((-3, np.nan), (-1, np.nan), BETTER),
        ((-3, 3), (np.nan, np.nan), NOT_ASKED),
    ],
)
def test_what_became_of_tilt_by_a_smallest_real_change_of_1_5(
    before: tuple[float, float], after: tuple[float, float], came: int
) -> None:
    assert came_nearer(np.array([before]), np.array([after]), np.array([1.5])).tolist() == [came]
    assert came_nearer(np.array([before]), np.array([after]), np.array([np.nan])).tolist() == [NOT_ASKED]


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((2, 0, 0), "2 levels"),
        ((1, 1, 0), "1 level and 1 shim"),
        ((6, 1, 2), "6 levels, 1 shim and 2 other findings"),
    ],
)
def test_the_distance_in_words(counts: tuple[int, int, int], words: str) -> None:
    assert distance_words(*counts) == words
