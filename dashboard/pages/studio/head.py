"""The head of every view of the Studio page: how the chosen dates went, in one sentence."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.address import SPAN, View
from dashboard.components.notes import headline
from dashboard.components.page import Desk, Show
from dashboard.pages.studio.chosen import dated, periods_of
from dashboard.questions.selection.scope import counted, spoken_day
from dashboard.questions.selection.spans import last_month, spoken_span
from shared.errors import TooFewError


def head(desk: Desk) -> Show:
    def show(view: View, _: str | None) -> Any:
        try:
            answer = periods_of(desk, view)
        except TooFewError as refusal:
            return _no_fit(desk, view, str(refusal))
        chip = dated(desk, view)[1]
        lead = f"{chip.name}, by today, {spoken_day(desk.asker.today())}: " if chip and chip.first else ""
        words = f"{lead}{answer.selection_words} ({counted(answer.n_riders, 'rider')})"
        said = html.P(
            [html.Strong("Selected: "), words[:1].lower() + words[1:]], className="selected", id="selected", role="status"
        )
        return [said, headline(answer.headline)]

    return show


def _no_fit(desk: Desk, view: View, words: str) -> html.Div:
    """Why there is nothing to tell, with the last month that is there, all dates of the selection and all fits as ways out."""
    last, page = desk.asker.choices().last_date, desk.addresses.page
    everything = replace(view.selection, date_from=None, date_to=None)
    ways = [("Show all dates", page("", everything.query(), {SPAN: "all"})), ("Show all fits", page("", "", {SPAN: "all"}))]
    if last is not None:
        month = last_month(last + timedelta(days=1))
        dates = replace(view.selection, date_from=month.first, date_to=month.last)
        ways.insert(0, (f"Show {spoken_span(month)}", page("", dates.query())))
    return html.Div(
        [html.P(words, className="headline"), *(html.P(dcc.Link(said, href=href)) for said, href in ways)],
        className="refusal",
        role="alert",
    )
