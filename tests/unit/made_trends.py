"""Trends written by hand: 15 months of the four headline figures, with a gap, a few, two that moved and a note."""

from datetime import date

from dashboard.questions.studio.answers_trends import BesideRow, ChartRow, GoalRow, NoteRow, SignalRow, TrendRow, Trends
from tests.unit.made_answers import FIGURES, SHARED

MONTHS = tuple(date(2025 + (month - 1) // 12, (month - 1) % 12 + 1, 1) for month in range(4, 19))
# From which month on each figure that moved did.
MOVED = {"knees_better": 13, "side_difference_left": 11}


def made_trends() -> Trends:
    return Trends(
        **SHARED,
        n_fits=412,
        n_riders=391,
        every="month",
        headline="2 of 7 figures moved by more than their usual scatter.",
        trend=tuple(_row(figure, at) for figure in FIGURES for at in range(len(MONTHS))),
        charts=tuple(_chart(figure) for figure in FIGURES),
        signals=(
            _signal("knees_better", "higher"),
            _signal("side_difference_left", "lower"),
        ),
        beside=(
            BesideRow(
                "knees_better", "step", MONTHS[13], "first_fits", "share", 0.7, 0.6, 0.8, 0.5, 0.4, 0.6,
                "50 % (40 to 60 %) of fits were first fits, 70 % (60 to 80 %) in the base period.",
            ),
        ),
        notes=(NoteRow(date(2025, 11, 3), date(2025, 11, 1), "new markers"),),
    )  # fmt: skip


def made_goal(figure: str, goal: float, verdict: str) -> GoalRow:
    unit = next(row.unit for row in FIGURES if row.figure == figure)
    words = f"{figure}: a made sentence on this goal."
    return GoalRow(figure, unit, goal, MONTHS[3], "olga", "2025-07-02", verdict, MONTHS[0], 12, 0.6, 0.5, 0.7, words)


def _row(figure: object, at: int) -> TrendRow:
    few = at in {8, 9}
    estimate = None if few else figure.estimate * (0.9 + 0.02 * at)
    half = 0.2 * figure.estimate
    return TrendRow(
        figure=figure.figure,
        unit=figure.unit,
        counted=figure.counted,
        period=MONTHS[at],
        n={8: 0, 9: 4}.get(at, 40),
        estimate=estimate,
        centre=figure.estimate,
        limit_low=None if few else figure.estimate - half,
        limit_high=None if few else figure.estimate + half,
        in_base=at < 6,
        is_few=few,
        is_partial=at == len(MONTHS) - 1,
        signals="step" if at >= MOVED.get(figure.figure, len(MONTHS)) else "",
        note="new markers" if at == 7 else "",
    )


def _chart(figure: object) -> ChartRow:
    n_signals = int(figure.figure in MOVED)
    told = "moved" if n_signals else "not found to move"
    words = f"{figure.figure}: {told}. The centre is what was usual in 6 months. Each month is compared with it."
    return ChartRow(
        figure.figure, figure.unit, "p", MONTHS[0], MONTHS[5], 6, figure.estimate, 1.0, n_signals, words
    )  # fmt: skip


def _signal(figure: str, direction: str) -> SignalRow:
    words, first = f"{figure}: a made sentence on this move.", MOVED[figure]
    return SignalRow(
        figure, "share", "step", direction, MONTHS[first], MONTHS[-1], len(MONTHS) - first, 0.7, 0.61, 0.6, words
    )  # fmt: skip
