"""The answer: what brings a knee nearer to neutral, by where it stood at arrival, and what to do next."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.notes import headline, selected
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.effects import Empty, estimates_differ
from dashboard.figures.names import plain
from dashboard.figures.nearer import ARRIVALS, alternative, finding, nearer_panel, of_arrival
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.asked import PATH, TEXT, chosen_outcome, lacking_in, nearer
from dashboard.pages.supports.tables import nearer_columns
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.effects.nearer import rows_by_arrival
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.selection import Selection

_ARCHES = ("low", "medium", "high")


def head(desk: Desk) -> Show:
    def show(view: View, _: str | None) -> Any:
        chosen_outcome(view)  # refused where every view tells it
        answer = nearer(desk, view.selection)
        return [selected(answer, riders=answer.n_riders, captures=answer.n_captures), headline(answer.headline)]

    return show


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        return answered(desk, view.selection, nearer(desk, view.selection), theme)

    return {ids.NEARER: show}


def answered(desk: Desk, selection: Selection, answer: Effects, theme: str | None) -> list[Any]:
    """A panel for each arrival direction, how they are read, and what to do next."""
    rows = rows_by_arrival(answer.effects)
    empty = lacking_in(desk)
    return [
        html.Div([_panel(desk, selection, rows, arrival, empty, theme) for arrival in ARRIVALS], className="panels nearer"),
        reading(*paragraphs(TEXT["nearer"], level=number(desk.level, "share"))),
        next_steps(list(_steps(desk, selection, rows))),
    ]


def _panel(
    desk: Desk, selection: Selection, rows: Sequence[EffectRow], arrival: str, empty: Empty, theme: str | None
) -> html.Figure:
    return chart(
        nearer_panel(rows, arrival, empty, theme),
        title=finding(rows, arrival),
        alternative=alternative(rows, arrival, empty),
        name=f"nearer-{arrival.replace(' ', '-')}",
        level=2,
        table=table(
            f"Change in the distance from neutral, knees that came {arrival}",
            nearer_columns(),
            of_arrival(rows, arrival),
            row_key="support",
        ),
    )


def _steps(desk: Desk, selection: Selection, rows: Sequence[EffectRow]) -> Iterator[NextStep]:
    """The same for one arch, or for every arch again; and how the two estimates stand where they differ."""

    def page(asked: Selection, path: str = PATH) -> str:
        return desk.addresses.page(path, asked.query())

    for arch in _ARCHES:
        if selection.arch_height != (arch,):
            yield NextStep(f"Only {plain(arch)} arches", page(replace(selection, arch_height=(arch,))))
    if selection.arch_height:
        yield NextStep("Every arch", page(replace(selection, arch_height=())))
    if n_apart := sum(estimates_differ(row) for row in rows):
        words = "bars span two estimates that differ"
        yield NextStep(words, page(selection, f"{PATH}/how-far-to-trust-it"), n_apart)


VIEW = PageView("", "Answer", lambda: [ids.NEARER], shows)
