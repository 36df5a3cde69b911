"""Fills a page's places: each is one callback from the view, and the theme where it draws, to what stands there."""

from collections.abc import Callable
from typing import Any

from dash import Dash, Input, Output

from dashboard.components import ids
from dashboard.components.address import View, read_view
from dashboard.components.faults import answering, answering_beside
from dashboard.components.page import Desk


def fill(app: Dash, desk: Desk, place: str, path: str, show: Callable[[View, str | None], Any]) -> None:
    """The page's first place: `show` takes the view and the theme; its failures are told with a way out to `path`."""

    def shown(search: str, theme: str | None) -> Any:
        return show(read_view(search), theme)

    app.callback(Output(place, "children"), Input(ids.VIEW, "data"), Input(ids.THEME, "data"))(
        answering(shown, desk.addresses.page(path))
    )


def fill_beside(app: Dash, place: str, show: Callable[[View, str | None], Any]) -> None:
    """A further place of the page: what the first place already tells is not told again."""

    def shown(search: str, theme: str | None) -> Any:
        return show(read_view(search), theme)

    app.callback(Output(place, "children"), Input(ids.VIEW, "data"), Input(ids.THEME, "data"))(answering_beside(shown))
