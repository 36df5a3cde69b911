"""Sends scripts, style sheets and long answers packed, as every browser takes them: a third of the bytes at the first view.

Each file is packed once and well; a long answer is packed as it leaves, quickly, and a short one is sent as it is.
Flask-Compress would pack each file anew for everyone and send it without its length, and knows one level for both.
"""

import gzip
from typing import Final

from flask import Flask, Response, request

_ANSWER: Final = "application/json"
# What is packed, from how many bytes on.
_SMALLEST_BYTES: Final = {"text/javascript": 1_000, "application/javascript": 1_000, "text/css": 1_000, _ANSWER: 10_000}


def add_compressing(server: Flask) -> None:
    """Packs what is sent to those who take it packed."""
    kept: dict[tuple[str, str | None], bytes] = {}

    @server.after_request
    def pack(response: Response) -> Response:
        smallest = _SMALLEST_BYTES.get(response.mimetype or "")
        if response.status_code != 200 or smallest is None:
            return response
        response.vary.add("Accept-Encoding")
        if not request.accept_encodings["gzip"] or (response.content_length or smallest) < smallest:
            return response
        response.direct_passthrough = False
        if response.mimetype == _ANSWER:
            packed = gzip.compress(response.get_data(), compresslevel=1, mtime=0)
        else:
            # The files of a server are few; the date tells one state of a file from the next.
            key = (request.path, response.headers.get("Last-Modified"))
            if key not in kept:
                kept[key] = gzip.compress(response.get_data(), compresslevel=6, mtime=0)
            packed = kept[key]
        response.close()
        response.set_data(packed)
        response.headers["Content-Encoding"] = "gzip"
        if response.headers.get("ETag"):
            # The same file in another form; browsers ask with what they were given.
            response.headers["ETag"] = f'W/"{response.get_etag()[0]}"'
        return response
