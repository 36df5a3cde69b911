"""The short report, the full one and the meeting sheet from the dashboard: made when they are asked for, one at a time."""

import itertools
import threading
from typing import Final, Literal

from flask import Flask, Response, request

from dashboard.components.faults import told
from dashboard.components.page import Desk
from dashboard.questions.selection.selection import parse_selection
from dashboard.report.write import Wanted, made_meeting, made_report
from dashboard.web.downloads import status_of
from shared.errors import NotPermittedError, ReportError

_MIMETYPES: Final = {"pdf": "application/pdf", "html": "text/html"}
# A browser that draws takes as much memory as the dashboard itself; a second reader waits so long for the first.
_PATIENCE_SECONDS: Final = 60.0
_drawing = threading.BoundedSemaphore(1)


def add_reports(server: Flask, desk: Desk) -> None:
    """Adds `download/short.pdf`, `download/report.pdf` and `download/meeting.pdf`, and each as `.html`, with the words of a
    selection; `fitters=yes` to the first two, `ids=yes` to the last."""

    def report(kind: str, form: Literal["pdf", "html"]) -> Response:
        words = request.args.to_dict()
        try:
            content = _made(desk, kind, form, words)
        except ReportError as fault:
            return Response(f"{fault}\n", 503, mimetype="text/plain")
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")
        headers = {"Content-Disposition": f'attachment; filename="{kind}.{form}"'}
        return Response(content, mimetype=_MIMETYPES[form], headers=headers)

    for kind, form in itertools.product(("short", "report", "meeting"), _MIMETYPES):
        name = f"download/{kind}.{form}"
        server.add_url_rule(f"{desk.addresses.prefix}{name}", name, report, defaults={"kind": kind, "form": form})


def _made(desk: Desk, kind: str, form: Literal["pdf", "html"], words: dict[str, str]) -> bytes:
    if not desk.asker.reader().sees_the_studio:
        raise NotPermittedError(
            "Reports and the meeting sheet tell of the whole studio, and are for the owner and the head fitter. Ask one."
        )
    with_fitters, with_ids = (words.pop(word, "") == "yes" for word in ("fitters", "ids"))
    selection = parse_selection(words)
    if not _drawing.acquire(timeout=_PATIENCE_SECONDS):
        raise ReportError("Another report is being made at this moment. Ask again in a minute.")
    try:
        if kind == "meeting":
            return made_meeting(desk, selection, form, with_ids=with_ids)
        return made_report(desk, selection, Wanted(form, short=kind == "short", with_fitters=with_fitters), lambda *_: None)
    finally:
        _drawing.release()
