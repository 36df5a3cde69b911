"""The one door before every page and file for the front desk: the list of calls and what belongs to it, and nothing else.

What is asked beyond it is refused by the asker as well (questions/door/sight.py); here whole pages and routes are.
"""

from typing import Any, Final

from flask import Flask, Response, redirect, request

from dashboard.components.page import Desk, Page
from dashboard.questions.door.sight import CALLS_ONLY
from dashboard.web.entries import ADDRESS
from shared.errors import NotPermittedError

# What holds nothing of the studio, and what is answered as far as the asker answers it.
_ANSWERED: Final = frozenset(
    {
        ADDRESS, "download/calls.csv", "download/calls.ics", "health", "login", "login/code", "login/set-up", "logout",
        "_dash-update-component", "_dash-layout", "_dash-dependencies", "_favicon.ico",
    }
)  # fmt: skip
_FILES: Final = ("assets/", "_dash-component-suites/")


def add_desk_gate(server: Flask, desk: Desk, page: Page) -> None:
    """Refuses the front desk all but the one view of `page`. Call when the reader of a request is known."""
    (view,) = page.views
    home = page.path_of(view)
    answered = {home, *(f"download/shown/{place}.csv" for place in view.layout()), *_ANSWERED}

    @server.before_request
    def keep_to_calls() -> Any:
        try:
            is_desk = desk.asker.reader().calls_only
        except NotPermittedError:
            return None  # the door before this one lets nobody in
        path = request.path.removeprefix(desk.addresses.prefix)
        if not is_desk or path in answered or path.startswith(_FILES):
            return None
        if path.strip("/") in ("", page.path) and request.method == "GET":
            return redirect(desk.addresses.page(home))
        return Response(f"{CALLS_ONLY}\n", 403, mimetype="text/plain")
