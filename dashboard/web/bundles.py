"""One script and one style sheet for the page in place of twenty files, each of which costs some milliseconds."""

import hashlib
import pkgutil
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Final

from dash.fingerprint import check_fingerprint
from flask import Flask, Response, abort

FOLDER: Final = "assets/bundles/"
_SUITES: Final = "_dash-component-suites/"
_MIMETYPES: Final = {"js": "text/javascript", "css": "text/css"}
_SOURCE_MAP: Final = re.compile(r"^//# sourceMappingURL=.*$", re.MULTILINE)
# The name holds a digest of the content: what it names never changes.
_FOR_GOOD: Final = "public, max-age=31536000, immutable"


class Bundles:
    """Files that are sent as one, kept as long as the program runs."""

    def __init__(self, prefix: str, assets: Path, make_again: Callable[[], object]) -> None:
        """`prefix`: what the dashboard is served under. `assets`: the folder of our own files. `make_again`: makes the page,
        and with it the bundles, where a browser asks a program that has just started for what an earlier one named."""
        self._prefix, self._assets, self._make_again = prefix, assets, make_again
        self._texts: dict[str, str] = {}
        self._addresses: dict[tuple[str, ...], str] = {}

    def address(self, sources: Iterable[str], name: str) -> str:
        """The address of one file with the content of all `sources` in their order; `name` ends in .js or .css."""
        named = tuple(sources)
        if named not in self._addresses:
            parts = [self._read(source) for source in named]
            # What one script says of itself, such as that it is strict, holds for none of the others.
            text = "\n;\n".join(["", *parts]) if name.endswith(".js") else "\n".join(parts)
            file = f"{hashlib.sha256(text.encode()).hexdigest()[:16]}-{name}"
            self._texts[file] = text
            self._addresses[named] = f"{self._prefix}{FOLDER}{file}"
        return self._addresses[named]

    def add_to(self, server: Flask) -> None:
        """Serves the bundles beside our own files."""
        server.add_url_rule(f"{self._prefix}{FOLDER}<name>", "bundle", self._send)

    def _send(self, name: str) -> Response:
        if name not in self._texts:
            self._make_again()
        if name not in self._texts:
            abort(404)
        response = Response(self._texts[name], mimetype=_MIMETYPES[name.rsplit(".", 1)[1]])
        response.headers["Cache-Control"] = _FOR_GOOD
        return response

    def _read(self, source: str) -> str:
        path = source.removeprefix(self._prefix).split("?", maxsplit=1)[0]
        if not path.startswith(_SUITES):
            return (self._assets / path.removeprefix("assets/")).read_text(encoding="utf-8")
        package, _, file = path.removeprefix(_SUITES).partition("/")
        content = pkgutil.get_data(package, check_fingerprint(file)[0])
        assert content is not None
        return _SOURCE_MAP.sub("", content.decode("utf-8"))
