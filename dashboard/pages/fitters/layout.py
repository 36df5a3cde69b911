"""What the Fitters page shows of `fitters`: the funnel of one outcome, its numbers, and what was done."""

from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import headline, method, selected
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures.funnel import OUTCOMES, alternative, finding, funnel_figure
from dashboard.figures.theme import number
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.tables import done, fitter_columns, process_columns
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.selection.numbers import spoken_p
from dashboard.questions.selection.selection import Selection

NAME = "Fitters"
QUESTION = "Who needs a second pair of eyes?"
PATH = "fitters"

Text = dict[str, tuple[str, ...]]


def layout() -> list[Any]:
    return [ids.SCATTER, ids.AGREEMENT]


def answered(desk: Desk, selection: Selection, answer: Fitters, outcome: str, text: Text, theme: str | None) -> list[Any]:
    """Headline, the funnel of one outcome, its table, and what each fitter did."""
    settings = desk.asker.settings
    level, minimum = number(desk.level, "share"), settings.minimum.sessions_per_fitter
    inner, outer = levels = (_percent(settings.fitters.inner_level), _percent(settings.fitters.outer_level))
    rows = [row for row in answer.fitters if row.outcome == outcome]
    return [
        selected(answer, riders=answer.n_riders),
        headline(answer.headline),
        _outcomes(desk, selection, outcome),
        html.Div(
            chart(
                funnel_figure(answer.fitters, answer.funnel, outcome, levels, theme),
                title=finding(answer.fitters, outcome, levels),
                alternative=alternative(answer.fitters, outcome),
                name="funnel",
                level=2,
                table_id=ids.TABLE,
            ),
            className="panels is-single",
        ),
        html.P([row.words for row in answer.dispersion if row.outcome == outcome], className="scatter"),
        reading(*paragraphs(text["funnel"], inner=inner, outer=outer)),
        table(
            f"{OUTCOMES[outcome].name}, by fitter",
            fitter_columns(rows[0].unit if rows else "share", level),
            rows,
            row_key="fitter_id",
            csv=desk.csv("fitters", "fitters", selection),
            table_id=ids.TABLE,
        ),
        reading(*paragraphs(text["table"], level=level, minimum=minimum)),
        html.Details(
            [
                html.Summary("Each fitter in a sentence"),
                html.Ul([html.Li(row.words, **{"data-fitter": row.fitter_id}) for row in rows], className="told-fitters"),
            ],
            className="more",
        ),
        html.H2("What was done", className="section-title"),
        table(
            "Shares of each fitter's fits",
            process_columns(),
            done(answer.process),
            row_key="fitter_id",
            csv=desk.csv("fitters", "process", selection),
        ),
        reading(*paragraphs(text["process"], level=level)),
        method(answer, [*paragraphs(text["method"]), html.P(unbroken(_dispersion(answer)))], what="the comparison"),
    ]


def _dispersion(answer: Fitters) -> str:
    """How far the fitters scatter on each outcome, as a statistic."""
    outcome_words = [
        f"{OUTCOMES[row.outcome].name.lower()} {row.phi:.2f} ({spoken_p(row.p_value)})"
        for row in answer.dispersion
        if row.phi is not None and row.p_value is not None
    ]
    return (
        f"Phi of this selection: {', '.join(outcome_words)}."
        if outcome_words
        else "Phi is not known: too few fitters can be compared."
    )


def _percent(level: float) -> str:
    return f"{100 * level:g}\u202f%"


def _outcomes(desk: Desk, selection: Selection, outcome: str) -> html.Nav:
    """The choice of an outcome as links, so that it is part of the address."""
    return html.Nav(
        html.Ul(
            [
                html.Li(
                    dcc.Link(
                        [words.name, html.Span(" (shown)", className="for-readers")] if code == outcome else words.name,
                        href=desk.addresses.page(PATH, selection.query(), {"outcome": code}),
                        className="choice is-chosen" if code == outcome else "choice",
                    )
                )
                for code, words in OUTCOMES.items()
            ],
            className="choices",
        ),
        **{"aria-label": "Outcome", "data-choices": "outcome"},
    )
