"""Each rule of agreement with the exam, on one foot: where it agrees, notes, flags and cannot be asked."""

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from dashboard.questions.coaching.agreement_rules import (
    FOOT_RULES,
    Foot,
    Seat,
    insole_follows_arch,
    insole_left_out,
    insole_not_away,
    narrow_by_cleat,
    needed_shims,
    saddle_before_supports,
    shim_against_forefoot,
    shim_place_told,
    shims_not_away,
    shims_to_need,
    stance_follows_knee,
)
from shared.settings import Agreement

LIMITS = Agreement()


def weight(finding: Any) -> str | None:
    return finding.weight if finding else None


@pytest.mark.parametrize(("forefoot", "need"), [("valgus", 0), ("neutral", 0), ("mild_varus", 1), ("marked_varus", 2)])
def test_what_a_forefoot_needs(forefoot: str, need: int) -> None:
    assert needed_shims(forefoot, LIMITS) == need


@pytest.mark.parametrize(
    ("forefoot", "added", "built_in", "expected"),
    [
        ("neutral", 0, 0, "agrees"),
        ("neutral", 1, 0, "flag"),
        ("neutral", 0, 1, "flag"),  # a built-in one counts
        ("neutral", -1, 1, "agrees"),  # a valgus wedge that cancels a built-in varus one
        ("neutral", -1, 0, "flag"),
        ("mild_varus", 0, 0, "agrees"),  # only as far as needed: less is no disagreement
        ("mild_varus", 1, 0, "agrees"),
        ("mild_varus", 1, 1, "flag"),
        ("mild_varus", 2, -1, "agrees"),
        ("marked_varus", 2, 0, "agrees"),
        ("marked_varus", 2, 1, "flag"),
        ("valgus", 0, 0, "agrees"),
        ("valgus", -1, 0, "agrees"),
        ("valgus", 0, 1, "flag"),  # the shoe's own varus wedge was left
        ("valgus", 1, 0, "agrees"),  # told once, by shim_against_forefoot
        (None, 1, 0, None),
        ("neutral", None, 0, None),
    ],
)
def test_shims_to_need(forefoot: str | None, added: int | None, built_in: int, expected: str | None) -> None:
    assert weight(shims_to_need(Foot(forefoot=forefoot, shims_added=added, shims_built_in=built_in), LIMITS)) == expected


@pytest.mark.parametrize(
    ("forefoot", "added", "built_in", "expected"),
    [
        ("mild_varus", -1, 0, "flag"),
        ("mild_varus", -1, 1, "flag"),  # cancels what the foot needs
        ("mild_varus", -1, 2, "agrees"),  # takes the shoe's two down to the one that is needed
        ("marked_varus", 0, 0, "agrees"),
        ("valgus", 1, 0, "flag"),
        ("valgus", 1, -1, "flag"),
        ("valgus", 1, -2, "agrees"),
        ("valgus", -1, 0, "agrees"),
        ("neutral", -1, 1, "agrees"),
        (None, -1, 0, None),
    ],
)
def test_shim_against_forefoot(forefoot: str | None, added: int, built_in: int, expected: str | None) -> None:
    foot = Foot(forefoot=forefoot, shims_added=added, shims_built_in=built_in)
    assert weight(shim_against_forefoot(foot, LIMITS)) == expected


@pytest.mark.parametrize(
    ("arch", "level", "follows", "left_out"),
    [
        ("low", "low", "agrees", "agrees"),
        ("medium", "medium", "agrees", "agrees"),
        ("high", "high", "agrees", "agrees"),
        ("low", "medium", "note", "agrees"),
        ("high", "medium", "note", "agrees"),
        ("low", "high", "flag", "agrees"),
        ("high", "low", "flag", "agrees"),
        ("low", "none", None, "note"),
        ("medium", "none", None, "flag"),
        ("high", "none", None, "flag"),
        ("low", "custom", None, "agrees"),
        (None, "low", None, None),
        ("low", None, None, None),
    ],
)
def test_insole_level_and_arch(arch: str | None, level: str | None, follows: str | None, left_out: str | None) -> None:
    foot = Foot(arch_height=arch, insole_departure=level)
    assert weight(insole_follows_arch(foot, LIMITS)) == follows
    assert weight(insole_left_out(foot, LIMITS)) == left_out


