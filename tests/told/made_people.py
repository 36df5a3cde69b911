"""Answers on fitters and riders, written by hand in round numbers."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import numpy as np

from dashboard.questions.coaching.answers_agreement import (
    AgreementRow,
    AgreementWithExam,
    LookRow,
    RuleRow,
    WorstRow,
)
from dashboard.questions.coaching.answers_fitters import DispersionRow, FitterRow, Fitters, FunnelRow, ProcessRow
from dashboard.questions.data.answers_noise import Noise, NoiseGroupRow, NoiseRow
from dashboard.questions.memory.rows_on_demand import Columns, RowsOnDemand
from dashboard.questions.riders.answers_riders import (
    BikeRow,
    CaptureRow,
    ExamRow,
    FitRow,
    FollowUpRow,
    KneeRow,
    RatingRow,
    RiderRow,
    Riders,
    RiderTimeline,
)
from tests.told.made_outcomes import SHARED

NAMES = {"F1": "Alder", "F3": "Cedar"}


def _fitter(outcome: str, unit: str, fitter: str, n: int, difference: float | None = None, q_value: float = 0.5) -> FitterRow:
    """Expected is 2 points, or 60 %; the limits lie 0.2 and 0.3 points, or 10 and 15 %, about it."""
    if difference is None:
        return FitterRow(outcome, unit, fitter, n, n, words=f"{fitter}: not enough yet.")
    expected, wide = (0.6, 0.1) if unit == "share" else (2.0, 0.2)
    observed = expected + difference
    return FitterRow(
        outcome, unit, fitter, n, n - 5, observed, expected,
        *((observed / expected, 0.9, 1.1) if unit == "share" else (None, None, None)),
        difference, difference - 0.1, difference + 0.1, expected - wide, expected + wide, expected - 1.5 * wide,
        expected + 1.5 * wide, 10 * difference, 0.8 * difference, 0.8 * difference - 0.1, 0.8 * difference + 0.1,
        f"{fitter}: a made sentence.", 0.01, q_value,
    )  # fmt: skip


FITTERS = Fitters(
    **SHARED, n_fits=1200, n_riders=1100, furthest="comfort_gained",
    headline="Of 3 fitters compared, beyond the 99.8 % limits: F1 on comfort gained (above).",
    fitters=(
        _fitter("comfort_gained", "points", "F1", 400, 0.4, 0.001), _fitter("comfort_gained", "points", "F2", 7),
        _fitter("comfort_gained", "points", "F3", 300, -0.25), _fitter("comfort_gained", "points", "F4", 500, 0.1),
        _fitter("return_rate", "share", "F1", 400, 0.05), _fitter("return_rate", "share", "F3", 1300, -0.12),
    ),
    dispersion=(
        DispersionRow("comfort_gained", "points", 3, 0.2, 2.5, 0.001, 0.3, 0.1, "made", "Fitters scatter on comfort.", 1.2,
        0.01),
        DispersionRow("return_rate", "share", 2, 0.2, 1.0, 0.5, 0.0, 0.1, "made", "Not told.", 1.2, 0.5),
    ),
    process=(
        ProcessRow("F1", "both_feet_examined", 1100, 1200, 0.9167, 0.89, 0.94, "F1: made."),
        ProcessRow("F2", "both_feet_examined", 2, 3, None, None, None, "F2: not enough yet."),
    ),
    funnel=tuple(
        FunnelRow(outcome, unit, n, *(end * wide / n**0.5 for end in (-3, -2, 2, 3)))
        for outcome, unit, wide in (("comfort_gained", "points", 2.0), ("return_rate", "share", 0.5))
        for n in (100, 400, 1600)
    ),
)  # fmt: skip


def _look(session: str, rule: str, side: str | None, weight: str = "flag") -> LookRow:
    foot = f", {side} foot" if side else ""
    return LookRow(session, date(2026, 3, 1), "F1", side, rule, weight, f"{session}{foot}: {rule} told.")


WORST = (
    WorstRow(
        "S1", date(2026, 3, 1), "F1", 4, 2, 1, 1, True, True, "2 levels and 1 shim from the exam: tilt left −3.0° to −3.0°."
    ),
    WorstRow("S2", date(2026, 3, 2), "F2", 1, 0, 1, 0, False, False, "1 shim from the exam: comfort 5 to 8."),
)
AGREEMENT = AgreementWithExam(
    **SHARED, n_fits=1200, n_riders=1100, n_judged=1150, n_flagged=200, n_far=20, n_to_look_at=1, headline="Made.",
    cautions=("A flag is no verdict.",),
    agreement=(AgreementRow(None, None, 1200, 1150, 950, 0.826, 0.8, 0.85, "950 of 1,150 fits agree with the exam (83 %).",
    1000),),
    months=(
        AgreementRow("month", "2026-03-01", 600, 580, 464, 0.8, 0.76, 0.84, "March: made.", 500),
        AgreementRow("month", "2026-04-01", 4, 3, 3, None, None, None, "April: not enough yet.", 4),
        AgreementRow("month", "2026-05-01", 596, 567, 482, 0.85, 0.81, 0.89, "May: made.", 490),
    ),
    fitters=(),
    rules=(
        RuleRow("insole_left_out", "No insole stands under a low arch.", 2400, 100, 48, 0.02, 0.01, 0.03),
        RuleRow("saddle_before_supports", "The saddle is looked at first.", 3, 0, 0, None, None, None),
    ),
    outcomes=(), shim_places=(), worst=WORST,
    look_at=(
        _look("S1", "insole_left_out", "left"), _look("S1", "insole_left_out", "right"), _look("S1", "shims_to_need", "right"),
        _look("S1", "saddle_before_supports", None), _look("S1", "insole_follows_arch", "left", "note"),
        _look("S2", "shims_not_away", "left"),
    ),
)  # fmt: skip
MANY_WORST = replace(
    AGREEMENT, n_to_look_at=1030, worst=tuple(replace(WORST[0], session_id=f"W{n}") for n in range(25)), look_at=()
)


def _noise_group(
    level: str, outcome: str, unit: str, error: float | None, ratio: float | None, *, more: bool = False
) -> NoiseGroupRow:
    ends = (None, None) if error is None else (error - 0.1, error + 0.2)
    ratios = (None, None, None) if ratio is None else (ratio, ratio - 0.2, ratio + 0.3)
    return NoiseGroupRow(
        "fitter", level, outcome, unit, 1200, 40, error, *ends, None if error is None else 2.77 * error, 0.0,
        f"{level}'s captures: a made sentence.", 1.7, *ratios, 0.01 if more else 0.5, more,
    )  # fmt: skip


def _noise(outcome: str, unit: str, error: float | None) -> NoiseRow:
    if error is None:
        return NoiseRow(outcome, unit, 3, 3, *(None,) * 9, f"{outcome}: not enough repeats yet.", "none")
    return NoiseRow(
        outcome, unit, 1300, 400, error, error - 0.05, error + 0.06, 2.77 * error, 0.02, -0.01, 0.05, -1.6, 1.7,
        f"{outcome}: a made sentence.", "repeats",
    )  # fmt: skip


NOISE = Noise(
    **SHARED, headline="A change of tilt below 1.7° may be noise.",
    noise=(_noise("tilt", "deg", 0.6), _noise("sway", "mm", 1.5), _noise("offset", "mm", None)),
    groups=(
        _noise_group("F1", "tilt", "deg", 1.2, 2.0, more=True), _noise_group("F3", "tilt", "deg", 0.6, 0.95),
        _noise_group("F2", "tilt", "deg", None, None), _noise_group("F1", "sway", "mm", 1.4, 1.05),
    ),
)  # fmt: skip


def _rider(rider: str, *, look: str = "", became: str = "held", follow_up: str = "came", **more: Any) -> RiderRow:
    made = RiderRow(
        rider, "quay", 2, date(2025, 9, 1), date(2026, 6, 1), date(2026, 6, 1), became, -1.0, 2.5, 3.5, follow_up, None, 2, 1,
        look,
        f"{rider}: a made sentence.",
    )  # fmt: skip
    return replace(made, **more)


def listed(*rows: RiderRow) -> RowsOnDemand[RiderRow]:
    """The rows as the question gives them, those of a look by its code."""
    looks = ("overdue", "not_held", "side_difference", "flag")
    columns = {"row": np.array(rows, dtype=object)} | {
        look: np.array([look in row.look.split(", ") for row in rows], dtype=bool) for look in looks
    }

    def make(columns: Columns) -> Iterator[RiderRow]:
        yield from columns["row"]

    return RowsOnDemand(columns, make)


RIDER_ROWS = (
    _rider("R1", look="overdue, not_held, side_difference", became="not_held", follow_up="over", due_on=date(2026, 6, 20)),
    _rider("R2", look="flag", became="waiting", follow_up="booked", due_on=date(2026, 7, 9), side_difference_deg=None),
    _rider("R3", look="not_held", became="not_held", follow_up="closed", studios="mill, quay"),
    _rider("R4", became="", fit_date=None, follow_up="none", side_difference_deg=-0.4),
    _rider("R5", became="not_seen", follow_up="due", due_on=date(2026, 7, 1), look="side_difference", side_difference_deg=-2.5),
    *(_rider(f"R{n}") for n in range(6, 28)),
)
RIDERS = Riders(**SHARED, n_fits=60, n_riders=27, headline="4 of 27 riders deserve a look.", riders=listed(*RIDER_ROWS))
NO_BOOKINGS = replace(RIDERS, not_recorded=("overdue", "not_held"), riders=listed(*RIDER_ROWS[1:3]))


def _capture(place: int, session: str, no: int, side: str, tilt: float | None, **more: Any) -> CaptureRow:
    made = CaptureRow(
        place, session, date(2026, 3, 1) if session == "S1" else date(2026, 5, 1), no, side, tilt, 12.0, 3.0, "low", 1, 0,
        "in_shoe",
        2.0, "cleat", True, "low insole; 1 varus shim in the shoe", False, False, 90.0, 200.0,
        datetime(2026, 3, 1, 10, no), "",
    )  # fmt: skip
    return replace(made, **more)


CAPTURES = (
    _capture(1, "S1", 1, "left", -3.0, setup="no insole; no shim", insole_level="none", shims_added=0, shim_place=None),
    _capture(1, "S1", 1, "right", 1.0),
    _capture(2, "S1", 2, "left", -1.0, is_changed=True, words="low insole instead of none; one more varus shim"),
    _capture(2, "S1", 2, "right", 1.2, is_repeat=True),
    _capture(3, "S1", 3, "left", -1.1, is_repeat=True), _capture(3, "S1", 3, "right", None, cadence_rpm=None, power_w=None),
    _capture(4, "S2", 1, "left", -1.2), _capture(4, "S2", 1, "right", 2.3, foot_room_ok=False),
)  # fmt: skip
FITS = (
    FitRow(
        "S1", date(2026, 3, 1), "first", 1, "quay", "F1", "road", 3, 110.0, 143.0, "worn", None, None, "S2",
        "left tilt went from −3.0° to −1.1°.", "not_held", date(2026, 5, 1), "The first fit of 1 Mar 2026 did not hold.",
    ),
    FitRow(
        "S2", date(2026, 5, 1), "follow_up", 2, "mill", "F3", None, 1, None, None, None, "A note.", "S1", None,
        "one capture only, so that no change can be told.", None, None, "The visit of 1 May 2026: made.",
    ),
)  # fmt: skip
TIMELINE = RiderTimeline(
    **SHARED, n_fits=2, n_riders=1, headline="The first fit of 1 Mar 2026 did not hold.", told_id="S1", rider=RIDER_ROWS[0],
    riding="road", captures=CAPTURES, fits=FITS,
    knees=(
        KneeRow("S1", "left", "tilt", "deg", -3.0, -1.1, 1.9, 1.7, "changed", -1.2, 0.1),
        KneeRow("S1", "right", "tilt", "deg", 1.0, 1.2, 0.2, 1.7, "unclear", 2.3, 1.1),
        KneeRow("S1", "left", "sway", "mm", 12.0, 10.0, -2.0, None, "unknown"),
    ),
    exams=(
        ExamRow("S1", date(2026, 3, 1), "left", "low", "supple", "everted", 6.0, "mild_varus", "inward", 95.0, 8),
        ExamRow("S1", date(2026, 3, 1), "right", "medium", None, "vertical", None, None, None, None, None),
    ),
    ratings=(
        RatingRow("S1", date(2026, 3, 1), "comfort", "whole", 5.0, 8.0, 6.0, "no clear change"),
        RatingRow("S1", date(2026, 3, 1), "pain", "left_knee", 4.0, None, 2.5),
    ),
    bike=(
        BikeRow("S1", date(2026, 3, 1), "saddle_height", 1700.0, 1706.5, 6.5),
        BikeRow("S1", date(2026, 3, 1), "saddle_setback", 60.0, None, None),
    ),
    follow_ups=(
        FollowUpRow("S1", date(2026, 3, 1), date(2026, 4, 12), "attended", date(2026, 5, 1), "S2", "some", 8.0, 1.0, 1),
    ),
    look_at=(
        _look("S1", "insole_left_out", "left"), _look("S1", "saddle_before_supports", None), _look("S1", "shims_to_need",
        "right", "note"),
    ),
    noise=NOISE.noise[:2], worth_words="Comfort is clear from 2 points on: made.",
)  # fmt: skip
BARE = replace(
    TIMELINE, captures=(), knees=(), exams=(), ratings=(), bike=(), follow_ups=(), look_at=(), noise=(), fits=FITS[:1],
    rider=replace(RIDER_ROWS[1], look="flag"), riding=None,
)  # fmt: skip
