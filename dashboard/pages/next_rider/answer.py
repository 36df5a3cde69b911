"""The answer: both knees, each allowed setup with its band on one axis; those against the exam, and all figures, folded."""

from collections.abc import Sequence
from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.notes import headline
from dashboard.components.page import Desk, Show
from dashboard.components.rider_search import search_box
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.foreseen import alternative, finding, foreseen_panel, pictured, span_of
from dashboard.figures.theme import NOTHING, day, interval, number
from dashboard.pages.next_rider import ids
from dashboard.pages.next_rider.asked import NOBODY, PATH, TEXT, choose, next_of
from dashboard.questions.foresight.answers_foresight import Foresight, Next, NextRow
from dashboard.questions.foresight.knees import SIDES
from dashboard.questions.foresight.setups import AS_IT_IS
from dashboard.questions.selection.selection import Selection


def head(desk: Desk) -> Show:
    def show(view: View, _: str | None) -> Any:
        answer = next_of(desk, view)
        if answer is None:
            return [headline(NOBODY)]
        rider = view.selection.rider[0]
        until = f"; data up to {day(answer.as_of)}" if answer.as_of else ""
        selected = html.P(
            [html.Strong("Selected: "), f"rider {rider}, the feet of fit {answer.session_id}{until}"],
            className="selected", id="selected", role="status",
        )  # fmt: skip
        return [selected, headline(answer.headline), record_note(desk)]

    return show


def record_note(desk: Desk) -> html.P | None:
    """What must be known before anything is read: that the bands have not held of late."""
    record = cast(Foresight, desk.asker.ask("foresight", Selection()))
    return html.P(record.headline, className="record-note", role="status") if record.is_kept is False else None


def layout() -> list[Any]:
    return [search_box(ids.SEARCH), ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        answer = next_of(desk, view)
        if answer is None:
            return choose(desk)
        return answered(desk, view, answer, theme)

    return {ids.ANSWER: show}


def answered(desk: Desk, view: View, answer: Next, theme: str | None) -> html.Div:
    """What is told of a loaded rider, and where to go on."""
    steps = [
        NextStep(
            "Riders like this one",
            desk.addresses.page(f"{PATH}/riders-like-this-one", view.selection.query()),
        ),
        NextStep("This rider's fits", desk.addresses.page("riders", view.selection.query())),
    ]
    return told(desk, answer, theme, steps)


def told(desk: Desk, answer: Next, theme: str | None, steps: Sequence[NextStep]) -> html.Div:
    """Both panels, how they are read, what is against the exam, and what to do next."""
    if answer.is_silent:
        return html.Div([html.P(words) for words in answer.cautions], className="next-told")
    neutral = desk.asker.settings.knee.neutral_within_deg
    shown = {side: pictured(answer.setups, side, AS_IT_IS) for side in SIDES}
    span = span_of([row for rows in shown.values() for row in rows])
    panels = [_panel(answer, side, shown[side], span, neutral, theme) for side in SIDES]
    parts = [
        html.Div(panels, className="panels is-two"),
        reading(*paragraphs(TEXT["reading"], neutral=number(neutral, "deg"))),
        html.P(_remaining(answer), className="remaining"),
        html.Div([_against(answer), next_steps(steps)], className="next-rest"),
    ]
    return html.Div(parts, className="next-told")


def _remaining(answer: Next) -> str:
    now, first = answer.side_difference_now, answer.side_difference_first
    if now is None:
        return "No side difference is expected: one of the knees was not measured, or lies beyond our data."
    rest = "" if first is None else f", {number(first, 'deg')} with the first setup on both sides"
    return f"Side difference (right less left) expected as it is: {number(now, 'deg')}{rest}. Perfect symmetry is not the aim."


def _panel(
    answer: Next, side: str, rows: list[NextRow], span: tuple[float, float], neutral: float, theme: str | None
) -> html.Figure:
    distance = [row for row in answer.setups if row.side == side and row.outcome == "off_neutral"]
    nearer = {row.setup: row.nearer for row in distance}
    of_side = _of_side(answer, side)
    return chart(
        foreseen_panel(rows, nearer, span, neutral, theme),
        title=finding(rows, side, nearer),
        alternative=alternative(rows, side),
        name=f"next-{side}",
        level=2,
        table=table(f"The next capture of the {side} knee", columns(of_side), of_side, table_id=f"next-table-{side}"),
    )


def _of_side(answer: Next, side: str) -> list[NextRow]:
    rows = [row for row in answer.setups if row.side == side and row.is_allowed]
    return sorted(rows, key=lambda row: (row.place, row.outcome != "tilt", row.outcome))


_NAMES = {"tilt": "Tilt", "sway": "Sway", "off_neutral": "Distance from neutral"}


def columns(rows: Sequence[NextRow]) -> list[Column]:
    """Of like knees nothing is said where none are told."""
    like = Column("Like knees", lambda row: f"{row.n_alike:,}", numeric=True)
    return [
        Column("Setup", lambda row: row.setup),
        Column("Of", lambda row: _NAMES[row.outcome]),
        Column("Expected", lambda row: NOTHING if row.expected is None else number(row.expected, row.unit), numeric=True),
        Column(
            "8 of 10 captures", lambda row: NOTHING if row.low is None else interval(row.low, row.high, row.unit), numeric=True
        ),
        *([like] if any(row.n_alike for row in rows) else []),
    ]


def _against(answer: Next) -> html.Details | None:
    """The setups that the exam speaks against, each with the rule."""
    rows = [row for row in answer.setups if row.outcome == "tilt" and not row.is_allowed]
    if not rows:
        return None
    items = [html.Li([html.Strong(f"{row.side.capitalize()}, {row.setup}: "), row.against]) for row in rows]
    return html.Details(
        [
            html.Summary(f"{'One setup' if len(rows) == 1 else f'{len(rows)} setups'} that the exam speaks against"),
            html.Ul(items),
        ],
        className="fold-small is-printed",
    )
