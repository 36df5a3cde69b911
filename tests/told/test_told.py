"""What every page tells of small answers written by hand, word by word, against texts that were written and read by people.

Each `<page>.txt` holds what stands in the places of a page for some answers, in the form of outline.py. A text is right where
every number in it is one of made_*.py as the page should print it. A page that tells something else is changed there, by hand.
"""

from pathlib import Path

import pytest

from tests.told.cases import CASES

HERE = Path(__file__).parent


def written(page: str) -> dict[str, list[str]]:
    """The cases of a page by their names."""
    parts = (HERE / f"{page}.txt").read_text(encoding="utf-8").split("\n=== ")[1:]
    return {part.partition("\n")[0]: [line for line in part.splitlines()[1:] if line] for part in parts}


@pytest.mark.parametrize(("page", "case"), [(page, case) for page, cases in CASES.items() for case in cases])
def test_a_page_tells_what_is_written(page: str, case: str) -> None:
    assert CASES[page][case]() == written(page)[case]


@pytest.mark.parametrize("page", CASES)
def test_nothing_is_written_that_no_case_tells(page: str) -> None:
    assert set(written(page)) == set(CASES[page])
