"""The letter and the full report from the dashboard: made when they are asked for, one at a time."""

import itertools
import threading
from typing import Final, Literal

from flask import Flask, Response, request

from dashboard.components.faults import told
from dashboard.components.page import Desk
from dashboard.questions.selection.selection import parse_selection
from dashboard.report.write import Wanted, made_report
from dashboard.web.downloads import status_of
from shared.errors import NotPermittedError, ReportError

_MIMETYPES: Final = {"pdf": "application/pdf", "html": "text/html"}
# A browser that draws takes as much memory as the dashboard itself; a second reader waits so long for the first.
_PATIENCE_SECONDS: Final = 60.0
_drawing = threading.BoundedSemaphore(1)


def add_reports(server: Flask, desk: Desk) -> None:
    """Adds `download/letter.pdf`, `download/report.pdf` and both as `.html`, with the words of a selection; `fitters=yes`."""

    def report(kind: str, form: Literal["pdf", "html"]) -> Response:
        words = request.args.to_dict()
        try:
            content = _made(desk, form, words, is_letter=kind == "letter")
        except ReportError as fault:
            return Response(f"{fault}\n", 503, mimetype="text/plain")
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")
        headers = {"Content-Disposition": f'attachment; filename="{kind}.{form}"'}
        return Response(content, mimetype=_MIMETYPES[form], headers=headers)

    for kind, form in itertools.product(("letter", "report"), _MIMETYPES):
        name = f"download/{kind}.{form}"
        server.add_url_rule(f"{desk.addresses.prefix}{name}", name, report, defaults={"kind": kind, "form": form})


def _made(desk: Desk, form: Literal["pdf", "html"], words: dict[str, str], *, is_letter: bool) -> bytes:
    if not desk.asker.reader().sees_the_studio:
        raise NotPermittedError(
            "The letter and the report tell of the whole studio, and are for the owner and the head fitter. Ask one of them."
        )
    wanted = Wanted(form, letter=is_letter, with_fitters=words.pop("fitters", "") == "yes")
    selection = parse_selection(words)
    if not _drawing.acquire(timeout=_PATIENCE_SECONDS):
        raise ReportError("Another report is being made at this moment. Ask again in a minute.")
    try:
        return made_report(desk, selection, wanted, lambda *_: None)
    finally:
        _drawing.release()
