"""The words of a page, kept beside it in text.md: a heading names a passage, an empty line ends a paragraph."""

import re
from functools import lru_cache
from pathlib import Path
from typing import Final

from dashboard.components import html

# Where a figure may not be parted: within "0.47 to 0.56°" and within "p < 0.001".
_WITHIN: Final = re.compile(r"(?<=[\d%°]) (?=to [−\d])|(?<=[\d%°] to) (?=[−\d])|(?<=\bp) (?=[<=])|(?<=\bp [<=]) (?=\d)")


def unbroken(words: str) -> str:
    """A sentence whose intervals and p-values stay on one line."""
    return _WITHIN.sub("\N{NO-BREAK SPACE}", words)


@lru_cache(maxsize=32)
def read_text(path: Path) -> dict[str, tuple[str, ...]]:
    """The paragraphs of each `## passage` of a text.md."""
    passages: dict[str, tuple[str, ...]] = {}
    for block in path.read_text(encoding="utf-8").split("\n## ")[1:]:
        name, _, body = block.partition("\n")
        passages[name.strip()] = tuple(" ".join(part.split()) for part in body.split("\n\n") if part.strip())
    return passages


def paragraphs(passage: tuple[str, ...], **values: object) -> list[html.P]:
    """A passage as paragraphs, with `{names}` filled in."""
    return [html.P(unbroken(text.format(**values))) for text in passage]
