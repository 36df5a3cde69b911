"""The frozen answer of the question where a fitter deserves a second pair of eyes. Sorted by id: there are no ranks."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits
from shared.statistics.told import is_sure

WITHIN, BETWEEN, BEYOND = "within", "between", "beyond"


@dataclass(frozen=True)
class FitterRow:
    """One fitter on one outcome, in `unit` (share 0 to 1, deg, points). Below the minimum of fits: the count and words.

    expected: what the case-mix model expects of these riders, whoever fits them. Limits: where the observed figure would lie
    by chance about the expected one, at the inner and the outer level. ratio: observed / expected, shares only. shrunken:
    the difference drawn toward zero by its precision. p_value, q_value: of a fitter like the others, in the family of all
    fitters and outcomes.
    """

    outcome: str
    unit: str
    fitter_id: str
    n_fits: int
    n_riders: int
    observed: float | None = None
    expected: float | None = None
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    difference: float | None = None
    difference_low: float | None = None
    difference_high: float | None = None
    limit_inner_low: float | None = None
    limit_inner_high: float | None = None
    limit_outer_low: float | None = None
    limit_outer_high: float | None = None
    z: float | None = None
    shrunken_difference: float | None = None
    shrunken_low: float | None = None
    shrunken_high: float | None = None
    words: str = ""
    p_value: float | None = None
    q_value: float | None = None

    @property
    def place(self) -> str | None:
        """WITHIN the inner limits, a limit itself being inside; BEYOND the outer ones where chance would hardly bring that
        among so many figures; else BETWEEN. None without a figure."""
        limits = (self.limit_outer_low, self.limit_inner_low, self.limit_inner_high, self.limit_outer_high)
        if self.observed is None or None in limits:
            return None
        outer_low, inner_low, inner_high, outer_high = (limit for limit in limits if limit is not None)
        if inner_low <= self.observed <= inner_high:
            return WITHIN
        is_inside = outer_low <= self.observed <= outer_high
        return BETWEEN if is_inside or not is_sure(self.q_value) else BEYOND


@dataclass(frozen=True)
class FunnelRow:
    """Limits of the difference from the expected at `n_fits` fits of the studio's usual riders; for drawing the funnel."""

    outcome: str
    unit: str
    n_fits: int
    outer_low: float
    inner_low: float
    inner_high: float
    outer_high: float


@dataclass(frozen=True)
class DispersionRow:
    """How far the fitters scatter beyond chance on one outcome: phi is 1 by chance; sd_between in the outcome's unit.

    design_effect: how many times the variance of a figure is what it were if no rider came twice; q_value: over the outcomes.
    """

    outcome: str
    unit: str
    n_fitters: int
    case_mix_explains: float | None
    phi: float | None
    p_value: float | None
    sd_between: float | None
    winsorised_share: float
    winsorising: str
    words: str
    design_effect: float | None = None
    q_value: float | None = None


@dataclass(frozen=True)
class ProcessRow:
    """How often one fitter did one thing: `n` of `total` fits, as a share with its interval."""

    fitter_id: str
    process: str
    n: int
    total: int
    share: float | None
    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class Fitters(AnswerOfFits):
    """Observed against expected by fitter, for coaching. furthest: the outcome of the figure that lies furthest from what is
    expected, in standard errors; the first one where there is no figure."""

    rows_name: ClassVar[str] = "fitters"
    headline: str
    furthest: str
    fitters: tuple[FitterRow, ...]
    dispersion: tuple[DispersionRow, ...]
    process: tuple[ProcessRow, ...]
    funnel: tuple[FunnelRow, ...]
