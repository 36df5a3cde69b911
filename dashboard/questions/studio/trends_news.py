"""Which moves of the figures are news of a span of time: those that began in it, or in the period next to it."""

import numpy as np

from dashboard.questions.selection.calendar import period_of
from dashboard.questions.selection.spans import Span
from dashboard.questions.studio.answers_trends import SignalRow, Trends


def news(answer: Trends, span: Span) -> tuple[SignalRow, ...]:
    """The signals whose first period touches the span or stands right before or after it; no other is news.

    A step within its own base is never a signal: dates after the base alone are tried.
    """
    first, last = _number(span.first, answer.every), _number(span.last, answer.every)
    return tuple(row for row in answer.signals if first - 1 <= _number(row.period_from, answer.every) <= last + 1)


def _number(day: object, every: str) -> int:
    return int(period_of(np.array([day], "datetime64[D]"), every)[0])
