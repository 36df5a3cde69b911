"""What is read once a snapshot and cut by fit is what the selection alone would give."""

from pathlib import Path
from typing import Any

import orjson
import pytest

from dashboard.questions import agreement, asymmetry, fitters, returns, riders
from dashboard.questions.asking import Asker
from dashboard.questions.selection import parse_selection
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.warehouse import open_reading

MODULES = {"agreement": agreement, "asymmetry": asymmetry, "fitters": fitters, "returns": returns, "riders": riders}
SELECTIONS: tuple[dict[str, str], ...] = (
    {},
    {"from": "2026-01-01"},
    {"studio": "ropewalk", "split": "arch_height"},
    {"fitter": "F2,F4"},
    {"from": "2026-04-01", "split": "foot_type"},
    {"arch_height": "low", "side": "left"},
)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.mark.parametrize("words", SELECTIONS, ids=str)
@pytest.mark.parametrize("question", sorted(MODULES))
def test_an_answer_cut_out_of_every_fit_is_the_selections_own(asker: Asker, question: str, words: dict[str, str]) -> None:
    selection = parse_selection(words)
    warehouse = open_reading(asker.path)
    alone: Any = MODULES[question]
    try:
        expected = orjson.loads(alone.ask(warehouse, selection, Settings()).to_json())
    except StatisticsError as refusal:
        with pytest.raises(StatisticsError, match=str(refusal)[:20]):
            asker.ask(question, selection)
        return
    finally:
        warehouse.close()
    assert orjson.loads(asker.ask(question, selection).to_json()) == expected
