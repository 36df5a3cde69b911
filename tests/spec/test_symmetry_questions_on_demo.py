"""Symmetry, ratings, feet and agreement on the demo: one object for every face, and the story of scenario.md."""

from pathlib import Path
from typing import Any

import orjson
import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import SPLITS, parse_selection
from shared.settings import Settings

QUESTIONS = ("asymmetry", "ratings", "types", "agreement")


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


def asked(asker: Asker, question: str, **words: str) -> Any:
    return asker.ask(question, parse_selection({name.removesuffix("_"): word for name, word in words.items()}))


@pytest.mark.parametrize("question", QUESTIONS)
def test_json_and_csv_print_the_same_flat_rows(asker: Asker, question: str) -> None:
    answer = asked(asker, question)
    told = orjson.loads(answer.to_json())
    assert {"as_of", "selection", "selection_words", "method", "headline", "cautions"} <= set(told)
    lists = [name for name, value in told.items() if isinstance(value, list) and value and isinstance(value[0], dict)]
    assert answer.rows_name in lists
    for name in lists:
        assert all(not isinstance(cell, dict | list) for row in told[name] for cell in row.values()), name
        assert answer.to_csv(name).splitlines()[0] == ",".join(told[name][0])
    assert question == "asymmetry" or answer.selection_words in answer.headline


def test_the_headline_on_side_differences_is_short_and_tells_both_ends(asker: Asker) -> None:
    """The page prints it as it is: who came with a difference, and who left with one, of the same riders."""
    answer = asked(asker, "asymmetry")
    came, left = answer.headline.split(". ")
    assert answer.prevalence[0].words == f"{came}."
    assert f"{answer.change[0].n_riders:,} riders recorded at both ends" in left and "points fewer" in left


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("split", SPLITS)
def test_every_split_keeps_the_overall_rows(asker: Asker, question: str, split: str) -> None:
    whole, parts = asked(asker, question), asked(asker, question, split=split)
    name = {"agreement": "agreement"}.get(question, whole.rows_name)
    overall = [row for row in parts.rows(name) if row["level"] is None]
    assert [{**row, "q_value": None} for row in overall] == [{**row, "q_value": None} for row in whole.rows(name)]


def test_the_change_of_practice_shows_in_comfort(asker: Asker) -> None:
    before, after = (asked(asker, "ratings", **words).ratings[0] for words in ({"to": "2025-06-01"}, {"from_": "2025-06-02"}))
    assert before.topic == after.topic == "comfort"
    assert before.mean_high_points < after.mean_low_points
    assert before.better_high < after.better_low


def test_forefeet_are_as_published(asker: Asker) -> None:
    for row in asked(asker, "types").types:
        if row.published_share is not None:
            assert row.low < row.published_share < row.high


def test_the_new_fitter_has_counts_and_no_share(asker: Asker) -> None:
    fitters = {row.level: row for row in asked(asker, "agreement").fitters}
    assert (fitters["F6"].share, "not enough yet" in fitters["F6"].words) == (None, True)
    assert list(fitters) == sorted(fitters)  # in the order of their ids, no league


def test_counts_add_up(asker: Asker) -> None:
    answer = asked(asker, "asymmetry")
    for row in (*answer.change, *answer.patterns):
        assert row.n_resolved + row.n_persisting + row.n_new + row.n_none == row.n_riders
    assert sum(row.n_riders for row in answer.flow) == answer.patterns[0].n_riders
    agreement = asked(asker, "agreement")
    for rows in (agreement.months, agreement.fitters):
        assert sum(row.n_fits for row in rows) == agreement.n_fits
        assert sum(row.n_in_agreement for row in rows) == agreement.n_judged - agreement.n_flagged
