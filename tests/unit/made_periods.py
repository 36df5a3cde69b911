"""A period written by hand: June 2026 beside May and June 2025, one figure better, one worse, one unclear, one not there."""

from dataclasses import replace
from datetime import date

from dashboard.questions.selection.spans import Span, span_a_year_before, span_before
from dashboard.questions.studio.answers_periods import KneesRow, PeriodChangeRow, PeriodRow, Periods
from tests.unit.made_answers import SHARED

JUNE = Span(date(2026, 6, 1), date(2026, 6, 30))
SPANS = {"this": JUNE, "before": span_before(JUNE), "year_before": span_a_year_before(JUNE)}
# Unit, what is counted, now, then, the difference with its ends, and what is told.
_MADE = {
    "comfort_gained": ("points", "fit", 1.8, 1.4, (0.4, 0.1, 0.7), "better"),
    "side_difference_left": ("share", "fit", 0.4, 0.2, (0.2, 0.05, 0.35), "worse"),
    "return_rate": ("share", "fit", 0.6, 0.55, (0.05, -0.1, 0.2), "no clear change"),
    "knees_better": ("share", "knee", 0.12, None, (None, None, None), "not enough yet"),
}


def made_periods() -> Periods:
    changes = tuple(
        PeriodChangeRow(figure, against, unit, 50, 48, now, then, *ends, f"{figure} {against}: a made sentence.", judged=judged)
        for figure, (unit, _, now, then, ends, judged) in _MADE.items()
        for against in ("before", "year_before")
    )
    rows = tuple(
        PeriodRow(figure, which, span.first, span.last, unit, counted, 50, now, 0.9 * now, 1.1 * now, 40)
        for figure, (unit, counted, now, *_) in _MADE.items()
        for which, span in SPANS.items()
    )
    knees = tuple(
        KneesRow("this", outcome, 100, n, n / 100, 0.9 * n / 100, 1.1 * n / 100, 40)
        for outcome, n in (("better", 12), ("no_clear_change", 85), ("worse", 3))
    )
    return replace(
        Periods(**SHARED, n_fits=50, n_riders=40, headline="", periods=rows, changes=changes, knees=knees),
        headline="June 2026: comfort gained better, 0.4 points more than in May, 0.1 to 0.7.",
    )
