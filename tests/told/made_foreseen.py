"""Answers on what is foreseen, on orders that were drawn, and on checks of effects, written by hand in round numbers."""

from dataclasses import replace
from datetime import date
from typing import Any

from dashboard.questions.drawn.answers_drawn import ArmRow, ComparisonRow, Drawn
from dashboard.questions.effects.answers_power import Power, PowerRow
from dashboard.questions.foresight.answers_foresight import AlikeRow, Foresight, ForesightRow, Next, NextRow, ReliabilityRow
from dashboard.questions.foresight.setups import AS_IT_IS
from tests.told.made_outcomes import SHARED


def _setup(setup: str, place: int, expected: float | None, side: str = "left", outcome: str = "tilt", **more: Any) -> NextRow:
    figures = (None,) * 4 if expected is None else (expected - 1, expected + 1, expected - 0.5, expected + 0.5)
    unit = "mm" if outcome == "sway" else "deg"
    made = NextRow(
        side,
        setup,
        outcome,
        unit,
        True,
        "",
        place,
        False,
        expected,
        *figures,
        0.8,
        None,
        1012,
        expected is None,
        "A made sentence.",
    )
    return replace(made, **more)


NEXT = Next(
    **SHARED, headline="Nearest to neutral: left with a medium insole (3.7 to 2.8°).", is_silent=False, session_id="S12",
    cautions=("Nothing of it is advice.",), side_difference_now=4.1, side_difference_first=3.2,
    setups=(
        _setup("a medium insole", 1, -2.8), _setup("a low insole", 2, -3.2, is_tied=True),
        _setup("one varus shim more (1 in all)", 3, -3.3), _setup("stance 2 mm narrower", 4, -3.4), _setup(AS_IT_IS, 5, -3.7),
        _setup("a high insole", 1, -2.5, is_allowed=False, against="a low arch with a high insole, 2 levels above it."),
        _setup("one valgus shim more (2 in all)", 6, None),
        _setup("a medium insole", 1, 2.8, outcome="off_neutral", nearer=0.62), _setup("a medium insole", 1, 11.0,
        outcome="sway"),
        _setup("a low insole", 2, 3.2, outcome="off_neutral", nearer=0.4), _setup(AS_IT_IS, 5, 3.7, outcome="off_neutral",
        nearer=0.2),
        _setup(AS_IT_IS, 1, 0.4, side="right"), _setup(AS_IT_IS, 1, 0.7, side="right", outcome="off_neutral", nearer=0.1),
    ),
    alike=tuple(
        AlikeRow("left", f"S{n}", "right", -3.9, -2.6, None, 5.0, 7.5, None, 8.0, "insole", "insole none to medium", became)
        for n, became in enumerate(("not_held", "held", None, "waiting", "not_seen", "held", "held", "held"), 70)
    ),
    alike_told=("8 knees most like the left one: made.",),
)  # fmt: skip
SILENT = replace(NEXT, is_silent=True, setups=(), alike=(), alike_told=(), headline="The rider told of pain (5 of 10).")
HALF_KNOWN = replace(NEXT, side_difference_now=None, side_difference_first=None, setups=NEXT.setups[6:7], as_of=None)


def _record(group: str, level: str, inside: float | None, n: int = 1900) -> ForesightRow:
    ends = (None, None) if inside is None else (inside - 0.05, inside + 0.04)
    return ForesightRow("tilt", "deg", group, level, n, n // 2, inside, *ends, 2.1, 0.6, 0.9, 1.5, "A made sentence.")


RECORD = Foresight(
    **SHARED, headline="What is foreseen has held so far: 80 % inside.", is_kept=True,
    foresight=(
        _record("all", "", 0.8), _record("last", "", 0.76, 200), _record("foot_type", "low arch, mild_varus", 0.81),
        _record("fitter", "F1", None, 4), _record("month", "2026-05", 0.7),
        replace(_record("all", "", 0.82), outcome="sway", unit="mm"),
    ),
    reliability=(
        ReliabilityRow("tilt", "deg", 1, 1190, 40, -3.0, -2.9), ReliabilityRow("tilt", "deg", 2, 1190, 40, 1.0, 0.8),
        ReliabilityRow("sway", "mm", 1, 1190, 40, 9.0, 9.5),
    ),
)  # fmt: skip
BROKEN = replace(RECORD, is_kept=False, headline="Do not lean on what is foreseen today: 60 % inside.")
NOT_YET = replace(RECORD, is_kept=None, headline="Nothing could be foreseen so far.", foresight=(), reliability=())

COMPARISON = ComparisonRow(
    "C-2", "a low insole", "one more varus shim", "medium arch, mild varus", "tilt", "deg", date(2026, 2, 1), None, 48, 40,
    38, 2, 3,
    30, 0.5, 0.2, 0.8, 0.01, 0.01, 0.1, 0.9, 0.1, 0.9, "always", 0.01, 0.05, -0.1, 0.2, 12, "abcdef0123456789", "", None,
    "By the draw, one more varus shim moves the tilt outward by 0.10 to 0.90° more than a low insole.",
)  # fmt: skip
DRAWN = Drawn(
    **SHARED, headline="Made.",
    comparisons=(
        COMPARISON,
        replace(COMPARISON, comparison_id="C-1", outcome="sway", unit="mm", told_low=None, told_high=None, left_low=None,
                closed_on=date(2026, 1, 20), is_as_sealed=True, q_value=None),
    ),
    arms=(
        ArmRow("C-2", "first", "a low insole", "deg", 20, 19, 1, 18, -2.0, 0.4), ArmRow("C-2", "second",
        "one more varus shim", "deg", 20, 19, 2, 17, -2.1, None),
        ArmRow("C-1", "first", "a low insole", "mm", 5, 5, 0, 5, 9.0, -1.0),
    ),
    draws=(),
)  # fmt: skip
CLOSED = replace(
    DRAWN, comparisons=(replace(COMPARISON, is_as_sealed=False, closed_on=date(2026, 6, 1), left_low=None, left_high=None),)
)
HELD_SEAL = replace(DRAWN, comparisons=DRAWN.comparisons[1:], arms=DRAWN.arms[2:])
NO_DRAW = replace(DRAWN, headline="No order was drawn yet.", comparisons=(), arms=())

POWER = Power(
    **SHARED, headline="Made.",
    power=(
        PowerRow("tilt", "insole_low", "deg", 140, 163, 0.8, 0.5, 220, 7.0, 150, 5.0, 60, 2.0, "own",
        "A low insole: 220 riders more."),
        PowerRow("tilt", "shim", "deg", 140, 163, 0.3, 0.5, 0, 0.0, 0, 0.0, 0, 0.0, "own", "A shim: narrow enough."),
        PowerRow("tilt", "stance", "deg", 3, 3, None, 0.5, None, None, None, None, None, None, "other", "Stance: not known."),
    ),
)  # fmt: skip
