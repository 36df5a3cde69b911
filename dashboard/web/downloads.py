"""The same rows that a page prints, as CSV, and the follow-ups that are due as a calendar, from plain addresses."""

import re
from collections.abc import Iterable
from urllib.parse import urlencode

from flask import Flask, Response, request

from dashboard.components.address import search_of
from dashboard.components.faults import told
from dashboard.components.page import Desk, Page
from dashboard.components.shown_rows import TABLE, shown_table
from dashboard.export.calendar import MIMETYPE, due_calendar
from dashboard.questions.door.registry import by_period
from dashboard.questions.selection.answers import Answer, rows_to_csv
from dashboard.questions.selection.selection import parse_selection
from shared.errors import FitledgerError, NotPermittedError, UsageError


def add_downloads(server: Flask, desk: Desk, pages: Iterable[Page]) -> None:
    """Adds `download/<question>.csv?<selection>&rows=<list>`; without `rows` the question's first list; `every=` for trends.

    `download/shown/<place>.csv?<the query of a view>&table=<name>`: the rows that a table of `pages` shows there.
    `download/calls.ics?<selection>`: the follow-ups that are due, with `riders=yes` by the riders' ids.
    """

    @server.get(f"{desk.addresses.prefix}download/<question>.csv")
    def download(question: str) -> Response:
        words = request.args.to_dict()
        try:
            name = words.pop("rows", None)
            only = by_period(question, words.pop("every", None))
            answer = desk.asker.ask(question, parse_selection(words), **only)
            text = answer.to_csv(list_name(answer, name))
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")
        name = name or answer.rows_name
        file = f"{question}.csv" if name == question else f"{question}-{name}.csv"
        return Response(text, mimetype="text/csv", headers=_as_file(file))

    places = {place: show for page in pages for place, show in page.shows(desk).items()}

    @server.get(f"{desk.addresses.prefix}download/shown/<place>.csv")
    def shown(place: str) -> Response:
        words = request.args.to_dict()
        try:
            name = words.pop(TABLE, "")
            if place not in places:
                raise UsageError("No page has such a place. Open the page again and take the link under its table.")
            table = shown_table(places[place], search_of(urlencode(words, safe=",")), name)
            text = rows_to_csv(table.as_rows())
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")
        return Response(text, mimetype="text/csv", headers=_as_file(f"{_file_name(table.caption) or place}.csv"))

    @server.get(f"{desk.addresses.prefix}download/calls.ics")
    def calendar() -> Response:
        words = request.args.to_dict()
        try:
            with_riders = words.pop("riders", "") == "yes"
            text = due_calendar(desk.asker, parse_selection(words), with_riders=with_riders)
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")
        return Response(text, mimetype=MIMETYPE, headers=_as_file("follow-ups.ics"))


def _as_file(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _file_name(caption: str) -> str:
    """The words of a caption as the name of a file."""
    return "-".join(re.findall(r"[a-z0-9]+", caption.lower()))[:60].strip("-")


def status_of(fault: Exception) -> int:
    """403 for what the reader may not ask, 400 for what cannot be answered, 500 for a fault of the program."""
    if isinstance(fault, NotPermittedError):
        return 403
    return 400 if isinstance(fault, FitledgerError) else 500


def list_name(answer: Answer, asked: str | None) -> str:
    """The list that is asked for. Raises UsageError where the answer has no such list."""
    lists = type(answer).lists()
    name = asked or answer.rows_name
    if name not in lists:
        raise UsageError(f"rows: found {name!r}, expected one of {', '.join(lists)}.")
    return name
