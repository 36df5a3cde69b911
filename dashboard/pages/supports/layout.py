"""What the Supports page shows first: the effects, as pictures and as tables."""

from collections.abc import Sequence
from typing import Any

from dashboard.components import html
from dashboard.components.chart import chart, marks_key, reading
from dashboard.components.notes import empty_state, headline, selected
from dashboard.components.page import Desk, place
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.effects import alternative, effects_panel, finding, in_order, leading
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES, unit_words
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.choices import PATH, contents, outcome_links
from dashboard.pages.supports.tables import effect_columns
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.selection import Selection

NAME = "Supports"
QUESTION = "What moved the knee, and for whom?"
# The places below the first, in their order.
SECTIONS = ((ids.CHECKS, "Do they hold"), (ids.GRID, "For whom"), (ids.DOSE, "By dose"), (ids.FURTHER, "How far to trust it"))

Text = dict[str, tuple[str, ...]]


def layout() -> list[Any]:
    panels = html.Div([place(ids.panel_of(outcome)) for outcome in MAIN_OUTCOMES], className="panels is-outcomes")
    return [panels, ids.TABLES, ids.CHECKS, ids.GRID, ids.DOSE, ids.FURTHER]


def answered(desk: Desk, selection: Selection, answer: Effects, outcome: str | None) -> list[Any]:
    """Headline and what can be chosen, from the answer on tilt, or on the outcome that is chosen."""
    if not answer.n_fits:
        return [empty_state(answer.headline, desk.addresses.page(PATH))]
    return [
        selected(answer, riders=answer.n_riders, captures=answer.n_captures),
        headline(_sentence(answer, outcome)),
        html.Div(
            [
                outcome_links(desk, selection, outcome, MAIN_OUTCOMES, label="Outcome", with_all=True),
                contents(SECTIONS),
            ],
            className="choices-line",
        ),
        marks_key() if any(row.pooled is not None for row in answer.effects) else None,
    ]


def told(desk: Desk, selection: Selection, answer: Effects, outcomes: Sequence[str], text: Text) -> list[Any]:
    """How to read the panels, and their numbers as tables and in sentences."""
    level = number(desk.level, "share")
    return [
        reading(*paragraphs(text["reading"], level=level)),
        *(_table(answer, one, level) for one in outcomes),
        reading(*paragraphs(text["table"])),
        _sentences(answer, outcomes),
        csv_link(desk.csv("effects", "effects", selection), "every outcome and support"),
    ]


def _sentence(answer: Effects, outcome: str | None) -> str:
    """The answer's sentence, which is on tilt; on another outcome that is chosen, its own."""
    if outcome is None or outcome == MAIN_OUTCOMES[0]:
        return answer.headline
    first = leading(answer.effects, outcome)
    return first.words if first else f"{finding(answer.effects, outcome)}."


def panel(answer: Effects, outcome: str, theme: str | None) -> html.Figure:
    return chart(
        effects_panel(answer.effects, outcome, theme),
        title=finding(answer.effects, outcome),
        alternative=alternative(answer.effects, outcome),
        name=outcome,
        level=2,
        table_id=ids.table_of(outcome),
    )


def _table(answer: Effects, outcome: str, level: str) -> html.Div:
    rows = in_order(answer.effects, outcome)
    return table(
        f"{OUTCOMES[outcome].name}, in {unit_words(outcome)}",
        effect_columns(level),
        rows,
        row_key="support",
        table_id=ids.table_of(outcome),
    )


def _sentences(answer: Effects, outcomes: Sequence[str]) -> html.Details:
    """Each figure in the answer's words; unfolded where one is missing, since the words tell why."""
    rows = {outcome: in_order(answer.effects, outcome) for outcome in outcomes}
    return html.Details(
        [
            html.Summary("Each figure in a sentence"),
            *(part for outcome in outcomes for part in _outcome_sentences(outcome, rows[outcome])),
        ],
        className="more",
        id=ids.SENTENCES,
        open=any(row.pooled is None for outcome_rows in rows.values() for row in outcome_rows),
    )


def _outcome_sentences(outcome: str, rows: Sequence[EffectRow]) -> tuple[html.H3, html.Ul]:
    sentences = [html.Li(row.words, **{"data-words": f"{outcome}-{row.support}"}) for row in rows]
    return html.H3(OUTCOMES[outcome].name, className="told-of"), html.Ul(sentences, className="families")
