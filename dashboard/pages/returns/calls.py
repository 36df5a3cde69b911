"""Whom to call today: one list, longest over first; where every other follow-up stands is folded."""

from collections.abc import Sequence
from functools import partial
from typing import Any, Final

from dash import dcc

from dashboard.components import columns, html
from dashboard.components.address import View
from dashboard.components.chart import reading
from dashboard.components.choices import turning, within
from dashboard.components.entering import call_marks
from dashboard.components.notes import data_note
from dashboard.components.page import Desk, Show
from dashboard.components.table import Column, csv_link, table
from dashboard.figures.theme import NOTHING, day
from dashboard.pages.returns import ids
from dashboard.pages.returns.asked import PATH, Asked
from dashboard.questions.returns.answers_calls import CallRow, Calls
from dashboard.questions.selection.selection import Selection

# So many calls stand on the page at a time; the CSV holds them all.
SHOWN: Final = 12
WHY: Final = {"over": "follow-up over", "due": "follow-up due today", "not_booked": "no follow-up booked"}


def layout() -> list[Any]:
    return [ids.CALLS]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme)
        return called(asked, asked.calls(), view.page_words.get("start"))

    return {ids.CALLS: show}


def called(asked: Asked, answer: Calls, at: str | None) -> list[Any]:
    """The sentence, the list a page at a time, what stands behind it."""
    n = len(answer.calls)
    start = within(at, SHOWN, n)
    rows = answer.calls[start : start + SHOWN]
    place = f", {start + 1:,} to {start + len(rows):,} of {n:,}" if n > SHOWN else ""
    caption = f"Calls, longest over first{place}"
    whole = csv_link(asked.desk.csv("calls", "calls", asked.selection), f"all {n:,} calls") if n > SHOWN else None
    return [
        html.H2(answer.headline, className="section-title"),
        html.P(className="marked-since", role="status"),
        table(caption, _columns(asked.desk, rows), rows, row_key="session_id", table_id="returns-call-list")
        if rows
        else html.P("No follow-up is due, and none waits to be booked."),
        turning("← calls before", "next calls →", start, SHOWN, n, partial(_address, asked)) if n > SHOWN else None,
        whole,
        _marked(answer),
        _as_calendar(asked) if n or answer.booked else None,
        reading(*asked.words("calls", **asked.days)),
        html.P(answer.calling, className="reading calling") if answer.calling else None,
        _behind(answer),
        data_note(answer),
    ]


def _address(asked: Asked, start: int) -> str:
    return asked.desk.addresses.page(f"{PATH}/calls", asked.selection.query(), {"start": str(start)} if start else {})


def _as_calendar(asked: Asked) -> html.P:
    """The calls and what is booked ahead as a file for a calendar, which may be kept elsewhere: riders by id where chosen."""
    plain, named = (asked.desk.addresses.calendar(asked.selection, with_riders=chosen) for chosen in (False, True))
    return html.P(
        [
            html.A("As a calendar (.ics)", href=plain, download="", className="csv"),
            html.Small(", or "),
            html.A("with the riders' ids", href=named, download="", className="csv"),
        ],
        className="csv-line",
    )


def _columns(desk: Desk, rows: Sequence[CallRow]) -> list[Column]:
    to_rider = not desk.asker.reader().calls_only

    def rider(row: CallRow) -> Any:
        if not to_rider:
            return row.rider_id
        query = Selection(rider=(row.rider_id,)).query()
        return dcc.Link(row.rider_id, href=desk.addresses.page("riders", query, {"fit": row.session_id}))

    return [
        Column("Rider", rider),
        Column("Why", lambda row: WHY[row.state]),
        columns.count("Days over", "days_over"),
        Column("Due", lambda row: day(row.due_on) if row.due_on else NOTHING),
        Column("Studio", lambda row: row.studio_id),
        Column("Fitter", lambda row: row.fitter_id),
        *([Column("At the fit (of 10)", lambda row: row.last_result)] if any(row.last_result for row in rows) else []),
        Column("What came of it", _said),
    ]


def _said(row: CallRow) -> list[Any]:
    """What was said of an earlier call, and the marks of this one."""
    told = html.Small(f"{row.marked[:1].upper()}{row.marked[1:]}. ", className="marked-before") if row.marked else None
    return [told, call_marks(row.session_id, row.rider_id)]


def _marked(answer: Calls) -> html.Details | None:
    """Who is off the list by a mark, with the way back."""
    if not answer.marked:
        return None
    marked = table(
        "Marked",
        [
            Column("Rider", lambda row: row.rider_id),
            Column("What was said", lambda row: row.words, wide=True),
            Column("", lambda row: call_marks(row.session_id, row.rider_id, marked=True)),
        ],
        answer.marked[:SHOWN],
        row_key="session_id",
        table_id="returns-marked",
    )
    return html.Details([html.Summary(f"{len(answer.marked):,} marked, and off the list"), marked], className="more")


def _behind(answer: Calls) -> html.Details:
    """Where every follow-up stands today, and what is booked ahead."""
    states = table(
        "Every fit that asks for a follow-up, by where it stands today",
        [
            Column("Where it stands", lambda row: row.words.partition(": ")[2].rstrip(".").capitalize()),
            columns.count("Fits", "n_fits"),
        ],
        answer.states,
        row_key="state",
        table_id="returns-states",
    )
    booked = table(
        "Booked ahead",
        [
            Column("Rider", lambda row: row.rider_id),
            Column("Due", lambda row: day(row.due_on)),
            columns.count("Days ahead", "days_ahead"),
            Column("Studio", lambda row: row.studio_id),
            Column("Fitter", lambda row: row.fitter_id),
        ],
        answer.booked,
        row_key="session_id",
        table_id="returns-booked",
    )
    return html.Details(
        [
            html.Summary("All follow-ups by where they stand today, and what is booked ahead"),
            states,
            booked if answer.booked else None,
        ],
        className="more",
    )
