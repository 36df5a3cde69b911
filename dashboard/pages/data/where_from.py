"""Where figures come from: every question and the tables that it rests on, drawn, with one question's lines strong."""

from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.choices import choice, choices
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.lineage import alternative, finding, lineage_figure
from dashboard.figures.names import plain, table_name
from dashboard.lineage.graph import Lineage, graph_of
from dashboard.pages.data import ids
from dashboard.pages.data.layout import PATH, WHERE_FROM, Passages
from dashboard.pages.data.sections import WHOLE
from dashboard.questions.selection.selection import Selection

TRACED: Final = "traced"
READS: Final = [
    Column("Question", lambda row: plain(row.question).capitalize()),
    Column("Reads", lambda row: ", ".join(map(table_name, row.reads)), wide=True),
    Column("Named SQL", lambda row: ", ".join(file.removesuffix(".sql") for file in row.files), wide=True),
]
# What Studio, the first page, tells its headline figures by.
_FIRST: Final = "periods"


def where_from(desk: Desk, selection: Selection, words: dict[str, str], text: Passages, theme: str | None) -> list[Any]:
    """The drawing, with what each question reads folded under it."""
    graph = graph_of(desk.asker.ran())
    known = [one.question for one in graph.asked]
    question = next(name for name in (words.get(TRACED), _FIRST, *known) if name in known)
    drawn = chart(
        lineage_figure(graph, question, theme),
        title=finding(graph, question),
        alternative=alternative(graph, question),
        name="where-from",
        level=2,
        table=table("What each question reads", READS, graph.asked, row_key="question", table_id=ids.READS_TABLE),
    )
    return [
        html.P(WHOLE, className="concerns"),
        _others(desk, selection, graph, question),
        html.Div(drawn, className="card-alone"),
        reading(*paragraphs(text["where_from"])),
    ]


def _others(desk: Desk, selection: Selection, graph: Lineage, question: str) -> html.Nav:
    """The questions, each a way to its own lines."""

    def way(name: str) -> dcc.Link:
        address = desk.addresses.page(f"{PATH}/{WHERE_FROM}", selection.query(), {TRACED: name})
        return choice(plain(name).capitalize(), address, is_shown=name == question)

    return choices("Question", "traced", (way(one.question) for one in graph.asked))
