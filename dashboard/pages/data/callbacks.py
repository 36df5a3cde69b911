"""The Data page: asks `data`, `noise` and `rig`, shows the answers, takes files in and takes loads back."""

from pathlib import Path
from typing import Any, cast

from dash import Dash, Input, Output

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.choices import starting_place
from dashboard.components.page import Desk, Page, PageView, Show, place
from dashboard.components.text import paragraphs, read_text
from dashboard.pages.data import held, ids, layout
from dashboard.pages.data.history import history
from dashboard.pages.data.left_out import deserves_a_look, left_out
from dashboard.pages.data.rejects import ROWS_SHOWN
from dashboard.pages.data.rig import rig
from dashboard.pages.data.upload import closed, hand_in
from dashboard.pages.data.where_from import where_from
from dashboard.pages.data.working import register_working
from dashboard.questions.data.answers_data import Data
from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.data.answers_rig import Rig
from dashboard.web.upload_allowed import require_open
from dashboard.web.upload_routes import add_upload_routes, reader_address
from dashboard.web.uploads import Uploads
from shared.errors import FitledgerError, StatisticsError

TEXT = read_text(Path(__file__).with_name("text.md"))


def _data(desk: Desk, view: View) -> Data:
    return cast(Data, desk.asker.ask("data", view.selection))


def _rig(desk: Desk, view: View) -> Rig | None:
    """What is found of the rigs; None where the selection holds too few fits to look."""
    try:
        return cast(Rig, desk.asker.ask("rig", view.selection))
    except StatisticsError:
        return None


def head(desk: Desk) -> Show:
    def show(view: View, _: str | None) -> Any:
        starting_place(view.page_words.get("start"), ROWS_SHOWN)  # a fault in it is told here, where the page begins
        return layout.head_of(_data(desk, view))

    return show


def answer_shows(desk: Desk) -> dict[str, Show]:
    return {
        ids.CAME_IN: lambda view, theme: layout.came_in(desk, view.selection, _data(desk, view), theme),
        ids.NEXT: lambda view, theme: layout.steps(desk, view.selection, _data(desk, view), _rig(desk, view)),
    }


def load_shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        return history(_data(desk, view).loads, TEXT, theme, is_allowed=refusal_of(desk) is None)

    return {ids.HISTORY: show}


def left_out_shows(desk: Desk) -> dict[str, Show]:
    return {ids.LEFT_OUT: lambda view, theme: left_out(desk, view.selection, _data(desk, view), view.page_words, TEXT, theme)}


def look_shows(desk: Desk) -> dict[str, Show]:
    return {
        ids.LOOK: lambda view, theme: deserves_a_look(desk, view.selection, _data(desk, view), TEXT),
        ids.COMPLETE: lambda view, theme: held.completeness(desk, view.selection, _data(desk, view), TEXT),
    }


def noise_shows(desk: Desk) -> dict[str, Show]:
    def show_noise(view: View, _: str | None) -> Any:
        try:
            answer: Noise | str = cast(Noise, desk.asker.ask("noise", view.selection))
        except StatisticsError as refusal:
            answer = str(refusal)
        return held.noise(desk, view.selection, answer, TEXT)

    def show_rig(view: View, theme: str | None) -> Any:
        return rig(desk, view.selection, cast(Rig, desk.asker.ask("rig", view.selection)), TEXT, theme)

    return {ids.NOISE: show_noise, ids.RIG: show_rig}


def held_shows(desk: Desk) -> dict[str, Show]:
    return {ids.HELD: lambda view, theme: held.held(desk, view.selection, _data(desk, view), TEXT)}


def where_from_shows(desk: Desk) -> dict[str, Show]:
    return {ids.WHERE_FROM: lambda view, theme: where_from(desk, view.selection, view.page_words, TEXT, theme)}


def register(app: Dash, desk: Desk) -> None:
    # Where readers sign in, the asker knows which roles may load.
    asker = desk.asker
    uploads = Uploads(
        asker.path,
        asker.settings,
        permit=asker.require_loading,
        permit_received=asker.require_received,
        sender=lambda: asker.reader().name,
    )
    app.callback(Output(ids.UPLOAD, "children"), Input(ids.UPLOAD, "id"))(lambda _: place_of_upload(desk, uploads))
    register_working(app, desk, uploads)
    add_upload_routes(app.server, desk.addresses.prefix, uploads)


def refusal_of(desk: Desk) -> FitledgerError | None:
    """Why the reader who asks may not load; None where they may."""
    try:
        desk.asker.require_loading()
        require_open(desk.asker.settings.upload, reader_address())
    except FitledgerError as refusal:
        return refusal
    return None


def place_of_upload(desk: Desk, uploads: Uploads) -> list[Any]:
    """Where files are handed in, or why they are not."""
    refusal = refusal_of(desk)
    if refusal:
        return closed(refusal)
    kept = uploads.settings.upload
    forms = paragraphs(TEXT["upload_forms"], largest=f"{kept.largest_mb}\u00a0MB", minutes=kept.kept_minutes)
    return hand_in(desk, uploads, paragraphs(TEXT["upload"]), forms)


PAGE = Page(
    layout.PATH,
    layout.NAME,
    layout.QUESTION,
    head,
    (
        PageView(
            "", "Answer", lambda: [html.Div([place(ids.CAME_IN), place(ids.NEXT)], className="beside-steps")], answer_shows
        ),
        PageView(
            layout.LOAD_FILES,
            "Load files",
            lambda: [ids.UPLOAD, ids.TAKEN, ids.HISTORY],
            load_shows,
            register=register,
            scripted=ids.SCRIPTED,
        ),
        PageView(layout.LEFT_OUT, "Left out", lambda: [ids.LEFT_OUT], left_out_shows),
        PageView(layout.LOOK, "Deserves a look", lambda: [ids.LOOK, ids.COMPLETE], look_shows),
        PageView(layout.NOISE, "Noise", lambda: [ids.NOISE, ids.RIG], noise_shows),
        PageView(layout.HELD, "What is held", lambda: [ids.HELD], held_shows),
        PageView(layout.WHERE_FROM, "Where from", lambda: [ids.WHERE_FROM], where_from_shows),
    ),
    moved={
        "reason": layout.LEFT_OUT,
        "start": layout.LEFT_OUT,
        "#data-upload": layout.LOAD_FILES,
        "#data-history": layout.LOAD_FILES,
        "#data-loads-table": layout.LOAD_FILES,
        "#data-rest": layout.LEFT_OUT,
        "#data-reasons-table": layout.LEFT_OUT,
        "#data-complete": layout.LOOK,
        "#data-noise": layout.NOISE,
        "#data-rig": layout.NOISE,
        "#data-rig-table": layout.NOISE,
    },
)
