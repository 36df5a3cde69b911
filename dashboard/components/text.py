"""The words of a page, kept beside it in text.md: a heading names a passage, an empty line ends a paragraph."""

from functools import lru_cache
from pathlib import Path

from dash import html


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
    return [html.P(text.format(**values)) for text in passage]
