"""What the Supports page shows: the effects, and the grid of supports and foot types."""

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from dashboard.components.chart import chart, marks_key, reading
from dashboard.components.notes import data_note, empty_state, headline, method, selected
from dashboard.components.page import Desk, frame
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.effects import alternative, effects_panel, finding, in_order
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES, unit_words
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.grid import grid
from dashboard.pages.supports.tables import effect_columns
from dashboard.questions.answers import Effects
from dashboard.questions.selection import Selection

NAME = "Supports"
QUESTION = "What moved the knee, and for whom?"
PATH = "supports"

Text = dict[str, tuple[str, ...]]


def layout() -> html.Div:
    return frame(NAME, QUESTION, ids.ANSWER, ids.GRID)


def answered(
    desk: Desk, selection: Selection, answer: Effects, outcome: str | None, text: Text, theme: str | None
) -> list[Any]:
    """Headline, one panel an outcome, and the same numbers as tables."""
    if not answer.n_fits:
        return [empty_state(answer.headline, desk.addresses.page(PATH))]
    shown = (outcome,) if outcome else MAIN_OUTCOMES
    level = number(desk.level, "share")
    return [
        selected(answer, riders=answer.n_riders, captures=answer.n_captures),
        headline(answer.headline),
        _outcomes(desk, selection, answer, outcome),
        marks_key(),
        html.Div(
            [_panel(answer, one, theme) for one in shown],
            className="panels" if len(shown) > 1 else "panels is-single",
        ),
        reading(*paragraphs(text["reading"], level=level)),
        *(_table(answer, one, level) for one in shown),
        csv_link(desk.csv("effects", "effects", selection), "every outcome and support"),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def by_type(desk: Desk, selection: Selection, answer: Effects, outcome: str | None, text: Text) -> list[Any]:
    """The grid of supports and the levels of the split, for one outcome."""
    if not answer.n_fits:
        return []
    return grid(answer.effects, outcome or MAIN_OUTCOMES[0], selection.split or "foot_type", desk, selection, text["grid"])


def _outcomes(desk: Desk, selection: Selection, answer: Effects, outcome: str | None) -> html.Nav:
    """The choice of an outcome as links, so that it is part of the address."""
    choices: Sequence[tuple[str | None, str]] = (
        (None, "Tilt, sway and offset"),
        *((code, words.name) for code, words in OUTCOMES.items() if in_order(answer.effects, code)),
    )
    return html.Nav(
        html.Ul(
            [
                html.Li(
                    dcc.Link(
                        [name, html.Span(" (shown)", className="for-readers")] if code == outcome else name,
                        href=desk.addresses.page(PATH, selection.query(), {"outcome": code} if code else None),
                        className="choice is-chosen" if code == outcome else "choice",
                    )
                )
                for code, name in choices
            ],
            className="choices",
        ),
        **{"aria-label": "Outcome", "data-choices": "outcome"},
    )


def _panel(answer: Effects, outcome: str, theme: str | None) -> html.Figure:
    return chart(
        effects_panel(answer.effects, outcome, theme),
        title=finding(answer.effects, outcome),
        alternative=alternative(answer.effects, outcome),
        name=outcome,
        level=2,
    )


def _table(answer: Effects, outcome: str, level: str) -> html.Div:
    rows = in_order(answer.effects, outcome)
    return table(f"{OUTCOMES[outcome].name}, in {unit_words(outcome)}", effect_columns(level), rows, row_key="support")
