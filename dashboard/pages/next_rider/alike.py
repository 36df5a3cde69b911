"""Riders like this one: what was changed for the most alike knees, and what followed."""

from typing import Any, Final

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import reading
from dashboard.components.page import Desk, Show
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.theme import NOTHING, number
from dashboard.pages.next_rider import ids
from dashboard.pages.next_rider.asked import TEXT, choose, next_of
from dashboard.questions.foresight.knees import SIDES
from dashboard.questions.riders.riders_told import BECAME_WORDS

# So many of the twenty stand in sight, a table a side.
_SHOWN: Final = 7


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, _: str | None) -> Any:
        answer = next_of(desk, view)
        if answer is None:
            return choose(desk)
        if not answer.alike:
            return html.P("No like knee is told: the foot was not examined, or nothing is foreseen.")
        tables = [
            table(
                f"Most like the {side} knee",
                _columns(),
                [row for row in answer.alike if row.side == side][:_SHOWN],
                table_id=f"next-alike-{side}",
            )
            for side in SIDES
        ]
        told = [html.P(words, className="alike-told") for words in answer.alike_told]
        return [*told, *tables, reading(*paragraphs(TEXT["alike"]))]

    return {ids.ALIKE: show}


def _columns() -> list[Column]:
    def degrees(name: str) -> Any:
        return lambda row: NOTHING if getattr(row, name) is None else number(getattr(row, name), "deg")

    def score(name: str) -> Any:
        return lambda row: NOTHING if getattr(row, name) is None else f"{getattr(row, name):g}"

    return [
        Column("Fit", lambda row: f"{row.session_id}, {row.of_side}"),
        Column("Changed", lambda row: row.changed, wide=True),
        Column("Tilt at arrival", degrees("tilt_arrival_deg"), numeric=True),
        Column("At departure", degrees("tilt_departure_deg"), numeric=True),
        Column("At follow-up", degrees("tilt_follow_up_deg"), numeric=True),
        Column("Did the fit hold?", lambda row: BECAME_WORDS.get(row.became or "", NOTHING)),
        Column("Comfort before", score("comfort_arrival"), numeric=True),
        Column("After", score("comfort_departure"), numeric=True),
        Column("At follow-up", score("comfort_follow_up"), numeric=True),
        Column("Satisfied", score("satisfaction"), numeric=True),
    ]
