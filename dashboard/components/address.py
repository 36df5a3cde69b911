"""Addresses: which page, the words of the selection, and the words that belong to one page.

The address is the only place where a view is kept, so that a link opens the same view and the browser's back button
works. A page word is a choice within one page; it follows the words of the selection.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import parse_qsl, urlencode

from dashboard.questions.selection.selection import Selection, parse_selection

# outcome: the outcome shown on Supports; reason, start: the rejected rows shown on Data.
# fit: the fit told on Riders; look: what deserves a look there. every: the periods of Studio's control charts.
# traced: the question whose tables are drawn strong on Data.
# span: "all" where Studio is to tell of all dates, since without dates it tells of the last month.
SPAN: Final = "span"
PAGE_WORDS: Final[tuple[str, ...]] = ("outcome", "reason", "start", "fit", "look", "every", "traced", SPAN)
# A rider belongs to these pages, and goes no further.
OF_A_RIDER: Final = ("riders", "next")


@dataclass(frozen=True)
class View:
    """What an address asks for."""

    selection: Selection
    page_words: dict[str, str]


def split_query(search: str | None) -> tuple[dict[str, str], dict[str, str]]:
    """The words of the selection and those of the page, from the query of an address."""
    pairs = dict(parse_qsl((search or "").lstrip("?")))
    page_words = {word: pairs.pop(word) for word in PAGE_WORDS if word in pairs}
    return pairs, page_words


def read_view(search: str | None) -> View:
    """The view of an address. Raises UsageError where a word or code of the selection is unknown."""
    words, page_words = split_query(search)
    return View(parse_selection(words), page_words)


def search_of(query: str, page_words: Mapping[str, str] | None = None) -> str:
    """The query of an address with its question mark, or nothing."""
    joined = "&".join(part for part in (query, urlencode(page_words or {}, safe=",")) if part)
    return f"?{joined}" if joined else ""


def query_for(page: str, selection: Selection) -> str:
    """The selection as the query of a link to a page, by its relative path: without what belongs to one rider alone."""
    return (selection if page in OF_A_RIDER else replace(selection, rider=())).query()


@dataclass(frozen=True)
class Addresses:
    """Makes addresses under the prefix that the dashboard is served at; `prefix` begins and ends with a slash."""

    prefix: str

    def page(self, path: str, query: str = "", page_words: Mapping[str, str] | None = None) -> str:
        """The address of a page; `path` is relative, empty for the first page."""
        return f"{self.prefix}{path}{search_of(query, page_words)}"

    def table(self, question: str, rows: str, selection: Selection, every: str = "") -> str:
        """The address of one list of an answer as CSV; `every`: its periods, where they are not those of the settings."""
        words = {"rows": rows, **({"every": every} if every else {})}
        return f"{self.prefix}download/{question}.csv{search_of(selection.query(), words)}"

    def shown_table(self, place: str, search: str, name: str) -> str:
        """The address of the rows that a table of a place shows for the query of an address, as CSV."""
        return f"{self.prefix}download/shown/{place}.csv{search or '?'}{'&' if search else ''}table={name}"

    def report(self, kind: str, form: str, selection: Selection) -> str:
        """The address at which a short or a full report or a meeting sheet (`kind`) of a selection is made, as `form`."""
        return f"{self.prefix}download/{kind}.{form}{search_of(selection.query())}"

    def calendar(self, selection: Selection, *, with_riders: bool) -> str:
        """The address of the follow-ups that are due as a calendar file, with the riders' ids or without."""
        return f"{self.prefix}download/calls.ics{search_of(selection.query(), {'riders': 'yes'} if with_riders else None)}"

    def path(self, pathname: str | None) -> str:
        """The relative path of an address, without the prefix and an ending slash."""
        return (pathname or "").removeprefix(self.prefix.rstrip("/")).strip("/")
