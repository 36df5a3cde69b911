"""Words of headings and cells, and how like they are: every language by the same way, from the lists of words.toml."""

import re
import tomllib
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from rapidfuzz import fuzz

# Below this, two words have nothing to do with each other.
_NEAR: Final = 0.72
_WITHIN: Final = 0.9  # a phrase that stands whole among other words
_COMPOUND: Final = 0.85  # a word within a longer one, as in "Knieneigung"
_SHORTEST_COMPOUND: Final = 5
_COMPOUND_NEAR: Final = 90.0
_SHORT: Final = 3
_SHORT_WORD: Final = 6
_NEAR_SHORT: Final = 0.85
NUMBER: Final = re.compile(r"(?P<before>[^\d+\-,.]*)(?P<number>[+\-]?\d+(?:[.,]\d+)?)(?P<after>[^\d]*)")


@lru_cache(maxsize=1)
def vocabulary() -> dict[str, Any]:
    """The lists of words.toml."""
    return tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=10_000)
def plain(text: str) -> str:
    """Words in small letters without accents, parted by single blanks: "Körpergröße [cm]" → "korpergrosse cm"."""
    parted = re.sub(r"(?<=[a-zß-ÿ])(?=[A-Z])", " ", text)
    bare = unicodedata.normalize("NFKD", parted.replace("ß", "ss")).encode("ascii", "ignore").decode()
    return " ".join(re.findall(r"[a-z0-9]+", bare.lower()))


def side_of(heading: str) -> str | None:
    """The side that a heading names, where it names one."""
    words = [word for word in plain(heading).split() if word not in _unit_words()]
    # A short one within a heading is a word of the language: "largeur d'appui", "Länge der Sohle".
    told = {word for word in words if len(word) > _SHORT} | set(words[:1] + words[-1:])
    named = [side for side, known in vocabulary()["sides"].items() if told & set(map(plain, known))]
    return named[0] if len(named) == 1 else None


@lru_cache(maxsize=1)
def _unit_words() -> frozenset[str]:
    return frozenset(plain(word) for known in vocabulary()["units"].values() for word in known) - {""}


def is_unit_alone(heading: str) -> bool:
    """Whether a heading says a unit and no more, as "cm" of a body's height."""
    return bool(plain(heading)) and set(plain(heading).split()) <= _unit_words()


def units_in(text: str) -> tuple[str, ...]:
    """The units that a text names, by the names that a mapping takes: "Schwankung [cm]" → ("cm",)."""
    tokens = set(re.findall(r"[a-zà-ÿ0-9/]+|[°\"]", text.lower()))
    return tuple(unit for unit, known in vocabulary()["units"].items() if tokens & set(known))


def stem(heading: str) -> str:
    """A heading without its words of side and unit, so that left and right are the same."""
    words = [word for word in plain(heading).split() if word not in _unit_words()]
    sides = {plain(word) for known in vocabulary()["sides"].values() for word in known} if side_of(heading) else set()
    return " ".join(word for word in words if word not in sides) or " ".join(words)


@lru_cache(maxsize=20_000)
def likeness(heading: str, column: str) -> tuple[float, str]:
    """How like a heading is to the words for a column, from 0 to 1, and the word that it is most like."""
    own = stem(heading)
    words = [column.replace("_", " "), *vocabulary()["columns"].get(column, ())]
    return max(((_like(own, stem(word)), word) for word in words), default=(0.0, ""))


def table_likeness(name: str, table: str) -> float:
    """How like the name of a file or sheet is to the words for a table, from 0 to 1."""
    words = [table.replace("_", " "), *vocabulary()["tables"].get(table, ())]
    return max(_like(plain(name), plain(word)) for word in words)


def says_number(heading: str) -> bool:
    """Whether a heading says "number" and no more."""
    return plain(heading) in {plain(word) for word in vocabulary()["headings"]["number"]}


def code_of(column: str, text: str) -> str | None:
    """The contract's code that a cell's text means in a column, where the lists know it."""
    own = plain(text)
    for code, known in vocabulary()["codes"].get(column, {}).items():
        if own == plain(code) or own in {plain(word) for word in known}:
            return str(code)
    return None


def number_in(cell: str) -> float | None:
    """The one number of a cell, with a decimal comma or point, whatever words stand at its ends."""
    match = NUMBER.fullmatch(cell.strip())
    return float(match["number"].replace(",", ".")) if match else None


def count_of(text: str, side: str | None = None) -> int | None:
    """A number of wedges said in words, in the contract's sign: "2 varus" → 2, "1 valgus" → −1, "keine" → 0.

    Of a text that tells both sides, "2 varus L, 1 R", the part of `side`; 0 where it tells of the other side alone.
    """
    signs = vocabulary()["signs"]
    if text.strip().lower() in signs["zero"] or plain(text) in {plain(word) for word in signs["zero"]}:
        return 0
    parts = [part for part in re.split(r"[,;/+]| und | and | et | y | e | en ", text) if part.strip()]
    if side and any(side_of(part) for part in parts):
        own = [part for part in parts if side_of(part) == side]
        return count_of(own[0]) if len(own) == 1 else 0 if not own else None
    words = plain(text).split()
    numbers = [word for word in words if word.isdigit()]
    if len(numbers) != 1 or len(parts) != 1:
        return None
    is_minus = bool(set(words) & set(signs["minus"])) or bool(re.search(r"[-−]\s*\d", text))
    return -int(numbers[0]) if is_minus else int(numbers[0])


@lru_cache(maxsize=100_000)
def _like(own: str, word: str) -> float:
    if not own or not word:
        return 0.0
    best = fuzz.token_sort_ratio(own, word) / 100
    if set(word.split()) <= set(own.split()):
        best = max(best, _WITHIN)
    if len(word) >= _SHORTEST_COMPOUND and len(own) > len(word) and fuzz.partial_ratio(own, word) >= _COMPOUND_NEAR:
        best = max(best, _COMPOUND)
    # One letter of a short word makes another word of it.
    return best if best >= (_NEAR if len(own) > _SHORT_WORD else _NEAR_SHORT) else 0.0
