"""What is foreseen of captures to come."""

from dataclasses import dataclass
from typing import ClassVar, Final

from dashboard.questions.selection.answers import Answer

# From here on a knee stands more likely than not nearer to neutral by more than the typical error.
LIKELY: Final = 0.5


@dataclass(frozen=True)
class ForeseenRow:
    """One outcome of one knee in one capture, from the exam and what was measured before the first change.

    outcome: tilt (degrees), sway (mm) or off_neutral (degrees from neutral); expected, low, high: in its unit, of the capture
    as it will be measured, the band holding `level` of such captures; None beyond the data. n_alike: knees of the same foot
    type that arrived on the same side of neutral, among those it rests on.
    """

    session_id: str
    side: str
    capture_no: int
    outcome: str
    expected: float | None
    low: float | None
    high: float | None
    level: float
    n_alike: int
    beyond_data: bool
    words: str


@dataclass(frozen=True)
class ForeseenFits(Answer):
    """Every capture after the first, foreseen."""

    rows_name: ClassVar[str] = "foreseen"

    headline: str
    foreseen: tuple[ForeseenRow, ...]


@dataclass(frozen=True)
class ForesightRow:
    """How well captures of one outcome were foreseen, in `unit`: over all, in the last changes, by foot type, fitter, month.

    inside, inside_low, inside_high: the share that fell inside the band, 0 to 1, with its interval by riders; width: of the
    band on average; off: how far the expected figure was off on average; off_arrival, off_mean: how far "same as at arrival"
    and the mean of all captures before would have been.
    """

    outcome: str
    unit: str
    group: str
    level: str
    n_captures: int
    n_riders: int
    inside: float | None
    inside_low: float | None
    inside_high: float | None
    width: float
    off: float
    off_arrival: float
    off_mean: float
    words: str


@dataclass(frozen=True)
class ReliabilityRow:
    """A tenth of the captures of one outcome, from the lowest to the highest expected, in `unit`."""

    outcome: str
    unit: str
    part: int
    n_captures: int
    n_riders: int
    expected: float
    measured: float


@dataclass(frozen=True)
class Foresight(Answer):
    """How well past fits would have been foreseen, each from the fits of earlier quarters alone."""

    rows_name: ClassVar[str] = "foresight"

    headline: str
    is_kept: bool | None
    foresight: tuple[ForesightRow, ...]
    reliability: tuple[ReliabilityRow, ...]


@dataclass(frozen=True)
class NextRow:
    """One outcome of one knee in the next capture with one setup, in `unit`.

    setup: in words, one change from the present one; is_allowed: the exam does not speak against it, else `against` says why.
    expected, low, high: of the next capture as it will be measured, the band holding `level` of such captures; knee_low,
    knee_high: of the knee itself; None beyond the data. nearer: how probable it is, 0 to 1, that the knee then stands nearer to
    neutral than expected as it is, by more than the typical error; of the distance from neutral alone. place: 1 for the nearest
    to neutral of this side and of those allowed, or not; is_tied: it cannot be told from the first.
    """

    side: str
    setup: str
    outcome: str
    unit: str
    is_allowed: bool
    against: str
    place: int
    is_tied: bool
    expected: float | None
    low: float | None
    high: float | None
    knee_low: float | None
    knee_high: float | None
    level: float
    nearer: float | None
    n_alike: int
    beyond_data: bool
    words: str


@dataclass(frozen=True)
class AlikeRow:
    """A knee of another rider with the same foot type that arrived most like this one: what was changed, and what followed.

    Tilt in degrees, and comfort 0 to 10, at arrival, at departure and at the follow-up's first capture; satisfaction 0 to 10 at
    the follow-up. supports: the kinds that were changed, by commas. became: what became of the fit, as in what held of Returns;
    None where it asks for no follow-up.
    """

    side: str
    session_id: str
    of_side: str
    tilt_arrival_deg: float
    tilt_departure_deg: float | None
    tilt_follow_up_deg: float | None
    comfort_arrival: float | None
    comfort_departure: float | None
    comfort_follow_up: float | None
    satisfaction: float | None
    supports: str
    changed: str
    became: str | None


@dataclass(frozen=True)
class Next(Answer):
    """What tended to follow for feet like these: nothing of it is advice.

    side_difference_now, side_difference_first: right less left of the expected tilt, in degrees, as it is, and with the first
    allowed setup on both sides. alike_told: of each side the most alike knees in a sentence.
    """

    rows_name: ClassVar[str] = "setups"

    headline: str
    is_silent: bool
    session_id: str | None
    cautions: tuple[str, ...]
    side_difference_now: float | None
    side_difference_first: float | None
    setups: tuple[NextRow, ...]
    alike: tuple[AlikeRow, ...]
    alike_told: tuple[str, ...]
