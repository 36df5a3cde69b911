"""What is read once a snapshot and cut by fit is what the selection alone would give."""

from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import orjson
import pytest

from dashboard import questions
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.every_fit import read_or_cut
from dashboard.questions.selection.scope import scope_of
from dashboard.questions.selection.selection import Selection, parse_selection
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.alike import assert_alike
from tests.conftest import TODAY

SELECTIONS: tuple[dict[str, str], ...] = (
    {},
    {"from": "2026-01-01"},
    {"studio": "ropewalk", "split": "arch_height"},
    {"fitter": "F2,F4"},
    {"from": "2026-04-01", "split": "foot_type"},
    {"arch_height": "low", "side": "left"},
    {"side": "right"},
    {"forefoot": "marked_varus"},
    {"visit_kind": "first", "riding": "road"},
)
CUT = tuple(
    Path(questions.__file__).with_name(room) / "sql" / name
    for room, name in (
        ("coaching", "agreement_shims.sql"),
        ("followed", "followed_fits.sql"),
        ("symmetry", "asymmetry_repeats.sql"),
        ("data", "noise_pairs.sql"),
        ("returns", "returns_fits.sql"),
        ("returns", "returns_knees.sql"),
        ("studio", "studio_fits.sql"),
        ("studio", "studio_knees.sql"),
        ("studio", "trends_fits.sql"),
    )
)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings(), lambda: TODAY)


@pytest.mark.parametrize("words", SELECTIONS, ids=str)
@pytest.mark.parametrize("question", sorted(set(QUESTIONS) - {"effects", "checks"}))
def test_an_answer_cut_out_of_every_fit_is_the_selections_own(asker: Asker, question: str, words: dict[str, str]) -> None:
    selection = parse_selection(words)
    warehouse = open_reading(asker.path)
    alone = import_module(f"dashboard.questions.{QUESTIONS[question].module}")
    dated = {"today": TODAY} if QUESTIONS[question].knows_today else {}
    beside = {name: asker.ask(name, Selection()) for name in QUESTIONS[question].leans_on}
    try:
        expected = orjson.loads(alone.ask(warehouse, selection, Settings(), **beside, **dated).to_json())
    except StatisticsError as refusal:
        with pytest.raises(StatisticsError, match=str(refusal)[:20]):
            asker.ask(question, selection)
        return
    finally:
        warehouse.close()
    assert_alike(orjson.loads(asker.ask(question, selection).to_json()), expected)


@pytest.mark.parametrize("sql", CUT, ids=lambda sql: sql.name)
def test_rows_cut_out_of_every_fit_are_those_read_for_the_selection(demo_warehouse: Path, sql: Path) -> None:
    warehouse, made = open_reading(demo_warehouse), {}

    def remember(key: tuple[Any, ...], make: Any) -> Any:
        if key not in made:
            made[key] = make()
        return made[key]

    try:
        for words in (*SELECTIONS, {"from": "2100-01-01"}):
            scope = scope_of(warehouse, parse_selection(words), Settings())
            cut, read = (read_or_cut(warehouse, scope, sql, remembering) for remembering in (remember, None))
            assert list(cut) == list(read)
            for name, column in read.items():
                assert cut[name].dtype == column.dtype, (words, name)
                np.testing.assert_array_equal(cut[name], column, f"{words} {name}")
    finally:
        warehouse.close()
    assert [key for key in made if key[0] == "rows"] == [("rows", sql.name)], "read once for all fits"


@pytest.mark.parametrize("question", ["noise", "trends"])
def test_a_question_that_knows_no_levels_is_not_computed_again_for_a_split(asker: Asker, question: str) -> None:
    plain, split = (asker.ask(question, parse_selection(words)) for words in ({}, {"split": "foot_type"}))
    assert split.selection == {"split": "foot_type"}
    rows = "noise" if question == "noise" else "trend"
    assert getattr(split, rows) is getattr(plain, rows), "the same object"
