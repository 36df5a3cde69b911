"""How well foreseen so far: the record of bands by what was known before, and expected against measured."""

from dataclasses import replace
from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, Show
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.foreseen import reliability_panel, reliability_words
from dashboard.figures.theme import NOTHING, interval, number
from dashboard.pages.next_rider import ids
from dashboard.pages.next_rider.asked import TEXT
from dashboard.questions.foresight.answers_foresight import Foresight, ForesightRow

_GROUPS = {"all": "all", "last": "last 200 changes", "foot_type": "", "fitter": "fitter "}


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        answer = cast(Foresight, desk.asker.ask("foresight", replace(view.selection, rider=(), split=None)))
        return answered(answer, theme)

    return {ids.RECORD: show}


def answered(answer: Foresight, theme: str | None) -> list[Any]:
    """The record's sentence, the picture, and the shares inside by foot type and fitter."""
    rows = [row for row in answer.foresight if row.outcome == "tilt" and row.group in _GROUPS]
    tenths = [row for row in answer.reliability if row.outcome == "tilt"]
    if not rows:
        return [html.P(answer.headline)]
    picture = chart(
        reliability_panel(tenths, theme),
        title=reliability_words(tenths),
        alternative="; ".join(
            f"expected {number(row.expected, 'deg')}, measured {number(row.measured, 'deg')}" for row in tenths
        ),
        name="next-record",
        level=2,
        table=table("Tenths of the captures", _tenths(), tenths, table_id="next-tenths"),
    )
    of_feet, others = ([row for row in rows if (row.group == "foot_type") is is_of_feet] for is_of_feet in (True, False))
    return [
        html.P(answer.headline, className="record-headline"),
        html.Div([picture, _inside("Inside the band, tilt", others)], className="record"),
        html.Details([html.Summary("By foot type"), _inside("By foot type, tilt", of_feet)]),
        reading(*paragraphs(TEXT["record"])),
        html.Details([html.Summary("How it is foreseen"), *paragraphs(TEXT["method"])], className="method"),
    ]


def _inside(caption: str, rows: list[ForesightRow]) -> html.Div:
    return table(caption, _columns(), rows, table_id=f"next-{caption.split(',', maxsplit=1)[0].lower().replace(' ', '-')}")


def _columns() -> list[Column]:
    def inside(row: ForesightRow) -> str:
        return (
            NOTHING
            if row.inside is None
            else f"{number(row.inside, 'share')} ({interval(row.inside_low, row.inside_high, 'share')})"
        )

    return [
        Column("Of", lambda row: f"{_GROUPS[row.group]}{row.level}".replace("_", " ")),
        Column("Captures", lambda row: f"{row.n_captures:,}", numeric=True),
        Column("Inside", inside, numeric=True),
        Column("Off by", lambda row: number(row.off, row.unit), numeric=True),
        Column("Arrival off by", lambda row: number(row.off_arrival, row.unit), numeric=True),
    ]


def _tenths() -> list[Column]:
    return [
        Column("Tenth", lambda row: str(row.part)),
        Column("Captures", lambda row: f"{row.n_captures:,}", numeric=True),
        Column("Expected", lambda row: number(row.expected, row.unit), numeric=True),
        Column("Measured", lambda row: number(row.measured, row.unit), numeric=True),
    ]
