"""Words around the figures: what is selected, where the data end, how a figure was computed, cautions."""

import re
from collections.abc import Mapping
from typing import Any, Final

from dash import dcc, html

from dashboard.components.text import unbroken
from dashboard.figures.names import plain
from dashboard.figures.theme import day
from dashboard.questions.answers import Answer

# A statement ends with a full stop or a semicolon, those within brackets left aside.
_STATEMENTS: Final = re.compile(r"(?P<first>(?:[^(.;]|\([^)]*\)|[.;](?! ))+[.;]) (?P<rest>.+)")
# The whole of it is told at every place where a figure could be read as advice.
CAUTION = (
    "These figures describe what followed in this studio's riders. They are no medical advice and no prescription.",
    "Pain, numbness, swelling, injury or a recent operation: stop, and refer to a licensed clinician.",
    "Change one support at a time, in small steps; check foot room and comfort after each; follow the makers' limits "
    "for cleats, spacers and pedals (thread engagement). Local rules on health data apply.",
)


def caution() -> html.Aside:
    """The caution, whole."""
    return html.Aside(
        [html.H2("Before anything is changed"), *(html.P(text) for text in CAUTION)], className="caution", role="note"
    )


def selected(answer: Answer, **counts: int) -> html.P:
    """The selection said in words, with further counts behind the answer."""
    counted = ", ".join(f"{n:,} {what}" for what, n in counts.items())
    words = f"{answer.selection_words} ({counted})" if counted else answer.selection_words
    return html.P([html.Strong("Selected: "), words], className="selected", id="selected", role="status")


def headline(text: str) -> html.P:
    """What answers the page's question: the first statement large, what follows it smaller."""
    held = unbroken(text)
    parts = _STATEMENTS.fullmatch(held)
    if not parts:
        return html.P(held, className="headline", id="headline")
    # On a line of its own a statement needs no semicolon; read aloud it does.
    first, ends = parts["first"].removesuffix(";"), "; " if parts["first"].endswith(";") else " "
    pause = html.Span(ends, className="for-readers") if ends == "; " else ends
    return html.P([first, pause, html.Span(parts["rest"], className="headline-rest")], className="headline", id="headline")


def data_note(answer: Answer) -> html.P:
    """The day on which the data end."""
    return html.P(f"Data up to {day(answer.as_of)}." if answer.as_of else "No data yet.", className="data-note")


def method(answer: Answer, passage: list[html.P], *, what: str = "this") -> html.Details:
    """How the figures were computed: in plain words, then as the answer itself tells it. `what`: where a page tells two."""
    told = [part for name, value in answer.method.items() for part in (html.Dt(plain(name)), html.Dd(_said(value)))]
    return html.Details(
        [html.Summary(f"How {what} is computed"), *passage, html.Dl(told) if told else None], className="method"
    )


def _said(value: Any) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"{plain(str(name))}: {_said(part)}" for name, part in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(_said(part) for part in value)
    return str(value)


def empty_state(sentence: str, reset: str) -> html.Div:
    """Nothing to show: why, and a way out; `reset` is the page's address without a selection."""
    return html.Div(
        [
            headline(sentence),
            html.P(["Widen the dates, leave out a filter, or ", dcc.Link("show everything", href=reset), "."]),
        ],
        className="empty-state",
        role="status",
    )
