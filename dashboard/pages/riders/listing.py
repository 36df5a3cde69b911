"""The list of riders, a part at a time, by what deserves a look; the choice and the place are part of the address."""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import reading
from dashboard.components.choices import choice, choices, turning, within
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, Show
from dashboard.components.rider_search import search_box
from dashboard.components.table import Column, csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.theme import day, number
from dashboard.pages.riders import ids
from dashboard.pages.riders.told import PATH, TEXT
from dashboard.questions.riders.answers_riders import RiderRow, Riders
from dashboard.questions.riders.riders_told import BECAME_WORDS
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError

ROWS_SHOWN: Final = 20
# What deserves a look: as a choice of the list, behind a count, in a row.
LOOKS: Final = {
    "overdue": "Follow-up over",
    "not_held": "Last fit did not hold",
    "side_difference": "Side difference remains",
    "flag": "Last fit to look at together",
}
STEPS: Final = {
    "overdue": "have a follow-up over",
    "not_held": "have a last fit that did not hold",
    "side_difference": "left with a side difference",
    "flag": "have a last fit to look at together",
}
_BRIEF: Final = {"overdue": "follow-up over", "side_difference": "side difference of {size}", "flag": "far from the exam"}
STATES: Final = {
    "over": "follow-up over",
    "due": "follow-up due today",
    "booked": "follow-up booked",
    "came": "came to the follow-up",
    "closed": "follow-up missed or cancelled",
    "none": "no follow-up booked",
}


def layout() -> list[Any]:
    return [search_box(ids.SEARCH), ids.ALL]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        # One rider alone would be told, and not listed.
        selection = view.selection if view.selection.rider[1:] else replace(view.selection, rider=())
        answer: Any = desk.asker.ask("riders", selection)
        return listed(desk, selection, answer, view.page_words)

    return {ids.ALL: show}


def listed(desk: Desk, selection: Selection, answer: Riders, page_words: Mapping[str, str]) -> list[Any]:
    """What to look at as links, one part of the riders, links to the parts before and after."""
    look = chosen_look(page_words.get("look"))
    rows = answer.riders.where(look) if look else answer.riders
    start = within(page_words.get("start"), ROWS_SHOWN, len(rows))
    page_rows = rows[start : start + ROWS_SHOWN]
    place = f"{start + 1:,} to {start + len(page_rows):,} of {len(rows):,}" if page_rows else "none"
    limit = number(desk.asker.settings.knee.side_difference_deg, "deg")
    return [
        _looks(desk, selection, answer, look),
        table(
            f"Riders, {place}",
            columns(desk, selection, answer.not_recorded),
            page_rows,
            row_key="rider_id",
            table_id="riders-list",
        ),
        turning("← riders before", "further riders →", start, ROWS_SHOWN, len(rows), partial(address, desk, selection, look)),
        csv_link(desk.csv("riders", "riders", selection), f"all {len(answer.riders):,} riders"),
        reading(*paragraphs(TEXT["list"], limit=limit)),
        method(answer, []),
        data_note(answer),
    ]


def address(desk: Desk, selection: Selection, look: str | None = None, start: int = 0) -> str:
    """The address of the list, of those alone who deserve a look."""
    words = {**({"look": look} if look else {}), **({"start": str(start)} if start else {})}
    return desk.addresses.page(f"{PATH}/all", replace(selection, rider=()).query(), words)


def rider_address(desk: Desk, selection: Selection, rider: str) -> str:
    """The address of one rider."""
    return desk.addresses.page(PATH, replace(selection, rider=(rider,)).query())


def whole_day(value: Any) -> str:
    """Writes a date that does not break over two lines."""
    return day(value).replace(" ", "\u00a0")


def chosen_look(look: str | None) -> str | None:
    """What to look at, from the address. Raises UsageError for an unknown one."""
    if look is not None and look not in LOOKS:
        raise UsageError(f"look: found {look!r}, expected one of {', '.join(LOOKS)}.")
    return look


def _looks(desk: Desk, selection: Selection, answer: Riders, look: str | None) -> html.Nav:
    rows = answer.riders
    counts = {code: len(rows.where(code)) for code in LOOKS if code not in answer.not_recorded}
    named = [(None, f"All ({len(rows):,})"), *((code, f"{LOOKS[code]} ({n:,})") for code, n in counts.items())]
    links = (choice(name, address(desk, selection, code), is_shown=code == look) for code, name in named)
    return choices("What deserves a look", "look", links)


def columns(desk: Desk, selection: Selection, not_recorded: tuple[str, ...] = (), *, brief: bool = False) -> list[Column]:
    """The columns of the list; `brief`: those by which a rider is picked. What is not recorded has none."""
    has_bookings = "overdue" not in not_recorded
    further = [
        Column("Right − left", lambda row: number(row.side_difference_deg, "deg"), ("side_difference_deg",), numeric=True),
        *([Column("Follow-up", follow_up_words)] if has_bookings else []),
        Column("Studio", lambda row: row.studios),
    ]
    return [
        Column("Rider", lambda row: dcc.Link(row.rider_id, href=rider_address(desk, selection, row.rider_id))),
        Column("Last fit", lambda row: whole_day(row.fit_date or row.last_date)),
        *([Column("Did it hold?", lambda row: BECAME_WORDS.get(row.became, "a follow-up visit"))] if has_bookings else []),
        *([] if brief else further),
        Column("What deserves a look", _brief_looks, wide=True),
    ]


def _brief_looks(row: RiderRow) -> str:
    size = number(abs(row.side_difference_deg or 0.0), "deg")
    told = [_BRIEF[look].format(size=size) for look in row.look.split(", ") if look in _BRIEF]
    return ", ".join(told) or ("that it did not hold" if row.look else "nothing")


def follow_up_words(row: RiderRow) -> str:
    """The state of the follow-up today, with the day where one is open."""
    state = (
        STATES.get(row.follow_up, "")
        .removeprefix("follow-up ")
        .removesuffix(" to the follow-up")
        .replace("no follow-up ", "none ")
    )
    return f"{state}, {whole_day(row.due_on)}" if row.due_on else state
