"""The agreement question on fits small enough to judge by hand."""

from datetime import date

import numpy as np
import pytest

from dashboard.questions.coaching import agreement
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.selection.selection import parse_selection
from shared.settings import Settings
from shared.statistics.group_difference import adjusted_difference
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2, "sessions_per_fitter": 2}})

SESSIONS = """
session_id |rider_id |fitter_id | studio_id | session_date | visit_kind | sit_bone_width_mm | saddle_width_mm | saddle_condition
---------- |-------- |--------- | --------- | ------------ | ---------- | ----------------- | --------------- | ----------------
S1         |R1       |F1        | quayside  | 2026-03-02   | first      | -                 | -               | -
S2         |R2       |F1        | quayside  | 2026-03-20   | first      | 130               | 140             | sound
S3         |R3       |F2        | quayside  | 2026-04-02   | first      | 130               | 140             | bent
S4         |R4       |F2        | quayside  | 2026-04-03   | first      | 130               | 140             | sound
S5         |R5       |F2        | quayside  | 2026-04-04   | first      | -                 | -               | -
"""
EXAMS = """
session_id | side  | arch_height | forefoot_angle_deg | squat_knee_path
---------- | ----- | ----------- | ------------------ | ---------------
S1         | left  | low         | 5.0                | straight
S1         | right | low         | 9.0                | straight
S2         | left  | low         | 5.0                | straight
S2         | right | low         | 5.0                | straight
S3         | left  | low         | 0.0                | straight
S3         | right | low         | 0.0                | straight
S4         | left  | low         | 0.0                | straight
S4         | right | low         | -                  | straight
"""
CAPTURES = """
session_id | capture_no | side  | knee_tilt_deg | knee_sway_mm
---------- | ---------- | ----- | ------------- | ------------
S1         | 1          | left  | -2.0          | 12
S1         | 1          | right | 0.0           | 12
S1         | 2          | left  | -1.0          | 10
S1         | 2          | right | 0.5           | 11
S2         | 1          | left  | 1.5           | 12
S2         | 1          | right | 1.5           | 12
S2         | 2          | left  | 1.0           | 12
S2         | 2          | right | 1.0           | 12
S3         | 1          | left  | -1.5          | 12
S3         | 1          | right | 1.5           | 12
S3         | 2          | left  | -1.5          | 12
S3         | 2          | right | 1.5           | -
S4         | 1          | left  | 0.0           | 12
S4         | 1          | right | 0.0           | 12
"""
# S1 agrees (its low arches end in low insoles, shims 1 and 2). S2's left foot ends with a built-in and an added shim: 2 of 1.
# S3's knees stood opposed, a support was changed, the saddle is bent. S4 lacks one forefoot angle, S5 any exam.
SETUPS = """
session_id | capture_no | side  | insole_level | shims_added | shims_built_in | shim_place | stance_mm
---------- | ---------- | ----- | ------------ | ----------- | -------------- | ---------- | ---------
S1         | 1          | left  | none         | 0           | 0              | -          | 0
S1         | 1          | right | none         | 0           | 0              | -          | 0
S1         | 2          | left  | low          | 1           | 0              | in_shoe    | 0
S1         | 2          | right | low          | 2           | 0              | at_cleat   | 0
S2         | 1          | left  | low          | 0           | 1              | -          | 0
S2         | 1          | right | low          | 0           | 0              | -          | 0
S2         | 2          | left  | low          | 1           | 1              | -          | 2
S2         | 2          | right | medium       | 1           | 0              | at_cleat   | 0
S3         | 1          | left  | low          | 0           | 0              | -          | 0
S3         | 1          | right | low          | 0           | 0              | -          | 0
S3         | 2          | left  | low          | 0           | 0              | -          | -1
S3         | 2          | right | low          | 0           | 0              | -          | 0
S4         | 1          | left  | low          | 0           | 0              | -          | 0
S4         | 1          | right | low          | 0           | 0              | -          | 0
"""


# With so few fits that every flagged one is listed.
CASES = Settings.model_validate({"minimum": {"rows_shown": 2}})


def asked(memory: Warehouse, words: dict[str, str] | None = None, settings: Settings = FEW) -> AgreementWithExam:
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(f"R{n} | {'gravel' if n == 3 else 'road'}" for n in range(1, 6)),
        fitters="fitter_id | fitter_name\nF1 | Alder\nF2 | Birch",
        fit_sessions=SESSIONS,
        foot_exams=EXAMS,
        knee_captures=CAPTURES,
        foot_setups=SETUPS,
    )
    return agreement.ask(memory, parse_selection(words or {}), settings)


