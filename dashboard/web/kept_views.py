"""Views that an account keeps: names for addresses. Where nobody signs in the browser keeps them (assets/kept-views.js)."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, jsonify, request

from dashboard.components.address import Addresses, read_view, search_of
from dashboard.components.faults import told
from dashboard.components.kept_views import NEVER_KEPT, without_riders
from dashboard.components.page import Desk
from dashboard.web.downloads import status_of
from etl.keeping.kept_views import KeptViews
from shared.errors import UsageError

# A page of another site cannot set a header of its own without asking first.
HEADER = "X-Fitledger"


def add_kept_views(server: Flask, desk: Desk) -> None:
    """Adds `views` (GET: the reader's views; POST: keeps one, or removes one) under the prefix."""
    store = KeptViews(desk.asker.path)
    address = f"{desk.addresses.prefix}views"

    @server.get(address)
    def listed() -> tuple[Response, int]:
        return _views(lambda: None)

    @server.post(address)
    def change() -> tuple[Response, int]:
        def changed() -> None:
            given: Any = request.get_json()
            if request.headers.get(HEADER) != "views" or not isinstance(given, dict):
                raise UsageError("Views are kept from the dashboard's own pages only. Nothing was changed.")
            name = str(given.get("name", ""))
            if given.get("remove"):
                store.remove(_account(), name)
            else:
                store.keep(_account(), name, kept_address(desk.addresses, str(given.get("address", ""))))

        return _views(changed)

    def _account() -> str:
        name = desk.asker.reader().name
        if not name:
            raise UsageError("Nobody signs in here: the browser keeps the views itself. Nothing was changed.")
        return name

    def _views(do: Callable[[], None]) -> tuple[Response, int]:
        try:
            account = _account()
            do()
            views = [{"name": view.name, "address": desk.addresses.prefix + view.address} for view in store.of(account)]
        except Exception as fault:
            return jsonify(words=told(fault)), status_of(fault)
        return jsonify(views=views), 200


def kept_address(addresses: Addresses, asked: str) -> str:
    """The relative address that is kept of one that was asked for: of this dashboard, with a selection that it knows, without
    a rider or a fit. Raises UsageError for any other."""
    parts = urlsplit(asked)
    if parts.scheme or parts.netloc or not parts.path.startswith(addresses.prefix):
        raise UsageError("Only addresses of this dashboard are kept. Nothing was changed.")
    view = read_view(without_riders(parts.query))
    page_words = {word: value for word, value in view.page_words.items() if word not in NEVER_KEPT}
    return addresses.path(parts.path) + search_of(view.selection.query(), page_words)
