"""The answer of Returns: what became of the fits, the curve of returns, and what to do next."""

from dataclasses import replace
from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.notes import headline, selected
from dashboard.components.page import Desk, Show
from dashboard.components.table import table
from dashboard.figures import returns, returns_curve
from dashboard.pages.returns import ids, tables
from dashboard.pages.returns.asked import Asked
from dashboard.questions.returns.answers_returns import Returns

# The height of the curve's plot, so that the answer stands on one screen.
_PLOT_PX = 110


def head(desk: Desk) -> Show:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme)
        if desk.asker.reader().calls_only:
            # The list below has the sentence; of nothing else anything is told.
            return [selected(asked.calls())]
        answer = asked.returns()
        return [selected(answer, riders=answer.n_riders), headline(answer.headline)]

    return show


def layout() -> list[Any]:
    return [ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme)
        answer = asked.returns()
        side = html.Div([_steps(asked, answer), reading(*asked.words("intervals", level=asked.level))])
        return html.Div([_held(asked, answer), _curve(asked, answer), side], className="returns-answer")

    return {ids.ANSWER: show}


def _held(asked: Asked, answer: Returns) -> html.Figure:
    return chart(
        returns.held_figure(answer.held, asked.theme),
        title=returns.held_finding(answer.held),
        alternative=returns.held_alternative(answer.held),
        name="held",
        level=2,
        table=table("What became of the fits", tables.held_columns(asked.level), answer.held, row_key="became"),
    )


def _curve(asked: Asked, answer: Returns) -> html.Figure:
    curves = returns_curve.curves_of(answer.curve, answer.at_risk, asked.settings.minimum.rows_shown)
    columns = tables.step_columns(None, asked.level)
    return chart(
        returns_curve.curve_figure(curves, asked.theme, plot_px=_PLOT_PX),
        title=returns_curve.finding(curves, asked.days["days"]),
        alternative=returns_curve.alternative(curves),
        name="curve",
        level=2,
        table=table("Seen again by day", columns, tables.step_rows(curves), table_id=ids.STEPS),
    )


def _steps(asked: Asked, answer: Returns) -> html.Section:
    desk, selection = asked.desk, replace(asked.selection, rider=())
    calls = asked.calls()
    lost = next(row for row in answer.held if row.became == "not_held")
    steps = [
        NextStep("calls today" if len(calls.calls) != 1 else "call today", asked.address("calls"), len(calls.calls)),
        NextStep(
            "fits did not hold: their riders" if lost.n != 1 else "fit did not hold: its rider",
            desk.addresses.page("riders/all", selection.query(), {"look": "not_held"}),
            lost.n,
        ),
        NextStep("Who comes back, by group", asked.address("by-group")),
    ]
    return next_steps([step for step in steps if step.count != 0])
