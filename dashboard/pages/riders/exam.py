"""The exam of the chosen fit, what of the setup is not as it suggests, and what the fitter wrote."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.components import html
from dashboard.components.notes import data_note
from dashboard.components.page import Desk, Show
from dashboard.pages.riders import ids
from dashboard.pages.riders.tables import EXAMS, or_none
from dashboard.pages.riders.told import Told, showing
from dashboard.questions.coaching.answers_agreement import LookRow
from dashboard.questions.riders.answers_riders import FitRow

PATH: Final = "exam"


def layout() -> list[Any]:
    return [ids.EXAM]


def shows(desk: Desk) -> dict[str, Show]:
    return showing(desk, ids.EXAM, PATH, _exam)


def _exam(told: Told) -> list[Any]:
    own = told.own()
    return [
        or_none("Exam of the feet", EXAMS, own["exams"], "No exam is recorded at this fit.", "riders-exams"),
        _looks(own["look_at"]),
        html.P(told.facts(), className="fit-facts"),
        _notes(told.fit),
        data_note(told.answer),
    ]


def _looks(rows: Sequence[LookRow]) -> html.Div:
    """The notes and flags against the exam, each a sentence."""
    words = [html.Li(f"{row.weight.capitalize()}: {row.words}") for row in rows]
    body = html.Ul(words) if words else html.P("Nothing is flagged or noted, or the fit cannot be judged.")
    return html.Div([html.H2("Beside the exam, to look at together", className="part-title"), body], className="fit-part")


def _notes(fit: FitRow) -> html.Div:
    """What the fitter wrote, as text and nothing else."""
    body = html.P(fit.notes, className="fit-notes") if fit.notes else html.P("There is no note to show.")
    return html.Div([html.H2("The fitter's notes", className="part-title"), body], className="fit-part")
