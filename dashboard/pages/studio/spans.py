"""The spans of time that the page offers, and the periods of its control charts; each is a part of the address."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.page import Desk
from dashboard.figures.theme import day
from dashboard.questions.selection.calendar import EVERY
from dashboard.questions.selection.selection import Selection


@dataclass(frozen=True)
class Span:
    """A span with its first and last day, both None for all; `lead` opens the page's sentence."""

    name: str
    start: date | None
    end: date | None
    lead: str

    def is_of(self, selection: Selection) -> bool:
        """Whether the selection asks for this span; one that is still running may leave its end open."""
        ends = (self.end, None) if self.lead.endswith("so far") else (self.end,)
        return selection.date_from == self.start and selection.date_to in ends


def spans_of(last: date | None, closed: date | None = None) -> tuple[Span, ...]:
    """The spans by the last day of the data; for a reader whose figures end with a closed quarter, by its last day."""
    everything = Span("All dates", None, None, "All fits so far")
    if last is None:
        return (everything,)
    if closed is not None:
        return (
            Span("All dates", None, None, f"All fits up to {day(closed)}"),
            Span("Last closed quarter", date(closed.year, closed.month - 2, 1), closed, "The last closed quarter"),
            Span("Last closed year", date(closed.year - (closed.month < 12), 1, 1), _year_end(closed), "The last closed year"),
        )
    quarter = date(last.year, last.month - (last.month - 1) % 3, 1)
    before = quarter - timedelta(days=1)
    last_quarter = date(before.year, before.month - 2, 1)
    return (
        everything,
        Span("This quarter", quarter, last, "This quarter so far"),
        Span("Last quarter", last_quarter, before, "The last quarter"),
        Span("This year", date(last.year, 1, 1), last, "This year so far"),
    )


def _year_end(closed: date) -> date:
    return closed if closed.month == 12 else date(closed.year - 1, 12, 31)


def span_links(desk: Desk, view: View, spans: tuple[Span, ...]) -> html.Nav:
    """The spans as links that set the dates and leave the other words as they are."""
    links = (
        _link(
            desk,
            span.name,
            replace(view.selection, date_from=span.start, date_to=span.end),
            view.page_words,
            is_chosen=span.is_of(view.selection),
        )
        for span in spans
    )
    return _choices(links, "Dates")


def period_links(desk: Desk, view: View, shown: str) -> html.Nav:
    """The periods of the control charts as links; those of the settings need no word in the address."""
    own, kept = desk.asker.settings.trends.every, {word: value for word, value in view.page_words.items() if word != "every"}
    links = (
        _link(
            desk,
            f"By {every}",
            view.selection,
            kept if every == own else {**kept, "every": every},
            is_chosen=every == shown,
        )
        for every in EVERY
    )
    return _choices(links, "Periods")


def _choices(links: Iterable[dcc.Link], name: str) -> html.Nav:
    items = html.Ul([html.Li(link) for link in links], className="choices")
    return html.Nav(items, **{"aria-label": name, "data-choices": name.lower()})


def _link(desk: Desk, name: str, selection: Selection, page_words: Mapping[str, str], *, is_chosen: bool) -> dcc.Link:
    return dcc.Link(
        [name, html.Span(" (shown)", className="for-readers")] if is_chosen else name,
        href=desk.addresses.page("", selection.query(), page_words),
        className="choice is-chosen" if is_chosen else "choice",
    )


def lead_in(selection: Selection, spans: tuple[Span, ...]) -> str:
    """Opens the page's sentence with the dates of which it speaks."""
    named_span = next((span for span in spans if span.is_of(selection)), None)
    if named_span is None:
        return f"Fits {_dates(selection.date_from, selection.date_to)}"
    return f"{named_span.lead}, {_dates(named_span.start, named_span.end)}" if named_span.start else named_span.lead


def _dates(start: date | None, end: date | None) -> str:
    if start and end:
        return f"from {day(start)} to {day(end)}"
    return f"from {day(start)}" if start else f"up to {day(end)}"
