"""Agreement with the exam over time, and how often each rule asks for a look."""

from typing import Any

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures.theme import number
from dashboard.figures.timeline_agreement import agreement_figure, alternative, finding
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.answer import Text
from dashboard.pages.fitters.tables import months, rules
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.selection.selection import Selection


def over_time(desk: Desk, selection: Selection, answer: AgreementWithExam, text: Text, theme: str | None) -> list[Any]:
    """The share of fits without a flag by month, the rules behind it, and how agreement is told."""
    level, whole = number(desk.level, "share"), answer.agreement[0]
    by_month = table(
        "Agreement by month",
        months(level),
        answer.months,
        table_id=ids.MONTHS,
    )
    by_rule = table("How often each rule asks for a look", rules(level), answer.rules)
    return [
        html.P(unbroken(whole.words), className="agreement-words"),
        html.Div(
            chart(
                agreement_figure(answer.months, whole, theme),
                title=finding(answer.months, whole),
                alternative=alternative(answer.months),
                name="agreement",
                level=2,
                table=by_month,
            ),
            className="panels is-single",
        ),
        reading(*paragraphs(text["agreement"], level=level)),
        html.Details([html.Summary("How often each rule asks for a look"), by_rule], className="more"),
        method(answer, [html.P(words) for words in answer.cautions], what="agreement"),
        data_note(answer),
    ]
