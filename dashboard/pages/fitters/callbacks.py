"""The Fitters page: who needs a second pair of eyes, which fits to look at, what was done, agreement over time."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.choices import starting_place
from dashboard.components.notes import headline, selected
from dashboard.components.page import Desk, Page, PageView, Show, place
from dashboard.components.text import read_text
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.answer import NAME, PATH, QUESTION, WORST_PATH, answered, beside, chosen_outcome
from dashboard.pages.fitters.named import names_for, with_names
from dashboard.pages.fitters.over_time import over_time
from dashboard.pages.fitters.process import scatter, what_was_done
from dashboard.pages.fitters.worst import FITS_SHOWN, worst
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.data.answers_noise import Noise
from shared.errors import NotRecordedError

TEXT = read_text(Path(__file__).with_name("text.md"))


def _fitters(desk: Desk, view: View) -> Fitters:
    return cast(Fitters, desk.asker.ask("fitters", view.selection))


def _agreement(desk: Desk, view: View) -> AgreementWithExam:
    return cast(AgreementWithExam, desk.asker.ask("agreement", view.selection))


def head(desk: Desk) -> Show:
    def show(view: View, _: str | None) -> Any:
        answer = _fitters(desk, view)
        # A fault in a word of the page is told here, where every view begins.
        chosen_outcome(view, answer)
        starting_place(view.page_words.get("start"), FITS_SHOWN)
        return [selected(answer, riders=answer.n_riders), headline(with_names(answer.headline, names_for(desk)))]

    return show


def answer_shows(desk: Desk) -> dict[str, Show]:
    def show_funnel(view: View, theme: str | None) -> Any:
        return answered(desk, view, _fitters(desk, view), names_for(desk), TEXT, theme)

    def show_next(view: View, _: str | None) -> Any:
        answer = _fitters(desk, view)
        try:
            agreement: AgreementWithExam | None = _agreement(desk, view)
        except NotRecordedError:
            agreement = None
        return beside(desk, view, answer, agreement, names_for(desk))

    return {ids.FUNNEL: show_funnel, ids.NEXT: show_next}


def _answer_layout() -> list[Any]:
    return [html.Div([place(ids.FUNNEL), place(ids.NEXT)], className="beside-steps")]


def worst_shows(desk: Desk) -> dict[str, Show]:
    return {ids.WORST: lambda view, theme: worst(desk, view, _agreement(desk, view), names_for(desk), TEXT)}


def process_shows(desk: Desk) -> dict[str, Show]:
    def show_done(view: View, _: str | None) -> Any:
        return what_was_done(desk, view.selection, _fitters(desk, view), names_for(desk), TEXT)

    def show_scatter(view: View, _: str | None) -> Any:
        # Compared with all fitters' captures, also where some are chosen.
        answer = cast(Noise, desk.asker.ask("noise", replace(view.selection, fitter=())))
        return scatter(desk, view.selection, answer, names_for(desk), TEXT)

    return {ids.PROCESS: show_done, ids.SCATTER: show_scatter}


def over_time_shows(desk: Desk) -> dict[str, Show]:
    return {ids.AGREEMENT: lambda view, theme: over_time(desk, view.selection, _agreement(desk, view), TEXT, theme)}


PAGE = Page(
    PATH,
    NAME,
    QUESTION,
    head,
    (
        PageView("", "Answer", _answer_layout, answer_shows),
        PageView(WORST_PATH, "Worst disagreements first", lambda: [ids.WORST], worst_shows),
        PageView("process", "Process", lambda: [ids.PROCESS, ids.SCATTER], process_shows),
        PageView("agreement-over-time", "Agreement over time", lambda: [ids.AGREEMENT], over_time_shows),
    ),
    moved={
        "start": WORST_PATH,
        "#fitters-scatter": "process",
        "#scatter": "process",
        "#fitters-agreement": "agreement-over-time",
        "#fitters-months": "agreement-over-time",
    },
)
