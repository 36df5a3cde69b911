"""How much hangs on the limit: the share of riders beyond any other one, how large differences are, what noise alone does."""

from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import table
from dashboard.figures import symmetry_curve
from dashboard.pages.symmetry import ids, tables
from dashboard.pages.symmetry.asked import Asked, ask, quantities
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry

PATH = "how-much-hangs-on-the-limit"
PARTS = ("differences", "curve", "repeats")


def limits(asked: Asked, answer: Asymmetry) -> list[Any]:
    """The curve with other limits folded under it, two further tables folded, and the method."""
    curve = table(
        "The share beyond other limits",
        tables.curve(asked.level),
        [row for row in answer.curve if row.quantity == asked.quantity],
        table_id=f"{ids.LIMITS}-table",
    )
    differences = table(
        "Side differences of all selected fits, right less left",
        tables.differences(asked.level),
        answer.differences,
    )
    repeats = table("Captures repeated with nothing changed", tables.repeats(asked.level), answer.repeats)
    return [
        quantities(asked, PATH),
        html.Div(
            [
                chart(
                    symmetry_curve.curve_figure(answer.curve, asked.quantity, asked.theme),
                    title=symmetry_curve.finding(answer.curve, asked.quantity),
                    alternative=symmetry_curve.alternative(answer.curve, asked.quantity),
                    name="curve",
                    level=2,
                    table=curve,
                ),
                reading(*asked.words("curve", level=asked.level)),
            ],
            className="with-words",
        ),
        _folded("How large the differences are", differences),
        _folded("What noise alone does", repeats),
        method(answer, asked.words("method", **asked.limits())),
        data_note(answer),
    ]


def _folded(summary: str, content: html.Div) -> html.Details:
    return html.Details([html.Summary(summary), content], className="more")


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        return limits(*ask(desk, view, theme, PARTS))

    return {ids.LIMITS: show}


VIEW = PageView(PATH, "How much hangs on the limit", lambda: [ids.LIMITS], shows, splits=True)
