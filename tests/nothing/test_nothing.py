"""A small seeded part of `make nothing` and of its mirror, whole studios from export to page.

Some studios in a hundred claim falsely on an answer; these seeds are fixed, so that a run that
passes passes again. What is wanted over hundreds of studios stands in table.md.
"""

from pathlib import Path

import pytest

from etl.load import load
from tests.nothing.claims import Claim, claims_of, unknown_in
from tests.nothing.collecting import collected
from tests.nothing.found import FOUND
from tests.nothing.pieces import Said
from tests.nothing.studios import Truth, loud, nothing, written
from tests.nothing.table import distinct

# Every split is asked in the long run; here the one of the grid, and one by visits.
SPLITS = ("foot_type", "visit_kind")


def said_of(truth: Truth, seed: int, folder: Path) -> list[Said]:
    path = folder / "studio.duckdb"
    assert load([written(truth, seed, folder / "exports")], path).exit_code == 0
    return collected(path, SPLITS)


@pytest.mark.parametrize(("riders", "seed"), [(60, 1000), (400, 1000)])
def test_where_nothing_acts_no_answer_says_otherwise(riders: int, seed: int, tmp_path: Path) -> None:
    said = said_of(nothing(riders), seed, tmp_path)
    claims = list(claims_of(said))
    assert [claim for claim in claims if claim.is_answer] == []
    assert len(once_each(claims)) <= 1, once_each(claims)
    assert unknown_in(said) == []


def once_each(claims: list[Claim]) -> list[tuple[str, str, str]]:
    rows = [[claim.place, claim.kind, claim.text, claim.is_answer, claim.is_echo] for claim in claims]
    return distinct({"claims": rows})


def test_where_something_acts_it_is_found(tmp_path: Path) -> None:
    said = said_of(loud(400), 1000, tmp_path)
    claims = list(claims_of(said))
    found = {name for name, is_found in FOUND.items() if is_found(claims)}
    assert found >= {
        "a shim raises the tilt",
        "a medium insole raises the tilt",
        "stance carries the offset inward",
        "comfort rises from arrival to departure",
        "one fitter's comfort is off",
    }
    assert unknown_in(said) == []