@pytest.mark.parametrize(
    ("knee", "moved", "expected"),
    [
        ("outward", 1, "agrees"),
        ("outward", -1, "flag"),
        ("inward", 1, "flag"),
        ("inward", -1, "agrees"),
        ("neutral", -1, "agrees"),
        ("outward", 0, "agrees"),
        (None, 1, None),
        ("inward", None, None),
    ],
)
def test_stance_follows_knee(knee: str | None, moved: int | None, expected: str | None) -> None:
    assert weight(stance_follows_knee(Foot(knee=knee, stance_moved=moved), LIMITS)) == expected


def test_narrower_is_not_by_a_spacer() -> None:
    assert weight(narrow_by_cleat(Foot(is_narrow=True, stance_by="spacer"), LIMITS)) == "note"
    assert weight(narrow_by_cleat(Foot(is_narrow=True, stance_by="cleat"), LIMITS)) == "agrees"
    assert weight(narrow_by_cleat(Foot(is_narrow=True, stance_by="spindle"), LIMITS)) == "agrees"
    assert weight(narrow_by_cleat(Foot(is_narrow=False, stance_by="spacer"), LIMITS)) == "agrees"
    assert narrow_by_cleat(Foot(), LIMITS) is None


def test_a_shims_place_is_told() -> None:
    assert weight(shim_place_told(Foot(shims_added=1), LIMITS)) == "note"
    assert weight(shim_place_told(Foot(shims_added=1, shim_place="in_shoe"), LIMITS)) == "agrees"
    assert shim_place_told(Foot(shims_added=0), LIMITS) is None


@pytest.mark.parametrize(
    ("squat", "knee", "arch", "arrival", "departure", "expected"),
    [
        ("outward", "outward", "low", "low", "medium", "flag"),  # above the arch, the way the knee already goes
        ("outward", "inward", "low", "low", "medium", "agrees"),  # stood on the other side: brought over
        ("outward", None, "low", "low", "medium", "flag"),
        ("outward", "outward", "medium", "none", "medium", "agrees"),  # what the arch asks for
        ("outward", "outward", None, "none", "low", "flag"),
        ("outward", "outward", "low", "high", "medium", "agrees"),  # lowered
        ("inward", "inward", "high", "high", "medium", "flag"),
        ("inward", "inward", "low", "high", "low", "agrees"),
        ("straight", "inward", "high", "high", "low", "agrees"),
        ("outward", "outward", "low", "low", "custom", "agrees"),
        (None, "outward", "low", "low", "high", None),
        ("outward", "outward", "low", None, "high", None),
    ],
)
def test_insole_not_away(
    squat: str | None, knee: str | None, arch: str | None, arrival: str | None, departure: str, expected: str | None
) -> None:
    foot = Foot(squat_knee_path=squat, knee=knee, arch_height=arch, insole_arrival=arrival, insole_departure=departure)
    assert weight(insole_not_away(foot, LIMITS)) == expected


@pytest.mark.parametrize(
    ("squat", "knee", "forefoot", "before", "added", "expected"),
    [
        ("outward", "outward", "neutral", 0, 1, "flag"),
        ("outward", "outward", "mild_varus", 0, 1, "agrees"),  # what the forefoot needs
        ("outward", "outward", "mild_varus", 1, 2, "flag"),
        ("outward", "inward", "neutral", 0, 1, "agrees"),
        ("inward", "neutral", "mild_varus", 1, 0, "flag"),
        ("inward", "neutral", "neutral", 1, 0, "agrees"),
        ("inward", "neutral", None, 1, 0, "flag"),
        ("inward", "neutral", "mild_varus", 0, 1, "agrees"),
        ("straight", "neutral", "neutral", 0, 3, "agrees"),
        ("outward", "outward", "neutral", None, 1, None),
    ],
)
def test_shims_not_away(
    squat: str, knee: str, forefoot: str | None, before: int | None, added: int, expected: str | None
) -> None:
    foot = Foot(squat_knee_path=squat, knee=knee, forefoot=forefoot, total_shims_arrival=before, shims_added=added)
    assert weight(shims_not_away(foot, LIMITS)) == expected


@pytest.mark.parametrize(
    ("seat", "expected"),
    [
        (Seat(), None),
        (Seat(is_opposed=False, has_changed_support=True), "agrees"),
        (Seat(is_opposed=True, has_changed_support=False), "agrees"),
        (Seat("", True, True, 130, 140, "sound"), "agrees"),
        (Seat("", True, True, 130, 130, "sound"), "agrees"),
        (Seat("", True, True, 130, 129, "sound"), "flag"),
        (Seat("", True, True, 130, 140, "crooked"), "flag"),
        (Seat("", True, True, None, 140, "sound"), "flag"),
        (Seat("", True, True, 130, 140, None), "flag"),
    ],
)
def test_saddle_before_supports(seat: Seat, expected: str | None) -> None:
    assert weight(saddle_before_supports(seat)) == expected


