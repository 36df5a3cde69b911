"""From how many points on a change of comfort or pain matters to riders, and how many fits came that far."""

from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import reading
from dashboard.components.notes import data_note
from dashboard.components.page import Desk, Show
from dashboard.components.table import table
from dashboard.components.text import unbroken
from dashboard.pages.returns import ids, tables
from dashboard.pages.returns.asked import Asked
from dashboard.questions.followed.answers_important import ImportantChange
from dashboard.questions.selection.selection import Selection


def layout() -> list[Any]:
    return [ids.WORTH]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme)
        answer = asked.returns()
        # The limits are those of all fits, whatever is selected; the fits below are the selected ones.
        limits = cast(ImportantChange, desk.asker.ask("important_change", Selection()))
        rows = [row for row in answer.worth if row.n]
        counted = table("Rated at arrival and follow-up", tables.worth_columns(asked.level), rows, table_id=ids.VERDICTS)
        return [
            *(html.P(unbroken(row.words), className="second-sentence") for row in limits.changes),
            *([counted] if rows else []),
            reading(*asked.words("worth"), *(html.P(caution) for caution in limits.cautions)),
            data_note(answer),
        ]

    return {ids.WORTH: show}
