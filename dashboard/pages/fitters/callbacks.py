"""The Fitters page: asks `fitters`, and beside it `agreement`, and shows both answers."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dashboard.components.address import View
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import read_text
from dashboard.figures.funnel import OUTCOMES
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.agreement import agreed
from dashboard.pages.fitters.layout import NAME, PATH, QUESTION, answered, layout
from dashboard.pages.fitters.measured import scatter
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.data.answers_noise import Noise
from shared.errors import UsageError

TEXT = read_text(Path(__file__).with_name("text.md"))


def places(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        answer = cast(Fitters, desk.asker.ask("fitters", view.selection))
        return answered(desk, view.selection, answer, chosen_outcome(view), TEXT, theme)

    def show_scatter(view: View, _: str | None) -> Any:
        # Compared with all fitters' captures, also where some are chosen.
        answer = cast(Noise, desk.asker.ask("noise", replace(view.selection, fitter=())))
        return scatter(desk, view.selection, answer, TEXT)

    def show_agreement(view: View, theme: str | None) -> Any:
        answer = cast(AgreementWithExam, desk.asker.ask("agreement", view.selection))
        return agreed(desk, view, answer, TEXT, theme)

    return {ids.ANSWER: show, ids.SCATTER: show_scatter, ids.AGREEMENT: show_agreement}


def chosen_outcome(view: View) -> str:
    """The outcome named in the address, else the first. Raises UsageError for an unknown one."""
    outcome = view.page_words.get("outcome", next(iter(OUTCOMES)))
    if outcome not in OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(OUTCOMES)}.")
    return outcome


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page(PATH, NAME, QUESTION, head, (PageView("", "Answer", layout, shows),))
