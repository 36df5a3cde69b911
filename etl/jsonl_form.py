"""JSON lines: one flat object a line. Their keys, over all lines, are the columns."""

import json
import re
from array import array
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import orjson

from etl import limits
from etl.csv_form import checked_headers, write_cells
from etl.source import RefusedFileError
from etl.survey import survey
from shared.settings_running import Reading

_TEXT = re.compile(rb'"(?:[^"\\]++|\\.)*+"')
_EXACT = 2.0**53


def read_jsonl(path: Path, name: str, scratch: Path, reading: Reading) -> tuple[Path, tuple[str, ...], Sequence[int]]:
    """The lines as a CSV copy, its headers, and the line that each record stands on.

    Raises RefusedFileError where a line is no object, holds a nested value, or is longer than a record may be.
    """
    facts = survey(path, name, reading)
    if not facts.is_utf8:
        raise RefusedFileError(f"{name}: this is no UTF-8, as JSON lines are. Nothing of it was loaded. Export it again.")
    keys: dict[str, None] = {}
    n_records = 0
    for n_records, (_, record) in enumerate(_records(path, name), 1):  # noqa: B007, counted here, told below
        keys.update(dict.fromkeys(record))
        if len(keys) > 10_000:
            break
    headers = checked_headers(name, tuple(keys))
    if n_records * len(headers) > limits.JSON_FREE_CELLS + facts.size:
        raise RefusedFileError(
            f"{name}: its {n_records:,} lines fill next to none of its {len(headers):,} columns. Nothing of this file was "
            "loaded. Export records that hold the same keys, one table a file."
        )
    numbers: array[int] = array("q")

    def cells() -> Iterator[Iterable[str]]:
        yield headers
        for number, record in _records(path, name):
            numbers.append(number)
            yield (_as_text(record.get(key)) for key in headers)

    return write_cells(cells(), name, scratch), tuple(header.strip() for header in headers), numbers


def _records(path: Path, name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    with path.open("rb") as file:
        for number, line in enumerate(file, 1):
            text = line.removeprefix(b"\xef\xbb\xbf").strip()
            if text:
                yield number, _record(text, name, number)


def _record(text: bytes, name: str, number: int) -> dict[str, Any]:
    try:
        record = orjson.loads(text)
    except orjson.JSONDecodeError as fault:
        raise RefusedFileError(
            f"{name}, line {number}: this is no JSON object ({fault.msg}). Expected one object a line. Nothing of this file "
            "was loaded. Correct the line and load again."
        ) from fault
    if not isinstance(record, dict):
        raise RefusedFileError(
            f"{name}, line {number}: found {_kind(record)}, expected one object a line. Nothing of this file was loaded. "
            "Export it again, one object a line."
        )
    for key, value in record.items():
        if nested := _fault(key, value):
            raise RefusedFileError(
                f"{name}, line {number}, {key[:80]!r}: found {nested}, expected a plain value. Nothing of this file was "
                "loaded. Export flat records, one column a key."
            )
    # Each key has its colon; where there are more, they stand in texts, or a key stands twice.
    if text.count(b":") != len(record) and _TEXT.sub(b"", text).count(b":") != len(record):
        pairs = json.loads(text, object_pairs_hook=list)
        twice = Counter(key for key, _ in pairs).most_common(1)[0][0]
        raise RefusedFileError(
            f"{name}, line {number}, {twice[:80]!r}: stands twice in this record, of which one only would be kept. "
            "Nothing of this file was loaded. Export each key once."
        )
    return record


def _fault(key: str, value: Any) -> str:
    """What of a key and its value cannot become a cell; nothing where both can."""
    if isinstance(value, dict | list):
        return _kind(value)
    if "\x00" in key or (isinstance(value, str) and "\x00" in value):
        return "a NUL character"
    # An id of so many digits would lose its last ones.
    return "a number of more digits than can be kept" if isinstance(value, float) and abs(value) >= _EXACT else ""


def _kind(value: Any) -> str:
    return "a nested object" if isinstance(value, dict) else "a list" if isinstance(value, list) else "a bare value"


def _as_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else repr(value)
