"""Asks the pages what they would show for a view, outside of a served dashboard."""

from collections.abc import Callable
from typing import Any

from flask import Flask

from dashboard.components.page import Desk, Page


class _Listener:
    """Stands in the place of the app while a page registers, and keeps what fills each of its places."""

    def __init__(self) -> None:
        self.server = Flask("fitledger.report")
        self.places: dict[str, Callable[..., Any]] = {}

    def callback(self, *parts: Any, **_: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
        """Keeps a callback that fills the children of one place."""

        def keep(function: Callable[..., Any]) -> Callable[..., Any]:
            output = parts[0]
            if getattr(output, "component_property", "") == "children" and isinstance(output.component_id, str):
                self.places[output.component_id] = function
            return function

        return keep

    def clientside_callback(self, *_: Any, **__: Any) -> None:
        """Nothing happens in a browser here."""


def shown(page: Page, desk: Desk, search: str, *places: str) -> list[Any]:
    """What the page puts in its places, in their order, for the query of an address; failures are told as it tells them."""
    filled = places_of(page, desk)
    return [filled[place](search, None) for place in places]


def places_of(page: Page, desk: Desk) -> dict[str, Callable[..., Any]]:
    """What fills each place of a page, by the place's id: from the query of an address, and the theme, to what stands there."""
    listener = _Listener()
    page.register(listener, desk)
    return listener.places
