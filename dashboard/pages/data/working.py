"""The steps of a load from the page: check, load or put aside; and of taking one back. Every step asks whether it may."""

import functools
from collections.abc import Callable
from typing import Any

from dash import Dash, Input, Output, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard.components import ids as shell
from dashboard.components.faults import fault_note
from dashboard.components.page import Desk
from dashboard.pages.data import ids
from dashboard.pages.data.history import asked, outcome, taken
from dashboard.pages.data.mapping import proposed
from dashboard.pages.data.upload import checked, loaded, unusable
from dashboard.web.upload_routes import reader_address
from dashboard.web.uploads import Uploads
from shared.errors import InputUnusableError, WarehouseChangedError

CHECKING = "Checking the files; this takes some seconds …"
READING = "Reading headings and cells; this takes some seconds …"
LOADING = "Loading the files; this takes some seconds …"
TAKING_BACK = "Taking the load back; this takes some seconds …"


def register_working(app: Dash, desk: Desk, uploads: Uploads) -> None:
    """Registers the steps. One that changes the warehouse tells the view again, so that every figure is asked anew."""
    steps = _Steps(desk, uploads)
    findings_output, taken_output = (Output(place, "children", allow_duplicate=True) for place in (ids.FINDINGS, ids.TAKEN))
    view = Output(shell.VIEW, "data", allow_duplicate=True)
    received, view_state = State(ids.RECEIVED, "data"), State(shell.VIEW, "data")

    def add(step: Callable[..., Any], *parts: Any, words: str | None = None) -> None:
        running = [(Output(ids.WORKING, "children"), words, "")] if words else None
        app.callback(*parts, prevent_initial_call=True, running=running)(_allowed(uploads, step))

    add(steps.check, findings_output, Input(ids.RECEIVED, "data"), words=CHECKING)
    add(steps.load, findings_output, taken_output, view, Input(ids.LOAD, "n_clicks"), received, view_state, words=LOADING)
    add(steps.propose, findings_output, Input(ids.MAP, "n_clicks"), received, words=READING)
    add(steps.answer, findings_output, Input(ids.SAYING, "data"), received, words=READING)
    add(steps.ask_again, findings_output, Input(ids.AGAIN, "n_clicks"), received, words=READING)
    add(steps.use_mapping, findings_output, Input(ids.USE_MAPPING, "n_clicks"), received, words=CHECKING)
    add(steps.put_aside, findings_output, Input(ids.ASIDE, "n_clicks"), received)
    add(steps.foresee, taken_output, Input(ids.ASKED, "data"))
    add(
        steps.take_back,
        taken_output,
        findings_output,
        view,
        Input(ids.SURE, "n_clicks"),
        State(ids.ASKED, "data"),
        view_state,
        words=TAKING_BACK,
    )
    add(steps.leave, taken_output, Input(ids.KEEP, "n_clicks"))


class _Steps:
    """The steps. What an earlier one told elsewhere on the page goes; a button that was not pressed does nothing."""

    def __init__(self, desk: Desk, uploads: Uploads) -> None:
        self._desk = desk
        self._uploads = uploads

    def check(self, sent: dict[str, str] | None) -> Any:
        token = _sent(sent)
        try:
            return checked(self._desk, self._uploads.check(token), token)
        except InputUnusableError as fault:
            return unusable(fault)

    def load(self, clicks: int | None, sent: dict[str, str] | None, search: str) -> Any:
        _require_click(clicks)
        token = _sent(sent)
        try:
            report = self._uploads.load(token)
        except WarehouseChangedError as change:
            return checked(self._desk, self._uploads.check(token), token, str(change)), None, search
        if report.load_id:
            self._desk.asker.notes.done("loaded", f"load {report.load_id}")
        self._desk.after_load()
        return loaded(self._desk, report, token), None, search

    def propose(self, clicks: int | None, sent: dict[str, str] | None) -> Any:
        _require_click(clicks)
        token = _sent(sent)
        return proposed(self._desk, self._uploads.propose(token), token)

    def answer(self, said: dict[str, str] | None, sent: dict[str, str] | None) -> Any:
        if not said:
            raise PreventUpdate
        token = _sent(sent)
        return proposed(self._desk, self._uploads.answer(token, str(said["key"]), str(said["said"])), token)

    def ask_again(self, clicks: int | None, sent: dict[str, str] | None) -> Any:
        _require_click(clicks)
        token = _sent(sent)
        return proposed(self._desk, self._uploads.ask_again(token), token)

    def use_mapping(self, clicks: int | None, sent: dict[str, str] | None) -> Any:
        _require_click(clicks)
        token = _sent(sent)
        return checked(self._desk, self._uploads.use_mapping(token), token, "By the mapping that you confirmed.")

    def put_aside(self, clicks: int | None, sent: dict[str, str] | None) -> Any:
        _require_click(clicks)
        self._uploads.put_aside(_sent(sent))
        return outcome("The files are put aside. Nothing was written.")

    def foresee(self, of: dict[str, int] | None) -> Any:
        load_id = _asked_for(of)
        return asked(load_id, self._uploads.foresee(load_id))

    def take_back(self, clicks: int | None, of: dict[str, int] | None, search: str) -> Any:
        _require_click(clicks)
        load_id = _asked_for(of)
        undone = self._uploads.take_back(load_id)
        self._desk.asker.notes.done("took back", f"load {load_id}")
        return taken(load_id, undone), None, search

    def leave(self, clicks: int | None) -> Any:
        _require_click(clicks)
        return outcome("The load stays.")


def _require_click(clicks: int | None) -> None:
    if not clicks:
        raise PreventUpdate


def _sent(sent: dict[str, str] | None) -> str:
    if not sent:
        raise PreventUpdate
    return str(sent["token"])


def _asked_for(of: dict[str, int] | None) -> int:
    if not of:
        raise PreventUpdate
    return int(of["load"])


def _allowed(uploads: Uploads, step: Callable[..., Any]) -> Callable[..., Any]:
    """The step for those who may; a failure is told where its outcome would be, and the rest of the page stays."""

    @functools.wraps(step)
    def guard(*inputs: Any) -> Any:
        try:
            uploads.require_allowed(reader_address())
            return step(*inputs)
        except PreventUpdate:
            raise
        except Exception as fault:
            note = fault_note(fault)
            others = len(ctx.outputs_list) - 1 if isinstance(ctx.outputs_list, list) else 0
            return (note, *[no_update] * others) if others else note

    return guard
