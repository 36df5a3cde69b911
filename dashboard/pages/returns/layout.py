"""What the Returns page shows: the curve of returns, the rates, what is overdue, what lasted, what riders said."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, headline, method, selected
from dashboard.components.number import estimate
from dashboard.components.page import Desk
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures import returns, returns_curve
from dashboard.figures.names import plain
from dashboard.figures.theme import day, number
from dashboard.pages.returns import ids, tables
from dashboard.pages.returns.felt import felt
from dashboard.questions.returns.answers_returns import ReturnFigure, Returns
from dashboard.questions.returns.returns import overdue_words
from dashboard.questions.selection.numbers import spoken_p
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_ratings import Ratings
from shared.settings import Settings

NAME = "Returns"
QUESTION = "Do riders come back, and does the fit hold?"
PATH = "returns"
# How many overdue bookings the page lists; the CSV holds them all.
OVERDUE_SHOWN: Final = 20
RATES: Final = {
    "booked_same_day": "Booked on the day",
    "booked": "Booked within {booked} days",
    "return_rate": "Came back within {days} days",
}


@dataclass(frozen=True)
class Asked:
    """What is to be shown: the selection, the page's words, the theme."""

    desk: Desk
    selection: Selection
    text: dict[str, tuple[str, ...]]
    theme: str | None

    @property
    def level(self) -> str:
        return number(self.desk.level, "share")

    @property
    def settings(self) -> Settings:
        return self.desk.asker.settings

    @property
    def days(self) -> dict[str, int]:
        window = self.settings.follow_up
        return {"days": window.returned_within_days, "booked": window.booked_within_days}

    def csv(self, rows: str) -> str:
        return self.desk.csv("returns", rows, self.selection)

    def words(self, passage: str, **values: object) -> list[html.P]:
        return paragraphs(self.text[passage], **values)


def layout() -> list[Any]:
    return []


def answered(asked: Asked, answer: Returns, ratings: Ratings) -> list[Any]:
    """Headline, the curve, the rates, then what is overdue and what lasted."""
    curves = returns_curve.curves_of(answer.curve, answer.at_risk, asked.settings.minimum.rows_shown)
    return [
        selected(answer, riders=answer.n_riders),
        headline(answer.headline),
        _curve(asked, answer, curves),
        html.Div([_rate(asked, figure) for figure in _overall(answer.figures)], className="cards rates"),
        table(
            "Booking and return rate" + (", by group" if asked.selection.split else ""),
            tables.group_columns(asked.selection.split, asked.level),
            tables.group_rows(answer.figures),
            row_key="level",
            csv=asked.csv("figures"),
        ),
        reading(*asked.words("rates", **asked.days)),
        _steps(asked, curves),
        *_overdue(asked, answer),
        *_lasting(asked, answer),
        *felt(asked.desk, replace(asked.selection, split=None), ratings, asked.text),
        method(answer, [*asked.words("method", **asked.days), *(html.P(unbroken(words)) for words in _tests(answer))]),
        data_note(answer),
    ]


def _tests(answer: Returns) -> list[str]:
    """The statistic behind each comparison of the curves."""
    return [
        f"Log-rank test by {plain(row.split)}: {row.chi_square:.1f} on {counted(row.df, 'degree')} of freedom, "
        f"{spoken_p(row.p_value)}."
        for row in answer.comparisons
        if row.chi_square is not None and row.df is not None and row.p_value is not None
    ]


def _curve(asked: Asked, answer: Returns, curves: Sequence[returns_curve.Curve]) -> html.Div:
    fewest = asked.settings.minimum.rows_shown
    has_feet = any(curve.level == "feet differ" for curve in curves)
    return html.Div(
        [
            chart(
                returns_curve.curve_figure(curves, asked.theme),
                title=returns_curve.finding(curves, asked.days["days"]),
                alternative=returns_curve.alternative(curves),
                name="curve",
                level=2,
                table_id=ids.STEPS,
            ),
            reading(
                *(html.P(row.words, className="compared") for row in answer.comparisons),
                *asked.words("curves" if len(curves) > 1 else "curve", level=asked.level),
                *(asked.words("feet") if has_feet else ()),
                *asked.words("at-risk", fewest=fewest),
                *asked.words("as-of", as_of=day(answer.as_of), **asked.days),
            ),
        ],
        className="with-words",
    )


def _overall(figures: Sequence[ReturnFigure]) -> list[ReturnFigure]:
    by_figure = {row.figure: row for row in figures if row.level is None}
    return [by_figure[figure] for figure in RATES]


