"""The Data page: asks `data` and `noise`, shows the answers, takes files in and takes loads back."""

from pathlib import Path
from typing import Any, cast

from dash import Dash, Input, Output

from dashboard.components.address import View
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import paragraphs, read_text
from dashboard.pages.data import ids
from dashboard.pages.data.history import loads
from dashboard.pages.data.layout import NAME, PATH, QUESTION, answered, completeness, layout, noise, rest
from dashboard.pages.data.rejects import starting_place
from dashboard.pages.data.rig import rig
from dashboard.pages.data.upload import closed, hand_in
from dashboard.pages.data.working import register_working
from dashboard.questions.data.answers_data import Data
from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.data.answers_rig import Rig
from dashboard.web.upload_routes import add_upload_routes, reader_address
from dashboard.web.uploads import Uploads, require_open
from shared.errors import FitledgerError, StatisticsError

TEXT = read_text(Path(__file__).with_name("text.md"))


def places(desk: Desk) -> dict[str, Show]:
    def data(view: View) -> Data:
        return cast(Data, desk.asker.ask("data", view.selection))

    def show_noise(view: View, theme: str | None) -> Any:
        try:
            answer: Noise | str = cast(Noise, desk.asker.ask("noise", view.selection))
        except StatisticsError as refusal:
            answer = str(refusal)
        return noise(desk, view.selection, answer, TEXT)

    def show_rig(view: View, theme: str | None) -> Any:
        return rig(desk, view.selection, cast(Rig, desk.asker.ask("rig", view.selection)), TEXT, theme)

    def history(view: View, theme: str | None) -> Any:
        csv = desk.csv("data", "loads", view.selection)
        return loads(data(view).loads, csv, is_allowed=refusal_of(desk) is None)

    def show(view: View, theme: str | None) -> Any:
        starting_place(view.page_words.get("start"))  # a fault in it is told here, where the page begins
        return answered(data(view), TEXT, theme)

    return {
        ids.ANSWER: show,
        ids.HISTORY: history,
        ids.COMPLETE: lambda view, theme: completeness(desk, view.selection, data(view), TEXT),
        ids.NOISE: show_noise,
        ids.RIG: show_rig,
        ids.REST: lambda view, theme: rest(desk, view.selection, data(view), view.page_words, TEXT, theme),
    }


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


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page(PATH, NAME, QUESTION, head, (PageView("", "Answer", layout, shows, register=register, scripted=ids.SCRIPTED),))
