"""The frozen answers of the question what happened to a rider. Riders are known by the studio's own ids; names never appear."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

from dashboard.questions.coaching.answers_agreement import LookRow
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.memory.rows_on_demand import RowsOnDemand
from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True, slots=True)
class RiderRow:
    """One rider over the selected fits; tilt and side difference (right less left) as the last fit left them.

    became: what became of the last fit that asks for a follow-up (held, not_held, not_measured, not_seen, waiting), which was
    on `fit_date`; empty where the selection holds none. follow_up: by today's date: over (open past its day), due (of today),
    booked (ahead), came, closed (missed or cancelled, none open), none (not booked), empty (not recorded); due_on: of an open
    one. look: what deserves a look, any of overdue, not_held, side_difference and flag (the last fit that can be judged is to
    look at).
    """

    rider_id: str
    studios: str
    n_fits: int
    first_date: date
    last_date: date
    fit_date: date | None
    became: str
    tilt_left_deg: float | None
    tilt_right_deg: float | None
    side_difference_deg: float | None
    follow_up: str
    due_on: date | None
    n_judged_fits: int
    n_flagged_fits: int
    look: str
    words: str


@dataclass(frozen=True)
class Riders(AnswerOfFits):
    """The riders of the selection, most reasons for a look first, and how many of them deserve a look.

    riders: made as they are read; where(code of `look`) gives those who deserve that look. not_recorded: the looks of which
    nothing is known here.
    """

    rows_name: ClassVar[str] = "riders"
    headline: str
    riders: RowsOnDemand[RiderRow]
    not_recorded: tuple[str, ...] = ()


@dataclass(frozen=True)
class FitRow:
    """One fit of the rider, by date, with the sessions before and after it and what happened to the knees in words.

    became: as in RiderRow, None of a visit that asks for no follow-up; seen_on: the day of its follow-up; told: arrival,
    departure and follow-up in one sentence.
    """

    session_id: str
    session_date: date
    visit_kind: str
    visit_no: int
    studio_id: str
    fitter_id: str
    bike_kind: str | None
    n_captures: int
    sit_bone_width_mm: float | None
    saddle_width_mm: float | None
    saddle_condition: str | None
    notes: str | None
    previous_session_id: str | None
    next_session_id: str | None
    words: str
    became: str | None = None
    seen_on: date | None = None
    told: str = ""


@dataclass(frozen=True)
class KneeRow:
    """One knee from a fit's first capture to its last, on one outcome in `unit`; mdc95: the change that noise alone can make.

    verdict: changed (by more than mdc95), unclear, or unknown (not recorded at both ends, or the noise is not known). found:
    tilt at the follow-up's first capture; further: how much further from neutral that is than at departure, negative: nearer.
    """

    session_id: str
    side: str
    outcome: str
    unit: str
    arrival: float | None
    departure: float | None
    change: float | None
    mdc95: float | None
    verdict: str
    found: float | None = None
    further: float | None = None


@dataclass(frozen=True, slots=True)
class CaptureRow:
    """One knee in one capture, with the foot's setup as it stood, and in `words` what changed since the capture before.

    place: the capture's place on the whole timeline, 1 for the first; is_repeat: the foot's setup is as in the capture before.
    """

    place: int
    session_id: str
    session_date: date
    capture_no: int
    side: str
    knee_tilt_deg: float | None
    knee_sway_mm: float | None
    knee_offset_mm: float | None
    insole_level: str | None
    shims_added: int | None
    shims_built_in: int | None
    shim_place: str | None
    stance_mm: float | None
    stance_by: str | None
    foot_room_ok: bool | None
    setup: str
    is_repeat: bool
    is_changed: bool
    cadence_rpm: float | None
    power_w: float | None
    captured_at: datetime | None
    words: str


@dataclass(frozen=True)
class ExamRow:
    """One foot as examined at one fit."""

    session_id: str
    session_date: date
    side: str
    arch_height: str | None
    arch_collapse: str | None
    heel_posture: str | None
    forefoot_angle_deg: float | None
    forefoot: str | None
    squat_knee_path: str | None
    hip_flexion_deg: float | None
    foot_posture_index: int | None


@dataclass(frozen=True)
class RatingRow:
    """One topic and part of the body, 0 to 10, at a fit's first and last capture and at the first one of its follow-up.

    verdict: whether comfort or pain became better from arrival to the follow-up, and whether that was worth it; empty where it
    is not known from how many points on a change matters.
    """

    session_id: str
    session_date: date
    topic: str
    body_part: str
    arrival: float | None
    departure: float | None
    follow_up: float | None
    verdict: str = ""


@dataclass(frozen=True)
class BikeRow:
    """One measure of the bicycle at a fit; change: departure less arrival."""

    session_id: str
    session_date: date
    measure: str
    arrival_mm: float | None
    departure_mm: float | None
    change_mm: float | None


@dataclass(frozen=True)
class FollowUpRow:
    """One booking: what became of it, and what the rider said; change_rating: how much better than before the fit, -3 to 3."""

    session_id: str
    booked_on: date
    due_on: date
    state: str
    attended_on: date | None
    returned_session_id: str | None
    setup_kept: str | None
    satisfaction: float | None
    pain: float | None
    change_rating: int | None = None


@dataclass(frozen=True)
class RiderTimeline(AnswerOfFits):
    """What happened to one rider, fit after fit and capture after capture.

    noise: the typical error and MDC95 of tilt, sway and offset over all fits of the warehouse; none where they are not known.
    told_id: the session whose sentence is the headline: the last fit that asks for a follow-up, else the last visit.
    worth_words: what the verdicts on comfort and pain stand on; empty where there are none.
    """

    rows_name: ClassVar[str] = "captures"
    headline: str
    told_id: str
    rider: RiderRow
    riding: str | None
    captures: tuple[CaptureRow, ...]
    fits: tuple[FitRow, ...]
    knees: tuple[KneeRow, ...]
    exams: tuple[ExamRow, ...]
    ratings: tuple[RatingRow, ...]
    bike: tuple[BikeRow, ...]
    follow_ups: tuple[FollowUpRow, ...]
    look_at: tuple[LookRow, ...]
    noise: tuple[NoiseRow, ...]
    worth_words: str = ""
