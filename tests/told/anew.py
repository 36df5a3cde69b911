"""`python -m tests.told.anew [page ...]` writes the texts as pages and questions tell them now, `answers` among the pages.

It judges nothing: whoever changes what is told reads every line of the difference against the answers written by hand, as if it
had been written by hand, and answers for it.
"""

import sys
import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path

from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import parse_selection
from shared.settings import Settings
from tests.told.cases import CASES
from tests.told.hand_studio import make
from tests.told.outline import answer_told
from tests.told.test_answers import ASKED

ANSWERS = "answers"


def main(pages: list[str]) -> None:
    """Writes the texts of the named pages, or of all."""
    for page in pages or [*CASES, ANSWERS]:
        lines = [
            "What is told of answers written by hand." if page != ANSWERS else "What is answered about the studio of a rule."
        ]
        for case, place, told in _answers() if page == ANSWERS else _places(page):
            lines += [f"\n=== {case}"] * (f"\n=== {case}" not in lines) + [f"--- {place}", *told]
        Path(__file__).with_name(f"{page}.txt").write_text("\n".join([*lines, ""]), encoding="utf-8")


def _places(page: str) -> Iterator[tuple[str, str, list[str]]]:
    for case, asked in CASES[page].items():
        for place in asked:
            yield case, place, asked.told(place)


def _answers() -> Iterator[tuple[str, str, list[str]]]:
    with tempfile.TemporaryDirectory() as folder:
        make(Path(folder) / "hand.duckdb")
        asker = Asker(Path(folder) / "hand.duckdb", Settings(), lambda: date(2026, 7, 1))
        for case, (question, words) in ASKED.items():
            yield case, question, answer_told(asker.ask(question, parse_selection(words)))


if __name__ == "__main__":
    main(sys.argv[1:])
