"""Who comes back, and whose fit holds, by the chosen group."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, Show
from dashboard.components.table import table
from dashboard.components.text import unbroken
from dashboard.figures import returns_curve
from dashboard.figures.names import plain
from dashboard.pages.returns import ids, tables
from dashboard.pages.returns.asked import PATH, Asked
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.selection.numbers import spoken_p
from dashboard.questions.selection.scope import counted

# Offered where nothing is chosen to split by.
OFFERED: Final = ("arch_height", "foot_type", "riding", "visit_kind", "age_band")


def layout() -> list[Any]:
    return [ids.GROUPS]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme, by_group=True)
        answer = asked.returns()
        split = asked.selection.split
        curves = returns_curve.curves_of(answer.curve, answer.at_risk, asked.settings.minimum.rows_shown)
        return [
            *([_curves(asked, answer, curves)] if split else [_offered(asked)]),
            table(
                "Booked, came back, held" + (f", by {plain(split)}" if split else ", all fits"),
                tables.group_columns(split),
                tables.group_rows(answer.figures),
                row_key="level",
                table_id="returns-by-group",
            ),
            reading(*asked.words("rates", level=asked.level, **asked.days)),
            method(answer, [*asked.words("method", **asked.days), *(html.P(unbroken(words)) for words in _tests(answer))]),
            data_note(answer),
        ]

    return {ids.GROUPS: show}


def _offered(asked: Asked) -> html.Div:
    """Ways to choose, where nothing is chosen."""
    links = [
        html.Li(
            dcc.Link(
                f"By {plain(split)}",
                href=asked.desk.addresses.page(f"{PATH}/by-group", replace(asked.selection, split=split).query()),
                className="choice",
            )
        )
        for split in OFFERED
    ]
    return html.Div(
        [html.P("Choose what to split by, here or in the filter bar."), html.Ul(links, className="choices")],
        className="offered",
    )


def _curves(asked: Asked, answer: Returns, curves: Sequence[returns_curve.Curve]) -> html.Div:
    split = asked.selection.split
    has_feet = any(curve.level == "feet differ" for curve in curves)
    return html.Div(
        [
            chart(
                returns_curve.curve_figure(curves, asked.theme),
                title=returns_curve.finding(curves, asked.days["days"]),
                alternative=returns_curve.alternative(curves),
                name="curve-by-group",
                level=2,
                table=table("Seen again by day", tables.step_columns(split, asked.level), tables.step_rows(curves)),
            ),
            reading(
                *(html.P(row.words, className="compared") for row in answer.comparisons),
                *asked.words("curves"),
                *(asked.words("feet") if has_feet else ()),
            ),
        ],
        className="with-words",
    )


def _tests(answer: Returns) -> list[str]:
    """The statistic behind each comparison of the curves."""
    return [
        f"Log-rank test by {plain(row.split)}: {row.chi_square:.1f} on {counted(row.df, 'degree')} of freedom, "
        f"{spoken_p(row.p_value)}."
        for row in answer.comparisons
        if row.chi_square is not None and row.df is not None and row.p_value is not None
    ]
