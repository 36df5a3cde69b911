"""The one wrapper of all callbacks: an expected failure is told as its sentence, any other with a reference number."""

import functools
import logging
import secrets
from collections.abc import Callable, Iterator
from typing import Any, Final

from dash import dcc
from dash.exceptions import PreventUpdate

from dashboard.components import html
from dashboard.components.address import search_of
from shared.errors import (
    FitledgerError,
    NoConvergenceError,
    NoMemoryError,
    NotEstimableError,
    NotRecordedError,
    NotReleasedError,
    StatisticsError,
    SupersededError,
)

log = logging.getLogger("fitledger.dashboard")

Callback = Callable[..., Any]
# What keeps a second answer back alone.
_OWN: Final = (NotEstimableError, NoConvergenceError, NoMemoryError)


def told(fault: Exception) -> str:
    """The sentence that a reader gets; the traceback of a programming fault goes to the log under the same number."""
    if isinstance(fault, FitledgerError):
        return str(fault)
    reference = secrets.token_hex(4)
    log.error("Fault %s", reference, exc_info=fault)
    return (
        f"This could not be shown: something in the program failed. It is noted in the log under {reference}. "
        "The other pages and selections still work."
    )


def fault_note(fault: Exception, way_out: str | None = None) -> html.Div:
    """A failure, told in the place where the answer would be, with the address of the page without a selection."""
    kind = "refusal" if isinstance(fault, StatisticsError | NotReleasedError) else "fault"
    links = [html.P(dcc.Link(words, href=address)) for words, address in _ways_out(fault, way_out)]
    first, *further = fault.passages if isinstance(fault, NotRecordedError) else (told(fault),)
    parts = [html.P(first, className="headline"), *map(html.P, further), *links]
    return html.Div(parts, className=kind, role="alert")


def _ways_out(fault: Exception, way_out: str | None) -> Iterator[tuple[str, str]]:
    """Where a reader may go from a failure: links in words, each with its address."""
    if way_out is None or isinstance(fault, NotRecordedError):
        return
    if isinstance(fault, NotReleasedError):
        yield "Show your own fits of this selection", way_out + search_of(fault.own)
        if fault.nearest:
            yield "Show the nearest group", way_out + search_of(fault.nearest)
    yield "Show all fits", way_out


def answering(callback: Callback, way_out: str) -> Callback:
    """Wraps a callback whose first input is the view and whose output is the place of an answer.

    Waits until there is a view, and shows the sentence of a failure where the answer would be.
    """
    return _wrapped(callback, lambda fault, *_: fault_note(fault, way_out))


def answering_beside(callback: Callback, first: Callback) -> Callback:
    """Wraps the callback of a further place on the page: a failure that the `first` place tells is not told again."""

    def beside(fault: Exception, view: str, *inputs: Any) -> html.Div | None:
        if isinstance(fault, NotRecordedError):
            told_already = bool({*fault.absent} & {*_absent_of(first, view, *inputs)})
        else:
            told_already = isinstance(fault, FitledgerError) and not isinstance(fault, _OWN)
        return None if told_already else fault_note(fault)

    return _wrapped(callback, beside)


def _absent_of(first: Callback, view: str, *inputs: Any) -> tuple[str, ...]:
    """What the first place says is not recorded; its answer is remembered, and costs nothing again."""
    try:
        first(view, *inputs)
    except NotRecordedError as refusal:
        return refusal.absent
    except FitledgerError:
        return ()
    return ()


def _wrapped(callback: Callback, on_fault: Callable[..., Any]) -> Callback:
    @functools.wraps(callback)
    def guard(view: str | None, *inputs: Any) -> Any:
        if view is None:
            raise PreventUpdate
        try:
            return callback(view, *inputs)
        except PreventUpdate:
            raise
        except SupersededError as fault:
            # The browser waits for the newer answer, and drops whatever comes for this one.
            raise PreventUpdate from fault
        except Exception as fault:
            return on_fault(fault, view, *inputs)

    return guard
