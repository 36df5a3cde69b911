"""The frozen answer of the question how much a knee differs from itself."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import Answer


@dataclass(frozen=True)
class NoiseRow:
    """Typical error and smallest real change (MDC95) of one outcome; in `unit`.

    known_by: repeats (captures with nothing changed), assumed (a setting of the studio), model (the residual of the effects,
    which stands in for one and judges no fit), or none.
    """

    outcome: str
    unit: str
    n_pairs: int
    n_riders: int
    typical_error: float | None
    typical_error_low: float | None
    typical_error_high: float | None
    mdc95: float | None
    mean_drift: float | None
    mean_drift_low: float | None
    mean_drift_high: float | None
    limit_low: float | None
    limit_high: float | None
    words: str
    known_by: str = "none"


@dataclass(frozen=True)
class NoiseGroupRow:
    """Typical error and smallest real change of one outcome at one level of side, fitter, studio or quarter; in `unit`.

    Of a fitter: judged_by, the smallest real change that their fits are judged by; ratio of their typical error to the others',
    with interval and q-value; scatters_more: whether that is told.
    """

    group: str
    level: str
    outcome: str
    unit: str
    n_pairs: int
    n_riders: int
    typical_error: float | None
    typical_error_low: float | None
    typical_error_high: float | None
    mdc95: float | None
    mean_drift: float | None
    words: str
    judged_by: float | None = None
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    q_value: float | None = None
    scatters_more: bool = False


@dataclass(frozen=True)
class Noise(Answer):
    """How much a knee differs from itself when nothing was changed."""

    rows_name: ClassVar[str] = "noise"
    headline: str
    noise: tuple[NoiseRow, ...]
    groups: tuple[NoiseGroupRow, ...] = ()
