"""Trends written by hand: 15 months of the four headline figures, with a gap, a few, a signal of each rule and a note."""

from datetime import date

from dashboard.questions.studio.answers_trends import BesideRow, ChartRow, NoteRow, SignalRow, TrendRow, Trends
from tests.unit.made_answers import FIGURES, SHARED

MONTHS = tuple(date(2025 + (month - 1) // 12, (month - 1) % 12 + 1, 1) for month in range(4, 19))
# Which months hold which signals, by figure.
SIGNALS = {
    "knees_better": {13: "outside_limits", 14: "one_side,outside_limits"},
    "side_difference_left": {11: "steady"},
}


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
            _signal("knees_better", "outside_limits", "above", 13, 14),
            _signal("knees_better", "one_side", "above", 7, 14),
            _signal("side_difference_left", "steady", "falling", 6, 11),
        ),
        beside=(
            BesideRow(
                "knees_better", "outside_limits", MONTHS[13], "first_fits", "share", 0.7, 0.6, 0.8, 0.5, 0.4, 0.6,
                "50 % (40 to 60 %) of fits were first fits, 70 % (60 to 80 %) in the base period.",
            ),
        ),
        notes=(NoteRow(date(2025, 11, 3), date(2025, 11, 1), "new markers"),),
    )  # fmt: skip


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
        signals=SIGNALS.get(figure.figure, {}).get(at, ""),
        note="new markers" if at == 7 else "",
    )


def _chart(figure: object) -> ChartRow:
    n_signals = {"knees_better": 2, "side_difference_left": 1}.get(figure.figure, 0)
    words = f"{figure.figure}: {n_signals} signals. The centre is what was usual in 6 months. Each month is compared with it."
    return ChartRow(
        figure.figure, figure.unit, "p", MONTHS[0], MONTHS[5], 6, figure.estimate, 1.0, n_signals, words
    )  # fmt: skip


def _signal(figure: str, rule: str, direction: str, first: int, last: int) -> SignalRow:
    words = f"{figure}: a made sentence on this signal."
    return SignalRow(figure, "share", rule, direction, MONTHS[first], MONTHS[last], last - first + 1, 0.7, 0.6, words)
