"""The addresses behind the Data page: where files are sent to, and the lists that belong to an upload or to mending."""

import io
import zipfile
from collections.abc import Callable
from typing import Any, Final

from flask import Flask, Response, has_request_context, jsonify, request
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.components.faults import told
from dashboard.printing import mend_text
from dashboard.questions.selection.answers import rows_to_csv
from dashboard.web.downloads import status_of
from dashboard.web.guard import take_larger
from dashboard.web.uploads import Uploads
from etl.mend_files import ToMend
from shared.catalogue import catalogue
from shared.errors import UploadError, UsageError

# A page of another site cannot set a header of its own without asking first.
HEADER: Final = "X-Fitledger"
# What a multipart body needs besides its files: boundaries, names, headers.
_AROUND: Final = 200_000


# Set by a proxy, behind which every reader seems to sit at the proxy's own machine.
_FORWARDED: Final = ("Forwarded", "X-Forwarded-For", "X-Real-IP")


def reader_address() -> str | None:
    """The address of the reader who asks; None where it is not known, as behind a proxy."""
    if not has_request_context() or any(name in request.headers for name in _FORWARDED):
        return None
    return request.remote_addr


def add_upload_routes(server: Flask, prefix: str, uploads: Uploads) -> None:
    """Adds `upload` and `upload/folder` (POST), `upload/<token>/step`, `upload/<token>/findings.csv`,
    `upload/<token>/mapping.toml` and `mend/<table>.csv` under the prefix."""
    _add_mapping(server, prefix, uploads)
    _take_files(server, f"{prefix}upload", uploads)
    _add_receiving(server, prefix, uploads)

    @server.get(f"{prefix}upload/<token>/step")
    def step(token: str) -> tuple[Response, int]:
        return _words(lambda: _permitted(uploads).step(token))

    @server.get(f"{prefix}upload/<token>/findings.csv")
    def findings(token: str) -> Response:
        return _csv("findings", lambda: _permitted(uploads).findings(token))

    @server.get(f"{prefix}mend/<table>.csv")
    def mend(table: str) -> Response:
        try:
            if table not in catalogue():
                raise UsageError(f"{table!r} is no table; expected one of {', '.join(catalogue())}.")
            return _to_mend(table, _permitted(uploads).rejects(table))
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")


def _add_receiving(server: Flask, prefix: str, uploads: Uploads) -> None:
    def take(receive: Callable[[], str]) -> tuple[Response, int]:
        try:
            uploads.require_allowed(reader_address())
            if request.headers.get(HEADER) != "upload":
                raise UploadError("Files are taken from the Data page only. Nothing was changed. Open that page and send them.")
            token = receive()
        except RequestEntityTooLarge:
            return jsonify(words=str(uploads.too_large())), 413
        except Exception as fault:
            return jsonify(words=told(fault)), status_of(fault)
        return jsonify(token=token), 200

    @server.post(f"{prefix}upload")
    def receive() -> tuple[Response, int]:
        return take(lambda: uploads.receive((file.filename, file.stream) for file in request.files.getlist("files")))

    @server.post(f"{prefix}upload/folder")
    def receive_folder() -> tuple[Response, int]:
        return take(uploads.receive_folder)


def _add_mapping(server: Flask, prefix: str, uploads: Uploads) -> None:
    @server.get(f"{prefix}upload/<token>/mapping.toml")
    def mapping(token: str) -> Response:
        try:
            return _attached("mapping.toml", "application/toml", _permitted(uploads).mapping(token))
        except Exception as fault:
            return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")


def _to_mend(table: str, found: ToMend) -> Response:
    """The rejected rows of a table: one file, or an archive where they were read in several ways."""
    if not found.files and found.lost:
        raise UsageError(" ".join(found.lost_words))
    name, texts = f"{table}-rejects", {f"{file.name}.csv": mend_text(file) for file in found.files}
    if len(texts) < 2:
        return _attached(f"{name}.csv", "text/csv", "".join(texts.values()))
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file, text in texts.items():
            archive.writestr(file, text)
    return _attached(f"{name}.zip", "application/zip", packed.getvalue())


def _attached(name: str, kind: str, content: str | bytes) -> Response:
    return Response(content, mimetype=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _permitted(uploads: Uploads) -> Uploads:
    """The uploads, for a reader who may load. Raises NotPermittedError for any other."""
    uploads.require_permitted()
    return uploads


def _words(tell: Callable[[], str]) -> tuple[Response, int]:
    try:
        return jsonify(words=tell()), 200
    except Exception as fault:
        return jsonify(words=told(fault)), status_of(fault)


def _take_files(server: Flask, path: str, uploads: Uploads) -> None:
    if uploads.settings.upload.allowed:
        take_larger(server, path, uploads.largest_bytes + _AROUND)


def _csv(name: str, rows: Callable[[], list[dict[str, Any]]]) -> Response:
    try:
        text = rows_to_csv(rows())
    except Exception as fault:
        return Response(told(fault) + "\n", status_of(fault), mimetype="text/plain")
    return _attached(f"{name}.csv", "text/csv", text)
