"""Narrowing the page to one row of the grid: which words of the selection a level of a split stands for."""

from dataclasses import replace
from typing import Any

from dashboard.questions.selection.selection import FOREFOOT_CLASSES, Selection

# Splits that are words of the selection; a foot type is an arch and a forefoot.
_WORDS: dict[str, tuple[str, ...]] = {
    "foot_type": ("arch_height", "forefoot"),
    **{word: (word,) for word in ("arch_height", "forefoot", "side", "visit_kind", "bike_kind", "riding")},
}


def words_of(split: str, level: str | None) -> dict[str, tuple[str, ...]]:
    """The words that ask for one level, such as arch_height low and forefoot neutral; empty where no words do."""
    words = _WORDS.get(split, ())
    if level is None or not words:
        return {}
    if split != "foot_type":
        return {words[0]: (level,)}
    arch, parted, forefoot = level.partition(" arch, ")
    return {"arch_height": (arch,), "forefoot": (forefoot,)} if parted and forefoot in FOREFOOT_CLASSES else {}


def is_narrowed(selection: Selection, split: str) -> bool:
    """Whether the selection already asks for one level of the split."""
    words = _WORDS.get(split, ())
    return bool(words) and all(len(getattr(selection, word)) == 1 for word in words)


def widened(selection: Selection, split: str) -> Selection:
    """The selection with every level of the split."""
    none: dict[str, Any] = dict.fromkeys(_WORDS.get(split, ()), ())
    return replace(selection, **none)


def narrowed(selection: Selection, split: str, level: str | None) -> Selection | None:
    """The selection of one level alone; None where no words ask for it."""
    words: dict[str, Any] = dict(words_of(split, level))
    return replace(selection, **words) if words else None


def is_shown(selection: Selection, split: str, level: str | None) -> bool:
    """Whether the page is narrowed to this level."""
    words = words_of(split, level)
    return bool(words) and all(getattr(selection, word) == value for word, value in words.items())
