"""What moved it: each support's told interval on tilt, sway and offset."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, PageView, Show, place
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.effects import finding, in_order, told_panel, told_words
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES, unit_words
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.asked import TEXT, effects, lacking_in
from dashboard.pages.supports.tables import effect_columns
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.effects.answers_power import Power
from dashboard.questions.selection.selection import Selection
from shared.errors import NotReleasedError, StatisticsError


def layout() -> list[Any]:
    return [html.Div([place(ids.panel_of(outcome)) for outcome in MAIN_OUTCOMES], className="panels is-outcomes"), ids.MOVED]


def shows(desk: Desk) -> dict[str, Show]:
    # Each place asks for its own outcome, so that the first picture does not wait for the others.
    def panel_of(outcome: str) -> Show:
        def show(view: View, theme: str | None) -> Any:
            answer = effects(desk, view.selection, "overall", outcomes=(outcome,))
            return panel(desk, view.selection, answer, outcome, theme)

        return show

    def show_words(view: View, _: str | None) -> Any:
        return told(desk, effects(desk, view.selection, "overall"), _settling(desk, view.selection))

    return {**{ids.panel_of(outcome): panel_of(outcome) for outcome in MAIN_OUTCOMES}, ids.MOVED: show_words}


def _settling(desk: Desk, selection: Selection) -> dict[tuple[str, str], str]:
    """How many fits settle each figure, in words by outcome and support; nothing where it may not be told."""
    try:
        answer = cast(Power, desk.asker.ask("power", replace(selection, split=None)))
    except (StatisticsError, NotReleasedError):
        return {}
    return {(row.outcome, row.support): row.words for row in answer.power}


def panel(desk: Desk, selection: Selection, answer: Effects, outcome: str, theme: str | None) -> html.Figure:
    """The picture of one outcome over its table."""
    empty = lacking_in(desk)
    return chart(
        told_panel(answer.effects, outcome, empty, theme),
        title=finding(answer.effects, outcome),
        alternative=told_words(in_order(answer.effects, outcome), outcome, empty),
        name=outcome,
        level=2,
        table=table(
            f"{OUTCOMES[outcome].name}, in {unit_words(outcome)}",
            effect_columns(),
            in_order(answer.effects, outcome),
            row_key="support",
        ),
    )


def told(desk: Desk, answer: Effects, settles: Mapping[tuple[str, str], str]) -> list[Any]:
    """How the panels are read, and each figure in the answer's words; of one without a clear change what settles it."""
    return [
        reading(*paragraphs(TEXT["moved"], level=number(desk.level, "share"))),
        html.Details(
            [
                html.Summary("Each figure in a sentence"),
                *(part for outcome in MAIN_OUTCOMES for part in _sentences(answer, outcome, settles)),
            ],
            className="more",
        ),
        html.Details([html.Summary("What the tables hold"), *paragraphs(TEXT["table"])], className="more"),
    ]


def _sentences(answer: Effects, outcome: str, settles: Mapping[tuple[str, str], str]) -> tuple[html.H3, html.Ul]:
    sentences = []
    for row in in_order(answer.effects, outcome):
        sentences.append(html.Li(row.words, **{"data-words": f"{outcome}-{row.support}"}))
        if not row.direction and (outcome, row.support) in settles:
            sentences.append(html.Li(settles[outcome, row.support], className="settles"))
    return html.H3(OUTCOMES[outcome].name, className="told-of"), html.Ul(sentences, className="families")


VIEW = PageView("what-moved-it", "What moved it", layout, shows)
