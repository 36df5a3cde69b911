"""Moves of the figures that are news of a span, in words with the limits between which a figure would else lie."""

from dashboard.figures.theme import interval
from dashboard.questions.studio.answers_trends import SignalRow, Trends
from dashboard.questions.studio.headline_figures import judged


def way_of(row: SignalRow) -> str:
    """better or worse, for a move that is told."""
    return judged(row.figure, 1 if row.direction == "higher" else -1)


def move_words(trends: Trends, row: SignalRow) -> str:
    """As in: Fits seen again in time: 67 % from about June 2025 on, 39 % before. Usual: 4 to 72 % in a month."""
    limits = [one for one in trends.trend if one.figure == row.figure and one.limit_low is not None]
    if not limits:
        return row.words
    return f"{row.words} Usual: {interval(limits[-1].limit_low, limits[-1].limit_high, row.unit)} in a {trends.every}."
