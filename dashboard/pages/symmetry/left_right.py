"""Left against right: each rider's two knees at both moments."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import csv_link, table
from dashboard.figures import symmetry, symmetry_sides
from dashboard.pages.symmetry import ids, tables
from dashboard.pages.symmetry.asked import Asked, ask, overall, quantities
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry
from dashboard.questions.symmetry.answers_sides import Sides, SidesRow

PATH = "left-against-right"


def beside(asked: Asked, answer: Asymmetry, sides: Sides) -> list[Any]:
    """Each rider's left knee against the right one at arrival and departure, with the counts folded under the first."""
    prevalence, quantity = overall(asked, answer), asked.quantity
    if not sides.sides:
        return [quantities(asked, PATH), html.P(sides.headline)]
    of_quantity = [row for row in sides.sides if row.quantity == quantity]
    n, _ = symmetry_sides.counts(of_quantity, quantity, "arrival")
    size = of_quantity[0].cell_size if of_quantity else 0.0
    marks = asked.words("cells", n=f"{n:,}", size=symmetry.short(size, prevalence.unit)) if size else asked.words("points")
    numbers = table(
        f"Left against right in {quantity}",
        tables.side_columns(),
        tables.side_rows(sides.sides, quantity),
        row_key="which",
        table_id=ids.SIDES_TABLE,
    )
    return [
        quantities(asked, PATH),
        html.Div(
            [
                html.Div(
                    [
                        html.Div(_side(asked, of_quantity, "arrival", prevalence.limit, table=numbers)),
                        html.Div(_side(asked, of_quantity, "departure", prevalence.limit, table_id=ids.SIDES_TABLE)),
                    ],
                    className="panels is-double",
                ),
                reading(*marks, *asked.words("sides", limit=symmetry.limit_words(prevalence))),
            ],
            className="with-words",
        ),
        csv_link(asked.desk.csv("sides", "sides", asked.view), f"left against right in {quantity}"),
    ]


def _side(asked: Asked, rows: Sequence[SidesRow], moment: str, limit: float, **numbers: Any) -> html.Figure:
    return chart(
        symmetry_sides.sides_figure(rows, asked.quantity, moment, limit, asked.theme),
        title=symmetry_sides.finding(rows, asked.quantity, moment),
        alternative=symmetry_sides.alternative(rows, asked.quantity, moment, limit),
        name=f"sides-{moment}",
        level=2,
        **numbers,
    )


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked, asymmetry = ask(desk, view, theme)
        sides = cast(Sides, desk.asker.ask("sides", replace(asked.selection, split=None)))
        return beside(asked, asymmetry, sides)

    return {ids.SIDES: show}


VIEW = PageView(PATH, "Left against right", lambda: [ids.SIDES], shows)
