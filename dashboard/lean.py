"""Dash that gives the browser no more to do than the pages need."""

import functools
import re
from collections.abc import Callable, Collection
from typing import Any, Final

from dash import Dash

from dashboard.components.still import made_still, touched_ids

# What Dash puts on every page for browsers of the years before 2020, and for a table component that no page has.
_NOT_NEEDED: Final = re.compile(r'<script src="[^"]*/(?:deps/polyfill@|dash_table/)[^"]*"></script>\s*')


class LeanDash(Dash):  # type: ignore[misc]  # Dash is untyped
    """Dash whose layout and answers are made still where nothing reads or writes them, and whose pages load what they use.

    `scripted`: ids that own scripts fill, beside those of the callbacks.
    """

    def __init__(self, *names: str, scripted: Collection[str] = (), **options: Any) -> None:
        super().__init__(*names, **options)
        self._scripted = frozenset(scripted)

    def callback(self, *parts: Any, **options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
        """As Dash's, and what the function returns is made still."""
        register = super().callback(*parts, **options)

        def of(function: Callable[..., Any]) -> Callable[..., Any]:
            @functools.wraps(function)
            def answer(*inputs: Any) -> Any:
                return self.still(function(*inputs))

            register(answer)
            return function

        return of

    def still(self, shown: Any) -> Any:
        """What is shown, with every piece that no callback names as one component."""
        return made_still(shown, self._touched)

    def interpolate_index(self, **parts: str) -> str:
        """The page's HTML without the scripts that nothing here uses."""
        return str(super().interpolate_index(**{**parts, "scripts": _NOT_NEEDED.sub("", parts["scripts"])}))

    @functools.cached_property
    def _touched(self) -> frozenset[str]:
        """Ids that callbacks or scripts read or write; asked for the first time when all are registered."""
        return self._scripted | touched_ids(self.callback_map, self._callback_list)
