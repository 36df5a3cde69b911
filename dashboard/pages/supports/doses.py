"""The dose lines: shims in all and mm of stance, for one outcome."""

from collections.abc import Sequence
from typing import Any

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.dose import DOSED, alternative, dose_chart, finding, line_test, of_support
from dashboard.figures.names import OUTCOMES, unit_words
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.tables import dose_columns
from dashboard.questions.effects.answers_effects import DoseRow, Effects
from dashboard.questions.selection.selection import Selection

Text = dict[str, tuple[str, ...]]


def doses(desk: Desk, selection: Selection, answer: Effects, outcome: str, text: Text, theme: str | None) -> list[Any]:
    """One chart a support that comes in doses, and both as a table; empty where there are none."""
    lines = {support: of_support(answer.dose, outcome, support) for support in DOSED}
    lines = {support: rows for support, rows in lines.items() if rows}
    if not lines:
        return []
    level = number(desk.level, "share")
    panels = [
        html.Div(
            chart(
                dose_chart(rows, outcome, support, theme),
                title=finding(rows, outcome, support),
                alternative=alternative(rows, outcome, support),
                name=f"{support}-dose",
                table_id=ids.table_of(f"{support}-dose"),
            )
        )
        for support, rows in lines.items()
    ]
    return [
        html.H2(f"{OUTCOMES[outcome].name} by dose: does twice the dose do twice as much?", className="section-title"),
        html.Div(panels, className="panels is-double dose"),
        reading(*paragraphs(text["dose"], level=level)),
        html.Details(
            [
                html.Summary("The doses in numbers"),
                *(
                    part
                    for support, rows in lines.items()
                    for part in (
                        table(_caption(rows, outcome), dose_columns(level), rows, table_id=ids.table_of(f"{support}-dose")),
                        reading(html.P(line_test(rows))) if line_test(rows) else None,
                    )
                ),
            ],
            className="more",
        ),
        csv_link(desk.csv("effects", "dose", selection), "every outcome and dose"),
    ]


def _caption(rows: Sequence[DoseRow], outcome: str) -> str:
    """Captions the table of one support, as in: Shims in all: tilt in degrees."""
    return f"{DOSED[rows[0].support]}: {OUTCOMES[outcome].name.lower()} in {unit_words(outcome)}"
