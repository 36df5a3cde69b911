"""The frozen answer of the question whether riders come back and the fit holds."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class ReturnFigure:
    """One share (0 to 1) over the fits, or at one level of the split; `n` counts what `counted` names.

    figure: booked_same_day, booked, return_rate, held (of fits measured again), setup_kept_all, setup_kept_some,
    setup_kept_none.
    """

    figure: str
    split: str | None
    level: str | None
    unit: str
    counted: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0


@dataclass(frozen=True)
class ReturnCurveRow:
    """The share of fits whose rider came back by this day, and the share whose booking came to nothing by then."""

    split: str | None
    level: str | None
    days: int
    n_at_risk: int
    returned: float
    returned_low: float | None
    returned_high: float | None
    ended_otherwise: float


@dataclass(frozen=True)
class AtRiskRow:
    """How many fits were neither attended, ended otherwise nor at the data's end before this day."""

    split: str | None
    level: str | None
    days: int
    n_at_risk: int


@dataclass(frozen=True)
class ComparisonRow:
    """Log-rank test between the levels of the split."""

    split: str
    levels: str
    n: int
    chi_square: float | None
    df: int | None
    p_value: float | None
    words: str


@dataclass(frozen=True)
class HeldRow:
    """How many of `n_fits` fits whose window has closed came to one end: held, not_held, not_measured or not_seen, with the
    share.

    bounds_low, bounds_high, of `held` alone: the share of all fits that held if none of those not seen or not measured did, and
    if all of them did; chance_low, chance_high: the interval of the true share, whatever became of them.
    """

    became: str
    n_fits: int
    n: int
    n_riders: int
    share: float | None = None
    low: float | None = None
    high: float | None = None
    bounds_low: float | None = None
    bounds_high: float | None = None
    chance_low: float | None = None
    chance_high: float | None = None
    words: str = ""


@dataclass(frozen=True)
class LastingRow:
    """How a knee was found again against how the fit left it, in `unit`; held: no further off than MDC95, of knees found again.

    worst, best: the share of all knees that held if none of those not seen had, or all had; bounds_low, bounds_high: the
    interval of the true share, whatever became of them. alike: the share of all if those not seen held as did those who were
    alike when they left, with its interval; None where that cannot be told.
    """

    outcome: str
    unit: str
    n_knees: int
    n_seen: int
    n_riders_seen: int
    mean_change: float | None = None
    mean_change_low: float | None = None
    mean_change_high: float | None = None
    mdc95: float | None = None
    held: float | None = None
    held_low: float | None = None
    held_high: float | None = None
    worst: float | None = None
    best: float | None = None
    bounds_low: float | None = None
    bounds_high: float | None = None
    alike: float | None = None
    alike_low: float | None = None
    alike_high: float | None = None
    words: str = ""


@dataclass(frozen=True)
class SaidRow:
    """What riders said at the follow-up, 0 to 10 points: `n` answers of `n_fits` fits whose window has closed.

    Median, quartiles and mean are of the answers. worst, best: the mean of all fits if each of the others had said the worst,
    or the best; bounds_low, bounds_high: the interval of the true mean, whatever they would have said. alike: the mean of all
    if the others would have said what those said who were alike when they left; None where that cannot be told.
    """

    topic: str
    n: int
    median_points: float | None
    quartile_low_points: float | None
    quartile_high_points: float | None
    words: str
    n_riders: int = 0
    n_fits: int = 0
    mean_points: float | None = None
    worst_points: float | None = None
    best_points: float | None = None
    bounds_low_points: float | None = None
    bounds_high_points: float | None = None
    alike_points: float | None = None
    alike_low_points: float | None = None
    alike_high_points: float | None = None


@dataclass(frozen=True)
class WorthRow:
    """How many of `n_fits` fits rated again came to one verdict on comfort or pain, from arrival to the follow-up, with the
    share; n_riders: of that verdict. No rows of a topic of which it is not known from how many points on a change matters.
    """

    topic: str
    verdict: str
    n_fits: int
    n: int
    n_riders: int
    share: float | None = None
    low: float | None = None
    high: float | None = None
    words: str = ""


@dataclass(frozen=True)
class Returns(AnswerOfFits):
    """Do riders come back, and does the fit hold."""

    rows_name: ClassVar[str] = "figures"
    headline: str
    figures: tuple[ReturnFigure, ...]
    curve: tuple[ReturnCurveRow, ...]
    at_risk: tuple[AtRiskRow, ...]
    comparisons: tuple[ComparisonRow, ...]
    held: tuple[HeldRow, ...]
    lasting: tuple[LastingRow, ...]
    said: tuple[SaidRow, ...]
    worth: tuple[WorthRow, ...] = ()
