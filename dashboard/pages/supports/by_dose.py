"""By dose: shims in all and mm of stance, for one outcome."""

from collections.abc import Sequence
from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.dose import DOSED, alternative, dose_chart, finding, line_test, of_support
from dashboard.figures.names import OUTCOMES, unit_words
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.asked import TEXT, chosen_outcome, effects, outcome_links
from dashboard.pages.supports.tables import dose_columns
from dashboard.questions.effects.answers_effects import DoseRow, Effects
from dashboard.questions.selection.selection import Selection


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view)
        return doses(desk, view.selection, effects(desk, view.selection, "dose", outcomes=(outcome,)), outcome, theme)

    return {ids.BY_DOSE: show}


def doses(desk: Desk, selection: Selection, answer: Effects, outcome: str, theme: str | None) -> list[Any]:
    """The choice of an outcome, and one chart over its table for each support that comes in doses."""
    lines = {support: of_support(answer.dose, outcome, support) for support in DOSED}
    lines = {support: rows for support, rows in lines.items() if rows}
    choice = outcome_links(desk, selection, VIEW.path, outcome)
    if not lines:
        return [choice, html.P("No shim and no stance was changed often enough to tell its doses apart.")]
    level = number(desk.level, "share")
    tests = [f"{DOSED[support]}: {words}" for support, rows in lines.items() if (words := line_test(rows))]
    return [
        choice,
        html.Div(
            [html.Div(_chart(desk, selection, rows, outcome, theme)) for rows in lines.values()], className="panels is-double"
        ),
        reading(*paragraphs(TEXT["dose"])),
        html.Details(
            [
                html.Summary("How the bars and the straight line are computed"),
                *paragraphs(TEXT["dose_more"], level=level),
                html.Ul([html.Li(words) for words in tests], className="families"),
            ],
            className="more",
        ),
    ]


def _chart(desk: Desk, selection: Selection, rows: Sequence[DoseRow], outcome: str, theme: str | None) -> html.Figure:
    support = rows[0].support
    return chart(
        dose_chart(rows, outcome, support, theme),
        title=finding(rows, outcome, support),
        alternative=alternative(rows, outcome, support),
        name=f"{support}-dose",
        level=2,
        table=table(
            f"{DOSED[support]}: {OUTCOMES[outcome].name.lower()} in {unit_words(outcome)}",
            dose_columns(number(desk.level, "share")),
            rows,
        ),
    )


VIEW = PageView("by-dose", "By dose", lambda: [ids.BY_DOSE], shows)
