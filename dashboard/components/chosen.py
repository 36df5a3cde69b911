"""What is chosen, as words that can be taken away one by one: for what has no control, and while its control is folded away."""

from dataclasses import fields, replace
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import Addresses, View
from dashboard.components.filter_bar import CONTROLS, DATES, FIRST
from dashboard.figures.names import WORDS, plain
from dashboard.figures.theme import day
from dashboard.questions.selection.selection import FIELDS, Selection

_OPEN: Final = {field.name: field.default for field in fields(Selection)}
# Beyond so many values of one word the count is told instead.
_VALUES_SHOWN: Final = 3


def chosen_words(addresses: Addresses, path: str, view: View, *, splits: bool) -> html.Ul | None:
    """One link for each word of the view's selection, to the same page without it; `path` is that of the page."""
    kept = {word: value for word, value in view.page_words.items() if word != "start"}
    words = {word: value for word, value in view.selection.as_dict().items() if splits or word != "split"}
    if not words:
        return None
    items = []
    for word, value in words.items():
        opened: dict[str, Any] = {FIELDS[word]: _OPEN[FIELDS[word]]}
        without = replace(view.selection, **opened)
        said = [html.Span("Remove ", className="for-readers"), f"{_name(word)}: {_value_words(value)}"]
        cross = html.Span("×", className="cross", **{"aria-hidden": "true"})
        link = dcc.Link([*said, cross], href=addresses.page(path, without.query(), kept), className="choice")
        items.append(html.Li(link, className=_place(word)))
    return html.Ul(items)


def _name(word: str) -> str:
    return WORDS.get(word, plain(word).capitalize())


def _value_words(value: Any) -> str:
    if isinstance(value, tuple):
        return " or ".join(plain(code) for code in value) if len(value) <= _VALUES_SHOWN else f"{len(value):,} chosen"
    return plain(value) if isinstance(value, str) else day(value)


def _place(word: str) -> str:
    """Names the class by which style.css hides a word where its own control already shows it."""
    if word not in CONTROLS:
        return "has-no-control"
    if word in DATES:
        return "has-dates"
    return "has-first" if word in FIRST else "has-further"
