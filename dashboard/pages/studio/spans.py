"""The spans of time that the page offers: this quarter, the last one, this year, all; each is a part of the address."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from dash import dcc, html

from dashboard.components.page import Desk
from dashboard.figures.theme import day
from dashboard.questions.selection import Selection


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


def spans_of(last: date | None) -> tuple[Span, ...]:
    """The spans by the last day of the data."""
    everything = Span("All dates", None, None, "All fits so far")
    if last is None:
        return (everything,)
    quarter = date(last.year, last.month - (last.month - 1) % 3, 1)
    before = quarter - timedelta(days=1)
    last_quarter = date(before.year, before.month - 2, 1)
    return (
        everything,
        Span("This quarter", quarter, last, "This quarter so far"),
        Span("Last quarter", last_quarter, before, "The last quarter"),
        Span("This year", date(last.year, 1, 1), last, "This year so far"),
    )


def span_links(desk: Desk, selection: Selection, spans: tuple[Span, ...]) -> html.Nav:
    """The spans as links that set the dates and leave the other words as they are."""
    return html.Nav(
        html.Ul([html.Li(_link(desk, selection, span)) for span in spans], className="choices"),
        **{"aria-label": "Dates", "data-choices": "dates"},
    )


def _link(desk: Desk, selection: Selection, span: Span) -> dcc.Link:
    is_chosen = span.is_of(selection)
    return dcc.Link(
        [span.name, html.Span(" (shown)", className="for-readers")] if is_chosen else span.name,
        href=desk.addresses.page("", replace(selection, date_from=span.start, date_to=span.end).query()),
        className="choice is-chosen" if is_chosen else "choice",
    )


def lead_in(selection: Selection, spans: tuple[Span, ...]) -> str:
    """Of which dates the page's sentence speaks."""
    found = next((span for span in spans if span.is_of(selection)), None)
    if found is None:
        return f"Fits {_dates(selection.date_from, selection.date_to)}"
    return f"{found.lead}, {_dates(found.start, found.end)}" if found.start else found.lead


def _dates(start: date | None, end: date | None) -> str:
    if start and end:
        return f"from {day(start)} to {day(end)}"
    return f"from {day(start)}" if start else f"up to {day(end)}"