def test_the_share_of_fits_without_a_flag(memory: Warehouse) -> None:
    answer = asked(memory)
    everyone = answer.agreement[0]
    assert (everyone.n_fits, everyone.n_judged, everyone.n_in_agreement) == (5, 3, 1)  # S4 and S5 cannot be judged
    assert (everyone.share, answer.n_judged, answer.n_flagged) == (1 / 3, 3, 2)
    assert everyone.words.startswith("33\N{NO-BREAK SPACE}% of fits agree with the exam")


def test_by_month_and_fitter_without_a_league(memory: Warehouse) -> None:
    answer = asked(memory)
    assert {row.level: (row.n_judged, row.n_in_agreement) for row in answer.months} == {
        "2026-03-01": (2, 1),
        "2026-04-01": (1, 0),
    }
    first, second = answer.fitters
    assert (first.level, first.share) == ("F1", 1 / 2)
    assert (second.share, second.words) == (None, "Fitter F2: not enough yet, 1 fit that can be judged of 3 fits.")


def test_each_fit_to_look_at_has_a_sentence_with_rule_exam_and_setup(memory: Warehouse) -> None:
    listed = asked(memory, settings=CASES).look_at
    assert [(row.session_id, row.side, row.rule, row.weight) for row in listed] == [
        ("S3", None, "saddle_before_supports", "flag"),  # the newest first
        ("S2", "left", "shims_to_need", "flag"),
        ("S2", "left", "shim_place_told", "note"),
        ("S2", "right", "insole_follows_arch", "note"),
    ]
    words = [row.words for row in listed]
    assert words[0] == (
        "S3: opposed knees ask for a look at the saddle before any support; the knees stood opposed at arrival "
        "(tilt left \N{MINUS SIGN}1.5°, right 1.5°), supports were changed, and the saddle was bent."
    )
    assert words[1] == (
        "S2, left foot: shims only as far as the forefoot needs; a mild varus forefoot of 5.0° asks for 1 varus shim at the "
        "start, the fit ended with 2 varus shims in total (1 varus shim added, 1 varus shim built in)."
    )
    assert words[3].endswith("a low arch left with a medium insole, 1 level above it.")


def test_rules_count_what_they_were_asked_of(memory: Warehouse) -> None:
    rules = {row.rule: (row.n_asked, row.n_notes, row.n_flags) for row in asked(memory).rules}
    assert rules["shims_to_need"] == (6, 0, 1)  # six feet of the three judged fits
    assert rules["insole_follows_arch"] == (6, 1, 0)
    assert rules["shim_place_told"] == (4, 1, 0)  # feet with an added shim: S1 two, S2 two
    assert rules["stance_follows_knee"] == (6, 0, 0)  # S2 wider for outward, S3 narrower for inward
    assert rules["saddle_before_supports"] == (3, 0, 1)


