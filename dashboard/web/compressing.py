"""Sends scripts, style sheets and long answers packed, as every browser takes them: a third of the bytes at the first view.

Each file is packed once and well; a long answer is packed as it leaves, quickly, and a short one is sent as it is.
"""

import gzip
from typing import Final

from flask import Flask, Response, request

_PACKED: Final = frozenset({"text/javascript", "application/javascript", "text/css"})
_SMALLEST_BYTES: Final = 1_000
_ANSWER: Final = "application/json"
_LONG_ANSWER_BYTES: Final = 10_000


def add_compressing(server: Flask) -> None:
    """Packs what is sent to those who take it packed."""
    kept: dict[tuple[str, str | None], bytes] = {}

    @server.after_request
    def pack_answer(response: Response) -> Response:
        if response.status_code != 200 or response.mimetype != _ANSWER or not request.accept_encodings["gzip"]:
            return response
        answer = response.get_data()
        if len(answer) >= _LONG_ANSWER_BYTES:
            response.vary.add("Accept-Encoding")
            response.set_data(gzip.compress(answer, compresslevel=1, mtime=0))
            response.headers["Content-Encoding"] = "gzip"
        return response

    @server.after_request
    def pack(response: Response) -> Response:
        if response.status_code != 200 or response.mimetype not in _PACKED:
            return response
        response.vary.add("Accept-Encoding")
        if not request.accept_encodings["gzip"] or (response.content_length or _SMALLEST_BYTES) < _SMALLEST_BYTES:
            return response
        # The files of a server are few; the date tells one state of a file from the next.
        key = (request.path, response.headers.get("Last-Modified"))
        if key not in kept:
            response.direct_passthrough = False
            kept[key] = gzip.compress(response.get_data(), compresslevel=6, mtime=0)
        else:
            response.close()
        response.direct_passthrough = False
        response.set_data(kept[key])
        response.headers["Content-Encoding"] = "gzip"
        if response.headers.get("ETag"):
            # The same file in another form; browsers ask with what they were given.
            response.headers["ETag"] = f'W/"{response.get_etag()[0]}"'
        return response
