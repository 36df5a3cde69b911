"""What became of a side difference in the same riders, over all and by level."""

from typing import Any

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import table
from dashboard.components.text import unbroken
from dashboard.figures import symmetry_flow
from dashboard.figures.names import plain
from dashboard.pages.symmetry import ids, tables
from dashboard.pages.symmetry.asked import Asked, ask, change_of, quantities
from dashboard.questions.selection.numbers import spoken_chance
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry, ChangeRow

PATH = "what-became-of-it"


def became(asked: Asked, answer: Asymmetry) -> list[Any]:
    """The four fates of all riders as a chart, by level folded under it, and how far chance and noise reach."""
    change, split = change_of(asked, answer), asked.selection.split or ""
    repeat = next(row for row in answer.repeats if row.quantity == asked.quantity)
    by_level = table(
        f"Side difference in {asked.quantity} at both ends, by {plain(split)}",
        tables.by_split(split, asked.level),
        [row for row in answer.change if row.finding == change.finding],
        row_key="level",
        table_id=f"{ids.CHANGES}-table",
    )
    return [
        quantities(asked, PATH),
        html.Div(
            [
                chart(
                    symmetry_flow.flow_figure(change, asked.theme),
                    title=symmetry_flow.finding(change),
                    alternative=symmetry_flow.alternative(change),
                    name="flow",
                    level=2,
                    table=by_level,
                ),
                reading(
                    *asked.words("flow"),
                    *_chance(asked, change),
                    html.P(unbroken(repeat.words)),
                    *(html.P(words) for words in answer.cautions[1:]),
                ),
            ],
            className="with-words",
        ),
    ]


def _chance(asked: Asked, change: ChangeRow) -> list[html.P]:
    if change.p_value is None:
        return [html.P(unbroken(f"{change.words[:1].upper()}{change.words[1:]}"))]
    if not change.n_resolved + change.n_new:
        return asked.words("chance-none")
    counts = {"resolved": f"{change.n_resolved:,}", "new": f"{change.n_new:,}"}
    return asked.words("chance", **counts, chance=spoken_chance(change.p_value))


def shows(desk: Desk) -> dict[str, Show]:
    return {ids.CHANGES: lambda view, theme: became(*ask(desk, view, theme))}


VIEW = PageView(PATH, "What became of it", lambda: [ids.CHANGES], shows, splits=True)