def test_outcomes_of_fits_in_agreement_are_held_for_their_start(memory: Warehouse) -> None:
    """Twelve riders, every other one flagged; those in agreement come nearer by 0.5 more than others that began alike."""
    numbers = range(12)
    starts = [1.0 + 0.25 * (n // 2) for n in numbers]
    gains = [0.3 * starts[n] + (0.5 if n % 2 == 0 else 0.0) + 0.01 * (n % 3) for n in numbers]
    sides = ("left", "right")
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(f"R{n} | road" for n in numbers),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        + "\n".join(f"S{n:02d} | R{n} | F1 | q | 2026-03-02 | first" for n in numbers),
        foot_exams="session_id | side | arch_height | forefoot_angle_deg\n"
        + "\n".join(f"S{n:02d} | {side} | low | 5" for n in numbers for side in sides),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n"
        + "\n".join(
            f"S{n:02d} | {at} | {side} | {starts[n] - (at - 1) * gains[n]:.6f}"
            for n in numbers
            for at in (1, 2)
            for side in sides
        ),
        foot_setups="session_id | capture_no | side | insole_level | shims_added | shim_place | stance_mm\n"
        + "\n".join(
            f"S{n:02d} | {at} | {side} | low | {1 + n % 2} | in_shoe | 0" for n in numbers for at in (1, 2) for side in sides
        ),
    )
    answer = agreement.ask(memory, parse_selection({}), FEW)
    nearer, sway, comfort = answer.outcomes
    assert (nearer.n_fits, nearer.n_in_agreement, nearer.n_flagged) == (12, 6, 6)
    even, odd = ([gains[n] for n in numbers if n % 2 == rest] for rest in (0, 1))
    assert nearer.mean_in_agreement == pytest.approx(sum(even) / 6)
    assert nearer.crude_difference == pytest.approx(sum(even) / 6 - sum(odd) / 6)
    expected = adjusted_difference(np.array(gains), np.arange(12) % 2 == 0, np.array(starts)[:, None], np.arange(12), 0.95)
    assert (nearer.difference, nearer.low, nearer.high) == pytest.approx(
        (expected.estimate, expected.low, expected.high), abs=1e-5
    )
    assert nearer.difference == pytest.approx(0.5, abs=0.02)
    assert "no proof" in nearer.words and any("no proof" in caution for caution in answer.cautions)
    assert (sway.difference, comfort.difference) == (None, None)
    assert comfort.words == "Not enough yet: 0 fits in agreement and 0 flagged with this outcome."


def test_a_limit_changed_in_the_settings_changes_the_verdict(memory: Warehouse) -> None:
    two = Settings.model_validate({"minimum": {"rows_shown": 2}, "agreement": {"shims_mild_varus": 2, "listed_fits": 1}})
    answer = asked(memory, settings=two)
    assert answer.agreement[0].n_in_agreement == 2
    assert {row.session_id for row in answer.look_at} == {"S3"}


def test_split_by_riding(memory: Warehouse) -> None:
    rows = {row.level: (row.n_fits, row.n_judged, row.n_in_agreement) for row in asked(memory, {"split": "riding"}).agreement}
    assert rows == {None: (5, 3, 1), "road": (4, 2, 1), "gravel": (1, 1, 0)}


def test_shims_in_the_shoe_and_at_the_cleat(memory: Warehouse) -> None:
    """Ten riders: one shim in the shoe, then taken out; then two at the cleat; what changed with another support is out."""
    steps = (  # added, built in, place, insole, stance, tilt
        (0, 1, "-", "low", 0, 0.0),
        (1, 1, "in_shoe", "low", 0, 0.4),  # +0.4 for one shim in the shoe
        (0, 1, "-", "low", 0, 0.1),  # -0.3 for one taken out: +0.3 a shim
        (2, 1, "at_cleat", "low", 0, 1.5),  # +1.4 for two at the cleat: +0.7 a shim
        (3, 1, "at_cleat", "medium", 0, 3.0),  # the insole changed too
        (2, 1, "at_cleat", "medium", 2, 5.0),  # the stance changed too
        (2, 0, "at_cleat", "medium", 2, 7.0),  # another shoe: no added shim changed
        (1, 0, "in_shoe", "medium", 2, 9.0),  # moved from one place to the other
    )
    numbers = range(10)
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(f"R{n} | road" for n in numbers),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        + "\n".join(f"S{n} | R{n} | F1 | q | 2026-03-02 | first" for n in numbers),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n"
        + "\n".join(f"S{n} | {at} | left | {step[5] + n:.1f}" for n in numbers for at, step in enumerate(steps, start=1)),
        foot_setups="session_id | capture_no | side | shims_added | shims_built_in | shim_place | insole_level | stance_mm\n"
        + "\n".join(
            f"S{n} | {at} | left | {' | '.join(str(cell) for cell in step[:5])}"
            for n in numbers
            for at, step in enumerate(steps, 1)
        ),
    )
    rows = agreement.ask(memory, parse_selection({}), FEW).shim_places
    found = {row.place: (row.n_changes, row.n_riders, row.per_shim) for row in rows if row.outcome == "tilt"}
    assert found == {
        "in_shoe": (20, 10, pytest.approx((0.4 + 0.3) / 2)),
        "at_cleat": (10, 10, pytest.approx(1.4 / 2)),
        "difference": (30, 10, pytest.approx(0.7 - 0.35)),
    }
    sway = {row.place: row.words for row in rows if row.outcome == "sway"}
    assert sway["difference"] == "The two places cannot be compared yet."


def test_dates_and_no_exam_at_all(memory: Warehouse) -> None:
    assert asked(memory, settings=CASES).look_at[0].session_date == date(2026, 4, 2)
    none = agreement.ask(memory, parse_selection({"from": "2026-04-04"}), FEW)
    assert (none.n_judged, none.look_at) == (0, ())
    assert "Not enough yet, 0 fits that can be judged of 1 fit" in none.headline
