"""The control that gives the view on the screen a name, and leads back to those that were named: folded, one tab stop.

Its inside is drawn by assets/kept-views.js, which asks the server where readers sign in and the browser's own store elsewhere.
"""

from typing import Final
from urllib.parse import parse_qsl, urlencode

from dashboard.components import html
from dashboard.components.address import Addresses

# A rider belongs to the Riders page and goes no further: these words are left out of a kept view.
NEVER_KEPT: Final = ("rider", "fit")


def kept_views(addresses: Addresses, *, signs_in: bool) -> html.Details:
    """`signs_in`: whether the reader has an account, which keeps the views then."""
    return html.Details(
        [html.Summary("Kept views", className="button"), html.Div(className="kept-views-body")],
        className="kept-views",
        **{
            "data-prefix": addresses.prefix,
            "data-never-kept": ",".join(NEVER_KEPT),
            "data-keeper": "account" if signs_in else "browser",
        },
    )


def without_riders(query: str) -> str:
    """The query of an address without the words that name a rider or a fit."""
    return urlencode([(word, value) for word, value in parse_qsl(query) if word not in NEVER_KEPT], safe=",")
