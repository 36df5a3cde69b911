"""The Studio page: asks `studio` and `trends`, shows both answers, and what changed since the reader's last look."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dash import ClientsideFunction, Dash, Input, Output, State

from dashboard.components import ids as shell
from dashboard.components.address import View, read_view
from dashboard.components.faults import answering_beside
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import read_text
from dashboard.pages.studio import ids
from dashboard.pages.studio.layout import NAME, QUESTION, answered, layout
from dashboard.pages.studio.since import since
from dashboard.questions.data.answers_rig import Rig
from dashboard.questions.door.registry import by_period
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_studio import Studio
from dashboard.questions.studio.answers_trends import Trends
from shared.errors import NotReleasedError, StatisticsError
from shared.rig.findings import RigFinding

TEXT = read_text(Path(__file__).with_name("text.md"))


def places(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        every = view.page_words.get("every")
        trends = _trends(desk, view.selection, every)
        return answered(desk, view, _studio(desk, view.selection), trends, _rig(desk, view.selection), TEXT, theme)

    return {ids.ANSWER: show}


def register(app: Dash, desk: Desk) -> None:
    def compare(kept: Any, search: str | None) -> Any:
        selection = read_view(search).selection
        return since(selection, _studio(desk, selection), kept)

    app.clientside_callback(ClientsideFunction("fitledger_looks", "read"), Output(ids.KEPT, "data"), Input(shell.VIEW, "data"))
    app.callback(Output(ids.SINCE, "children"), Input(ids.KEPT, "data"), State(shell.VIEW, "data"))(answering_beside(compare))
    # The output is never written: it is what makes the browser run this as soon as the look is on the page.
    app.clientside_callback(
        ClientsideFunction("fitledger_looks", "keep"), Output(ids.LOOK, "storage_type"), Input(ids.LOOK, "data")
    )


def _studio(desk: Desk, selection: Selection) -> Studio:
    return cast(Studio, desk.asker.ask("studio", selection))


def _trends(desk: Desk, selection: Selection, every: str | None) -> Trends | StatisticsError:
    """The control charts over all dates, so that a quarter stands beside the time before it; or why there are none."""
    asked = replace(selection, date_from=None, date_to=None, split=None)
    try:
        return cast(Trends, desk.asker.ask("trends", asked, **by_period("trends", every)))
    except StatisticsError as refused:
        return refused


def _rig(desk: Desk, selection: Selection) -> tuple[RigFinding, ...]:
    """What is found of the rigs of these fits; nothing where that may not be told."""
    try:
        return cast(Rig, desk.asker.ask("rig", replace(selection, split=None))).findings
    except (StatisticsError, NotReleasedError):
        return ()


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page("", NAME, QUESTION, head, (PageView("", "Answer", layout, shows, register=register),))
