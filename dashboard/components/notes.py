"""Words around the figures: what is selected, where the data end, how a figure was computed, cautions."""

import re
from collections.abc import Mapping
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.text import unbroken
from dashboard.figures.names import plain
from dashboard.figures.theme import day
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.scope import counted
from shared.freshness import Freshness
from shared.units import UNITS

# A statement ends with a full stop or a semicolon, those within brackets left aside.
_STATEMENTS: Final = re.compile(r"(?P<first>(?:[^(.;]|\([^)]*\)|[.;](?! ))+[.;]) (?P<rest>.+)")
# A name of the program, such as tilt_arrival_deg.
_CODE: Final = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")
# The whole of it is told at every place where a figure could be read as advice.
CAUTION = (
    "These figures describe what followed in this studio's riders. They are no medical advice and no prescription.",
    "Pain, numbness, swelling, injury or a recent operation: stop, and refer to a licensed clinician.",
    "Change one support at a time, in small steps. Check foot room and comfort after each. Follow the makers' limits "
    "for cleats, spacers and pedals (thread engagement). Local rules on health data apply.",
)


def caution() -> html.Aside:
    """Makes the caution, which is always told whole."""
    return html.Aside(
        [html.H2("Before anything is changed"), *(html.P(text) for text in CAUTION)], className="caution", role="note"
    )


def selected(answer: Answer, **counts: int) -> html.P:
    """The selection said in words, with further counts behind the answer, each by its name in the plural."""
    count_words = ", ".join(counted(n, what.removesuffix("s")) for what, n in counts.items())
    words = f"{answer.selection_words} ({count_words})" if count_words else answer.selection_words
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


def age_note(age: Freshness, load_at: str | None) -> html.P | None:
    """What must be known of the age of the data before anything is read, and what to do about it; nothing where they are of
    these days. `load_at`: where exports are loaded; None: the reader may not."""
    if not age.words:
        return None
    if age.is_stale:
        way: Any = (
            dcc.Link("Load newer exports", href=load_at) if load_at else "The owner or the head fitter can load newer exports."
        )
    else:
        way = age.todo
    return html.P([html.Strong(unbroken(age.words)), " ", way], className="age-note", role="status")


def data_note(answer: Answer) -> html.P:
    """The day on which the data end."""
    return html.P(f"Data up to {day(answer.as_of)}." if answer.as_of else "No data yet.", className="data-note")


def method(answer: Answer, passage: list[html.P], *, what: str = "this") -> html.Details:
    """How the figures were computed: in plain words, then as the answer itself tells it. `what`: where a page tells two."""
    named = [_named(name, value) for name, value in answer.method.items()]
    terms = [part for name, words in named for part in (html.Dt(name), html.Dd(words))]
    return html.Details(
        [html.Summary(f"How {what} is computed"), *passage, html.Dl(terms) if terms else None], className="method"
    )


def _named(name: str, value: Any) -> tuple[str, str]:
    """A part of a method in words: the unit stands with the value and not in the name, a level is a percentage."""
    unit = next((unit for unit in UNITS.values() if name.endswith(unit.suffix)), None)
    if unit and isinstance(value, int | float):
        gap = "" if unit.sign == "°" else "\u202f"
        return plain(name.removesuffix(unit.suffix)), f"{value:g}{gap}{unit.sign}"
    if isinstance(value, float) and 0 < value < 1:
        return plain(name), f"{100 * value:g}\u202f%"
    return plain(name), _value_words(value)


def _value_words(value: Any) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"{plain(str(name))}: {_value_words(part)}" for name, part in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(_value_words(part) for part in value)
    return _CODE.sub(lambda code: plain(_without_unit(code[0])), str(value)).replace("+-", "±")


def _without_unit(code: str) -> str:
    return next((code.removesuffix(unit.suffix) for unit in UNITS.values() if code.endswith(unit.suffix)), code)
