"""The answer: how common a side difference is at arrival and at departure, two dots a row, and what to do next."""

from collections.abc import Iterator
from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.notes import headline, selected
from dashboard.components.page import Desk, PageView, Show, place
from dashboard.components.table import table
from dashboard.figures.names import plain
from dashboard.figures.symmetry_panels import Panel, panel_alternative, panel_figure, panel_finding, panels
from dashboard.pages.symmetry import ids, tables
from dashboard.pages.symmetry.asked import PATH, Asked, ask, change_of, is_split, overall, quantities
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry, PrevalenceRow
from dashboard.questions.symmetry.asymmetry_rows import headline_of


def head(desk: Desk) -> Show:
    def show(view: View, theme: str | None) -> Any:
        asked, answer = ask(desk, view, theme)
        return [
            selected(answer, riders=answer.n_riders),
            headline(headline_of(overall(asked, answer), change_of(asked, answer))),
        ]

    return show


def answered(asked: Asked, answer: Asymmetry) -> html.Div:
    """A panel for each arch, or as the levels of another split need, with their numbers folded under each."""
    rows = [row for row in answer.prevalence if row.quantity == asked.quantity]
    arch_panels = panels(rows, asked.quantity)
    return html.Div(
        [_panel(asked, answer, panel, rows, at) for at, panel in enumerate(arch_panels)],
        className=f"panels of-{len(arch_panels)}",
    )


def _panel(asked: Asked, answer: Asymmetry, panel: Panel, rows: list[PrevalenceRow], at: int) -> html.Figure:
    split = asked.selection.split or ""
    shown = [row for row in rows if row in [one for _, moments in panel.levels for one in moments.values()]]
    of = f", {plain(panel.of)}" if panel.of else f", by {plain(split)}" if is_split(answer) else ""
    numbers = table(
        f"Riders with a side difference in {asked.quantity}{of}",
        tables.prevalence_columns(split if is_split(answer) else "riders", asked.level),
        tables.level_rows(shown, asked.quantity),
        row_key="level",
        table_id=f"{ids.LEVELS}-table-{at + 1}",
    )
    return chart(
        panel_figure(panel, rows, asked.theme),
        title=panel_finding(panel),
        alternative=panel_alternative(panel, asked.quantity),
        name=f"prevalence-{at + 1}",
        level=2,
        table=numbers,
    )


def beside(asked: Asked, answer: Asymmetry) -> list[Any]:
    """How the dots are read, the choice of a quantity, and what to do next."""
    return [
        reading(_moments_key(), *asked.words("reading", level=asked.level), html.P(answer.cautions[0])),
        html.Div([next_steps(list(_steps(asked, answer))), quantities(asked)], className="steps-line"),
    ]


def _steps(asked: Asked, answer: Asymmetry) -> Iterator[NextStep]:
    """Who left with a side difference, and what became of it in the same riders."""
    change, query = change_of(asked, answer), asked.view.query()
    addresses = asked.desk.addresses
    if asked.quantity == "tilt":
        yield NextStep("Riders left with a side difference", addresses.page("riders", query, {"look": "side_difference"}))
    if change.n_new:
        words = "riders left with one they did not come with"
        given = {"outcome": asked.quantity} if asked.quantity != "tilt" else None
        yield NextStep(words, addresses.page(f"{PATH}/what-became-of-it", query, given), change.n_new)


def _moments_key() -> html.Ul:
    marks = {"arrival": "at arrival", "departure": "at departure"}
    return html.Ul(
        [
            html.Li([html.Span(className=f"mark mark-{moment}", **{"aria-hidden": "true"}), words])
            for moment, words in marks.items()
        ],
        className="marks-key",
    )


def shows(desk: Desk) -> dict[str, Show]:
    return {
        ids.LEVELS: lambda view, theme: answered(*ask(desk, view, theme)),
        ids.NEXT: lambda view, theme: beside(*ask(desk, view, theme)),
    }


VIEW = PageView("", "Answer", lambda: [html.Div([place(ids.LEVELS), place(ids.NEXT)], className="dots")], shows, splits=True)