def _rate(asked: Asked, figure: ReturnFigure) -> html.Div:
    over = "fits whose window has closed" if figure.figure == "return_rate" else "fits asked to book"
    return html.Div(
        [
            html.H2(RATES[figure.figure].format(**asked.days), className="card-title"),
            estimate(figure.figure, figure.estimate, figure.low, figure.high, figure.unit, level=asked.desk.level),
            html.P(f"of {figure.n:,} {over}", className="counted"),
        ],
        className="card",
    )


def _steps(asked: Asked, curves: Sequence[returns_curve.Curve]) -> html.Details:
    columns = tables.step_columns(asked.selection.split, asked.level)
    return html.Details(
        [
            html.Summary("The curve in numbers"),
            table("Seen again by day", columns, tables.step_rows(curves), table_id=ids.STEPS, csv=asked.csv("curve")),
            csv_link(asked.csv("at_risk"), "numbers at risk"),
            csv_link(asked.csv("comparisons"), "comparison of the groups"),
        ],
        className="more",
    )


def _overdue(asked: Asked, answer: Returns) -> list[Any]:
    rows, is_later = answer.overdue, is_dated(answer)
    said = overdue_words(rows, answer.as_of or date.min, answer.today)
    heading = html.H2(said.rstrip(".") if is_later else said.partition(".")[0], className="section-title")
    if not rows:
        return [heading]
    longest = rows[:OVERDUE_SHOWN]
    whole = len(longest) == len(rows)
    caption = "Overdue bookings, longest first" if whole else f"The {len(longest)} longest overdue of {len(rows):,} bookings"
    more = [] if whole else [html.P(f"The other {len(rows) - len(longest):,} are in the CSV.")]
    return [
        heading,
        html.Div(
            table(
                caption,
                tables.overdue_columns(answer.as_of, answer.today if is_later else None),
                longest,
                row_key="follow_up_id",
                csv=asked.csv("overdue"),
            ),
            className="short-list",
        ),
        reading(*asked.words("overdue"), *(asked.words("overdue-today") if is_later else ()), *more),
    ]


def is_dated(answer: Returns) -> bool:
    """Whether what is overdue is told for today beside the data's last day."""
    return answer.today is not None and answer.as_of is not None and answer.today > answer.as_of


def _lasting(asked: Asked, answer: Returns) -> list[Any]:
    return [
        html.H2("Does the fit hold?", className="section-title"),
        html.Div(
            [
                chart(
                    returns.lasting_figure(answer.lasting, asked.theme),
                    title=returns.lasting_finding(answer.lasting),
                    alternative=returns.lasting_alternative(answer.lasting),
                    name="lasting",
                    table_id=ids.LASTING,
                ),
                reading(*asked.words("lasting", level=asked.level)),
            ],
            className="with-words",
        ),
        html.Div([_kept_panel(asked, answer), _said_panel(asked, answer)], className="panels is-double kept-and-said"),
        html.Details([html.Summary("What lasted, in numbers"), *_tables(asked, answer)], className="more"),
    ]


def _kept_panel(asked: Asked, answer: Returns) -> html.Div:
    return html.Div(
        [
            chart(
                returns.kept_figure(answer.figures, asked.theme),
                title=returns.kept_finding(answer.figures),
                alternative=returns.kept_alternative(answer.figures),
                name="kept",
                table_id=ids.KEPT,
            ),
            reading(*asked.words("kept", level=asked.level)),
        ]
    )


def _said_panel(asked: Asked, answer: Returns) -> html.Div:
    return html.Div(
        [
            chart(
                returns.said_figure(answer.said, asked.theme),
                title=returns.said_finding(answer.said),
                alternative=returns.said_alternative(answer.said),
                name="said",
                table_id=ids.POINTS,
            ),
            reading(*asked.words("said")),
        ]
    )


def _tables(asked: Asked, answer: Returns) -> list[html.Div]:
    level = asked.level
    return [
        table(
            "Knees found again",
            tables.lasting_columns(level),
            answer.lasting,
            row_key="outcome",
            table_id=ids.LASTING,
            csv=asked.csv("lasting"),
        ),
        table(
            "Setup kept",
            tables.kept_columns(level),
            returns.kept_of(answer.figures),
            table_id=ids.KEPT,
            csv=asked.csv("figures"),
        ),
        table("What riders said", tables.SAID, answer.said, row_key="topic", table_id=ids.POINTS, csv=asked.csv("said")),
    ]
