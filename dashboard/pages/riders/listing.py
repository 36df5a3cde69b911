"""The list of riders, a page at a time, by what deserves a look; the choice and the place are part of the address."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.notes import data_note, headline, method, selected
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.theme import day, number
from dashboard.pages.riders.layout import PATH
from dashboard.questions.memory.rows_on_demand import RowsOnDemand
from dashboard.questions.riders.answers_riders import RiderRow, Riders
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError

ROWS_SHOWN: Final = 25
LOOKS: Final = {
    "overdue": "Follow-up overdue",
    "side_difference": "Side difference remains",
    "flag": "Last fit not as the exam suggests",
}
STATES: Final = {
    "overdue": "overdue",
    "due": "due",
    "returned": "came back",
    "missed": "missed or cancelled",
    "none": "none booked",
}
Text = dict[str, tuple[str, ...]]


def listed(desk: Desk, selection: Selection, answer: Riders, page_words: Mapping[str, str], text: Text) -> list[Any]:
    """Headline, what to look at as links, one page of riders, links to the pages before and after."""
    look = chosen_look(page_words.get("look"))
    rows = answer.riders.where(look) if look else answer.riders
    start = min(starting_place(page_words.get("start")), max(len(rows) - 1, 0) // ROWS_SHOWN * ROWS_SHOWN)
    page_rows = rows[start : start + ROWS_SHOWN]
    place = f"{start + 1:,} to {start + len(page_rows):,} of {len(rows):,}" if page_rows else "none"
    limit = number(desk.asker.settings.knee.side_difference_deg, "deg")
    return [
        selected(answer, riders=answer.n_riders),
        headline(answer.headline),
        _looks(desk, selection, answer.riders, look),
        table(
            f"Riders, {place}",
            _columns(desk, selection),
            page_rows,
            row_key="rider_id",
            csv=desk.csv("riders", "riders", selection),
        ),
        _turning(desk, selection, look, start, len(rows)),
        reading(*paragraphs(text["list"], limit=limit)),
        method(answer, []),
        data_note(answer),
    ]


def rider_address(desk: Desk, selection: Selection, rider: str, fit: str | None = None) -> str:
    """The address of one rider's timeline."""
    return desk.addresses.page(PATH, replace(selection, rider=(rider,)).query(), {"fit": fit} if fit else None)


def whole_day(value: Any) -> str:
    """Writes a date that does not break over two lines."""
    return day(value).replace(" ", "\u00a0")


def chosen_look(look: str | None) -> str | None:
    """What to look at, from the address. Raises UsageError for an unknown one."""
    if look is not None and look not in LOOKS:
        raise UsageError(f"look: found {look!r}, expected one of {', '.join(LOOKS)}.")
    return look


def starting_place(start: str | None) -> int:
    """The first row shown, from the address. Raises UsageError where it is no whole number."""
    if start is not None and not start.isdecimal():
        raise UsageError(f"start: found {start!r}, expected a whole number such as {ROWS_SHOWN}.")
    return int(start or 0)


def _looks(desk: Desk, selection: Selection, rows: RowsOnDemand[RiderRow], look: str | None) -> html.Nav:
    counts = {code: len(rows.where(code)) for code in LOOKS}
    choices = [(None, f"All ({len(rows):,})"), *((code, f"{name} ({counts[code]:,})") for code, name in LOOKS.items())]
    return html.Nav(
        html.Ul(
            [
                html.Li(
                    dcc.Link(
                        [name, html.Span(" (shown)", className="for-readers")] if code == look else name,
                        href=desk.addresses.page(PATH, selection.query(), {"look": code} if code else None),
                        className="choice is-chosen" if code == look else "choice",
                    )
                )
                for code, name in choices
            ],
            className="choices",
        ),
        **{"aria-label": "What deserves a look", "data-choices": "look"},
    )


def _columns(desk: Desk, selection: Selection) -> list[Column]:
    return [
        Column("Rider", lambda row: dcc.Link(row.rider_id, href=rider_address(desk, selection, row.rider_id))),
        Column("What deserves a look", lambda row: row.words, wide=True),
        Column("Last fit", lambda row: whole_day(row.last_date)),
        Column("Fits", lambda row: number(row.n_fits, "count"), ("n_fits",), numeric=True),
        Column("Tilt left", lambda row: number(row.tilt_left_deg, "deg"), ("tilt_left_deg",), numeric=True),
        Column("Tilt right", lambda row: number(row.tilt_right_deg, "deg"), ("tilt_right_deg",), numeric=True),
        Column("Right − left", lambda row: number(row.side_difference_deg, "deg"), ("side_difference_deg",), numeric=True),
        Column("Follow-up", follow_up_words),
        Column("Studio", lambda row: row.studios),
    ]


def follow_up_words(row: RiderRow) -> str:
    """The state of the follow-up, with the day it is or was due."""
    is_overdue_today = row.follow_up == "due" and "overdue" in row.look.split(", ")
    state = "overdue today" if is_overdue_today else STATES[row.follow_up]
    return f"{state}, {whole_day(row.due_on)}" if row.due_on else state


def _turning(desk: Desk, selection: Selection, look: str | None, start: int, n: int) -> html.P:
    def link(words: str, to: int) -> dcc.Link:
        page_words = {**({"look": look} if look else {}), **({"start": str(to)} if to else {})}
        return dcc.Link(words, href=desk.addresses.page(PATH, selection.query(), page_words), className="choice")

    return html.P(
        [
            link("← riders before", max(start - ROWS_SHOWN, 0)) if start else None,
            link("further riders →", start + ROWS_SHOWN) if start + ROWS_SHOWN < n else None,
        ],
        className="turning",
    )
