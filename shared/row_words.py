"""A row of the warehouse in words: which session, capture and foot it tells of."""

from collections.abc import Iterable, Mapping
from typing import Final

from shared.catalogue import catalogue

_KNEES: Final = "knee_captures"
_NAMES: Final = {
    "session_id": "session {}",
    "capture_no": "capture {}",
    "rider_id": "rider {}",
    "fitter_id": "fitter {}",
    "follow_up_id": "follow-up {}",
    "moment": "at {}",
}


def row_words(table: str, row_key: str) -> str:
    """As in: session S00139, right foot. The key as it stands where an id holds the sign between its parts."""
    key = catalogue()[table].key
    parts = row_key.split("|")
    if len(parts) != len(key):
        return row_key
    return ", ".join(_part(table, name, part) for name, part in zip(key, parts, strict=True))


def _part(table: str, name: str, part: str) -> str:
    if name == "side":
        return f"{part} {'knee' if table == _KNEES else 'foot'}"
    # Ids stay as they are; a code such as saddle_height is told as words.
    return _NAMES[name].format(part) if name in _NAMES else part.replace("_", " ")


def example_words(table: str, examples: Iterable[Mapping[str, str]]) -> list[str]:
    """Each warning on a row (`row_key`, `words`) as a sentence that begins with the row."""
    sentences = (f"{row_words(table, example['row_key'])}: {example['words']}" for example in examples)
    return [f"{words[:1].upper()}{words[1:]}" for words in sentences]
