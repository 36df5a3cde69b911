"""What is said on a screen and kept in the logbook: calls marked, tasks given and closed, notes written."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final, cast

from flask import Flask, Response, jsonify, request

from dashboard.components.faults import told
from dashboard.components.page import Desk
from dashboard.questions.door.entering import enter_as, mark_call, say_as
from dashboard.questions.door.goals import drop_goal, set_goal, value_given
from dashboard.questions.returns.calls_marked import MARKS
from dashboard.questions.selection.scope import spoken_day
from dashboard.web.downloads import status_of
from dashboard.web.kept_views import HEADER, kept_address
from shared.errors import UsageError
from shared.logbook.entries import KINDS, Sort

ADDRESS: Final = "entries"
_SAYS: Final = ("done", "dropped")
_SORTS: Final = ("task", "note", "goal")


def add_entries(server: Flask, desk: Desk) -> None:
    """Adds `entries` (POST) under the prefix: marks a call, adds a task or a note, or says what came of one."""

    @server.post(f"{desk.addresses.prefix}{ADDRESS}")
    def enter() -> tuple[Response, int]:
        try:
            given: Any = request.get_json(silent=True)
            if request.headers.get(HEADER) != ADDRESS or not isinstance(given, dict):
                raise UsageError("Entries are made from the dashboard's own pages only. Nothing was changed.")
            if not all(isinstance(value, str) for value in given.values()):
                raise UsageError("Fill in the form above. Nothing was changed.")
            act = _ACTS.get(given.get("do", ""))
            if act is None:
                raise UsageError("This is nothing that can be entered. Load the page again. Nothing was changed.")
            return jsonify(words=act(desk, given)), 200
        except Exception as fault:
            return jsonify(words=told(fault)), status_of(fault)


def _mark(desk: Desk, given: Mapping[str, str]) -> str:
    mark, day = given.get("mark", ""), _day(given)
    mark_call(desk.asker, given.get("session", ""), mark, day)
    words = MARKS[mark]
    return f"{words[:1].upper()}{words[1:]}{f' {spoken_day(day)}' if day else ''}."


def _add(desk: Desk, given: Mapping[str, str]) -> str:
    kind = given.get("kind", "")
    if kind not in KINDS:
        raise UsageError("Say what it is about. Load the page again. Nothing was changed.")
    sort = _sort(given)
    if sort == "goal":
        set_goal(desk.asker, given.get("key", ""), value_given(given.get("text", "")), _day(given))
        return "The goal is kept."
    enter_as(
        desk.asker,
        sort,
        kind,
        given.get("key", ""),
        text=given.get("text", ""),
        day=_day(given),
        who=given.get("who", ""),
        address=kept_address(desk.addresses, given.get("address", "")),
    )
    return "The task is kept." if sort == "task" else "The note is kept."


def _say(desk: Desk, given: Mapping[str, str]) -> str:
    state = given.get("state", "")
    if state not in _SAYS:
        raise UsageError(f"Found {state!r}, expected one of {', '.join(_SAYS)}. Nothing was changed.")
    if _sort(given) == "goal":
        if state != "dropped":
            raise UsageError("A goal is taken back, or changed by a later one. Nothing was changed.")
        drop_goal(desk.asker, given.get("entry", ""))
        return "The goal is taken back."
    say_as(desk.asker, _sort(given), given.get("entry", ""), state, text=given.get("text", ""))
    return f"The {_sort(given)} is {state}."


_ACTS: Final[Mapping[str, Callable[[Desk, Mapping[str, str]], str]]] = {"mark": _mark, "add": _add, "say": _say}


def _sort(given: Mapping[str, str]) -> Sort:
    if given.get("sort") not in _SORTS:
        raise UsageError("This is nothing that can be entered. Load the page again. Nothing was changed.")
    return cast(Sort, given["sort"])


def _day(given: Mapping[str, str]) -> date | None:
    try:
        return date.fromisoformat(given["day"]) if given.get("day") else None
    except ValueError:
        raise UsageError(f"Found {given['day'][:20]!r}, expected a day as 2026-12-09. Nothing was changed.") from None
