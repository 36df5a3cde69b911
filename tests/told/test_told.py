"""What every page tells of small answers written by hand, word by word, against texts that were written and read by people.

Each `<page>.txt` holds what stands in the places of a page for some answers, in the form of outline.py. A text is right where
every number in it is one of made_*.py as the page should print it. A page that tells something else is changed there, by hand.
"""

import pytest

from tests.told.cases import CASES
from tests.told.written import written

ASKED = [(page, case, place) for page, cases in CASES.items() for case, asked in cases.items() for place in asked]


@pytest.mark.parametrize(("page", "case", "place"), ASKED)
def test_a_place_tells_what_is_written(page: str, case: str, place: str) -> None:
    assert CASES[page][case].told(place) == written(page)[case, place]


@pytest.mark.parametrize("page", CASES)
def test_nothing_is_written_that_no_case_tells(page: str) -> None:
    assert set(written(page)) == {(case, place) for case, asked in CASES[page].items() for place in asked}
