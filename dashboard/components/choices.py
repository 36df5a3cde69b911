"""One of several, chosen by links, and the parts of a long list: both are told by the address."""

from collections.abc import Callable, Iterable

from dash import dcc

from dashboard.components import html
from shared.errors import UsageError


def choice(name: str, href: str, *, is_shown: bool) -> dcc.Link:
    """One of several: its name, which leads to it, marked where it is shown."""
    return dcc.Link(
        [name, html.Span(" (shown)", className="for-readers")] if is_shown else name,
        href=href,
        className="choice is-chosen" if is_shown else "choice",
    )


def choices(label: str, of: str, links: Iterable[dcc.Link]) -> html.Nav:
    """The links of one choice. `label`: what is chosen, read aloud; `of`: by which name the focus finds the choice again."""
    items = html.Ul([html.Li(link) for link in links], className="choices")
    return html.Nav(items, **{"aria-label": label, "data-choices": of})


def starting_place(start: str | None, shown: int) -> int:
    """The first row shown, from the address. Raises UsageError where it is no whole number."""
    if start is not None and not start.isdecimal():
        raise UsageError(f"start: found {start!r}, expected a whole number such as {shown}.")
    return int(start or 0)


def within(start: str | None, shown: int, n: int) -> int:
    """The first row shown of `n`: that of the last part, where the address names one beyond the end."""
    return min(starting_place(start, shown), max(n - 1, 0) // shown * shown)


def turning(before: str, after: str, start: int, shown: int, n: int, address: Callable[[int], str]) -> html.P:
    """The links to the part before and the one after; `address`: of the part that begins at a row."""
    links = [
        dcc.Link(before, href=address(max(start - shown, 0)), className="choice") if start else None,
        dcc.Link(after, href=address(start + shown), className="choice") if start + shown < n else None,
    ]
    return html.P(links, className="turning")
