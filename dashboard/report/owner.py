"""The report's first section: the owner's question answered in sentences, with the figures of this and earlier periods."""

from collections.abc import Callable
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.notes import headline
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import day, interval, number
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import PeriodChangeRow, PeriodRow, Periods
from shared.errors import StatisticsError

# The sentence of each of these answers stands in the first section.
_TOLD: Final = ("effects", "asymmetry", "returns", "ratings", "agreement", "rig", "data")


def owner_page(desk: Desk, selection: Selection, told: Callable[[str], None]) -> list[Any]:
    """What was found, sentence by sentence, and how it compares with earlier periods."""
    studio: Any = desk.asker.ask("studio", selection)
    # The answer on returns begins with the studio's own figure of it.
    figures = [figure.words for figure in studio.figures if figure.figure != "return_rate"]
    sentences = figures + [_sentence(desk, name, selection, told) for name in _TOLD]
    return [
        headline(studio.headline),
        html.Ul([html.Li(words) for words in dict.fromkeys(sentences) if words != studio.headline], className="sentences"),
        *_periods(desk, selection),
    ]


def _sentence(desk: Desk, question: str, selection: Selection, tell_step: Callable[[str], None]) -> str:
    tell_step(question)
    try:
        answer: Any = desk.asker.ask(question, selection)
    except StatisticsError as refusal:
        return str(refusal)
    # The cover says once what is selected.
    words: str = answer.headline.removeprefix(f"In {answer.selection_words}: ")
    return words[:1].upper() + words[1:]


def _periods(desk: Desk, selection: Selection) -> list[Any]:
    if not (selection.date_from and selection.date_to):
        return [reading(html.P("Name a first and a last day, and this page compares the period with earlier ones."))]
    try:
        answer: Any = desk.asker.ask("periods", selection)
    except StatisticsError as refusal:
        return [reading(html.P(str(refusal)))]
    return [
        html.H2("Beside earlier periods", className="section-title"),
        html.P(answer.headline),
        table(_caption(answer), _COLUMNS, _comparison_rows(answer)),
        reading(
            html.P(
                f"Every interval is at {number(desk.level, 'share')}. A difference is called clear when its interval leaves "
                "out zero and chance alone would hardly bring one as clear among all of them. A fit whose window for a "
                "follow-up is open is not counted, so that the return rate of a "
                "recent period rests on its older fits."
            )
        ),
    ]


def _caption(answer: Periods) -> str:
    """The three periods by their dates."""
    first = {row.which: f"{day(row.date_from)} to {day(row.date_to)}" for row in answer.periods}
    return f"This period, {first['this']}, beside {first['before']} and {first['year_before']}"


_COLUMNS: Final = (
    Column("Figure", lambda row: FIGURES[row["this"].figure]),
    Column("This period", lambda row: _figure(row["this"]), numeric=True),
    Column("Before", lambda row: _figure(row["before"]), numeric=True),
    Column("Difference", lambda row: _difference(row["less before"]), numeric=True),
    Column("A year before", lambda row: _figure(row["year_before"]), numeric=True),
    Column("Difference", lambda row: _difference(row["less year_before"]), numeric=True),
)


def _comparison_rows(answer: Periods) -> list[dict[str, Any]]:
    figures = dict.fromkeys(row.figure for row in answer.periods)
    return [
        {row.which: row for row in answer.periods if row.figure == figure}
        | {f"less {row.against}": row for row in answer.changes if row.figure == figure}
        for figure in figures
    ]


def _figure(row: PeriodRow) -> list[Any]:
    if row.estimate is None:
        return ["not enough yet", html.Br(), html.Small(f"n = {row.n:,}")]
    return [
        number(row.estimate, row.unit),
        html.Br(),
        html.Small(interval(row.low, row.high, row.unit)),
        html.Br(),
        html.Small(f"n = {row.n:,}"),
    ]


def _difference(row: PeriodChangeRow) -> list[Any] | str:
    if row.difference is None:
        return "not enough yet"
    written = [_points(value, row.unit) for value in (row.difference, row.low, row.high)]
    return [f"{written[0]} points", html.Br(), html.Small(f"{written[1]} to {written[2]}"), html.Br(), html.Small(row.told)]


def _points(value: float | None, unit: str) -> str:
    """A difference of shares in points of a hundred, one of ratings in points of ten."""
    return spoken(100 * (value or 0), 0) if unit == "share" else spoken(value or 0, 1)