def test_sentences_name_the_exam_and_the_setup() -> None:
    foot = Foot(
        arch_height="low", forefoot="marked_varus", forefoot_angle_deg=9.5, squat_knee_path="outward", tilt_arrival_deg=2.25,
        knee="outward", insole_arrival="low", insole_departure="high", total_shims_arrival=0, shims_added=3,
        stance_arrival_mm=2, stance_departure_mm=-1, stance_moved=-1, is_narrow=True, stance_by="spacer",
    )  # fmt: skip
    words = {rule.name: finding.words for rule in FOOT_RULES if (finding := rule.ask(foot, LIMITS)) and finding.words}
    assert words == {
        "shims_to_need": "a marked varus forefoot of 9.5° asks for 2 varus shims at the start, the fit ended with "
        "3 varus shims in total (3 varus shims added, no shim built in).",
        "insole_follows_arch": "a low arch left with a high insole, 2 levels above it.",
        "stance_follows_knee": "an outward knee at 2.2° at arrival was set narrower (from 2.0 to −1.0\N{NO-BREAK SPACE}mm).",
        "narrow_by_cleat": "the stance is inside the reference position (from 2.0 to −1.0\N{NO-BREAK SPACE}mm) and was told as "
        "made by a spacer, which only widens it.",
        "shim_place_told": "3 varus shims added, and the record does not say whether in the shoe or at the cleat.",
        "insole_not_away": "the knee goes outward in the squat, and the insole went from low to high under a low arch, which "
        "leans it further outward.",
        "shims_not_away": "the knee goes outward in the squat, and the total went from no shim to 3 varus shims under a "
        "marked varus forefoot of 9.5°, which leans it further outward.",
    }
    seat = Seat(" (tilt left −3.0°, right 2.0°)", True, True, None, None, "sound")
    finding = saddle_before_supports(seat)
    assert finding and finding.words == (
        "the knees stood opposed at arrival (tilt left −3.0°, right 2.0°), supports were changed, and sit-bone width and "
        "saddle width were not recorded."
    )


def test_a_rule_decides_by_its_fields_alone() -> None:
    """The question asks alike feet once: no field beyond those that a rule names may turn its verdict."""
    rng = np.random.default_rng(17)
    choices: dict[str, list[Any]] = {
        "side": ["left", "right"], "arch_height": [None, "low", "medium", "high"],
        "forefoot": [None, "valgus", "neutral", "mild_varus", "marked_varus"], "forefoot_angle_deg": [None, -4.0, 5.0],
        "squat_knee_path": [None, "inward", "straight", "outward"], "tilt_arrival_deg": [None, -2.0, 2.0],
        "knee": [None, "inward", "neutral", "outward"], "insole_arrival": [None, "none", "low", "high", "custom"],
        "insole_departure": [None, "none", "low", "medium", "high", "custom"], "total_shims_arrival": [None, 0, 1, 2],
        "shims_added": [None, -1, 0, 1, 2], "shims_built_in": [-1, 0, 1], "shim_place": [None, "in_shoe", "at_cleat"],
        "stance_arrival_mm": [None, 0.0], "stance_departure_mm": [None, -1.0, 2.0], "stance_by": [None, "cleat", "spacer"],
        "stance_moved": [None, -1, 0, 1], "is_narrow": [None, False, True],
    }  # fmt: skip
    assert set(choices) == {field.name for field in fields(Foot)}

    def draw() -> dict[str, Any]:
        return {name: values[int(rng.integers(len(values)))] for name, values in choices.items()}

    seen: dict[str, set[str | None]] = {rule.name: set() for rule in FOOT_RULES}
    for _ in range(1500):
        foot, other = Foot(**draw()), draw()
        for rule in FOOT_RULES:
            elsewhere = replace(foot, **{name: value for name, value in other.items() if name not in rule.fields})
            told = weight(rule.ask(foot, LIMITS))
            assert weight(rule.ask(elsewhere, LIMITS)) == told, rule.name
            seen[rule.name].add(told)
    assert all(len(verdicts) >= 3 for verdicts in seen.values()), seen  # not asked, agrees, and a note or flag
