"""What stood beside each move, as one table: a move a row, under the base that it is held against."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from dashboard.components import html
from dashboard.components.table import Column, table
from dashboard.figures.control import span_words
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import NOTHING
from dashboard.pages.studio.tables import moved_words
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.studio.answers_trends import SignalRow, Trends
from shared.units import UNITS

_HEADINGS: Final = {
    "tilt_arrival": "From neutral at arrival",
    "sway_arrival": "Sway at arrival",
    "first_fits": "First fits",
    "typical_error_tilt": "Typical error of tilt",
    "fitter_mix": "Fits with other fitters",
}


@dataclass(frozen=True)
class _BesideRow:
    """One row: its name, and for each figure the value with the ends of its interval."""

    name: str
    signal: str
    values: dict[str, tuple[str, float | None, float | None, float | None]]


def beside_table(answer: Trends, signals: Sequence[SignalRow]) -> html.Div:
    """Makes the table of what stood beside each move; the base comes first, and once where all signals share it."""
    columns = [
        Column("Figure", lambda row: row.name),
        Column("Moved", lambda row: row.signal, wide=True),
        *(Column(heading, partial(_cell, kind), numeric=True) for kind, heading in _HEADINGS.items()),
    ]
    return table("What stood beside each move", columns, list(_beside_rows(answer, signals)), table_id="beside")


def _beside_rows(answer: Trends, signals: Sequence[SignalRow]) -> Iterator[_BesideRow]:
    base: dict[str, Any] = {}
    for signal in signals:
        of_signal = (signal.figure, signal.rule, signal.period_from)
        own = [row for row in answer.beside if (row.figure, row.rule, row.period_from) == of_signal]
        if not own:
            continue
        then = {row.beside: (row.unit, row.base, row.base_low, row.base_high) for row in own if row.beside != "fitter_mix"}
        if then != base:
            yield _BesideRow("The base", "what the moves below are held against", then)
            base = then
        said = f"{moved_words(signal)}, {span_words(signal, answer.every)}"
        here = {row.beside: (row.unit, row.here, row.here_low, row.here_high) for row in own}
        yield _BesideRow(FIGURES[signal.figure], said, here)


def _cell(kind: str, row: _BesideRow) -> Any:
    if kind not in row.values:
        return NOTHING
    unit, value, low, high = row.values[kind]
    if value is None:
        return "not enough yet"
    is_share = unit == "share"
    value_words = spoken_percent(value) if is_share else spoken(value, 2, UNITS[unit].sign)
    if low is None or high is None:
        return value_words
    ends = spoken_percents(low, high) if is_share else f"{spoken(low, 2)} to {spoken(high, 2)}"
    return [value_words, html.Br(), html.Small(ends)]
