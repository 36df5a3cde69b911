"""Every question about the studio of hand_studio.py, row by row, against what was written down and read beside its rule.

By that rule shims move the tilt by 0.5°, insoles by 0.4, 0.8 and 1.1°, a mm of stance by -0.1°; comfort rises by 2.5 points on
average; half of the riders come back. A figure that the text holds is near its truth, and its interval holds it.
"""

from datetime import date
from pathlib import Path
from typing import cast

import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import parse_selection
from shared.settings import Settings
from tests.told.outline import answer_told
from tests.told.written import written

# The question, and what is selected, by the name under which its answer is written.
ASKED = {name: (name, {}) for name in QUESTIONS if name not in ("next", "riders")} | {
    "next": ("next", {"rider": "R003"}),
    "in pain": ("next", {"rider": "R010"}),
    "riders": ("riders", {}),
    "one rider": ("riders", {"rider": "R004"}),
    "effects by arch": ("effects", {"split": "arch_height"}),
    "returns by arch": ("returns", {"split": "arch_height"}),
    "asymmetry by riding": ("asymmetry", {"split": "riding"}),
    "ratings by arch": ("ratings", {"split": "arch_height"}),
    "agreement by riding": ("agreement", {"split": "riding"}),
    "few": ("studio", {"rider": "R001,R002,R003"}),
    "a month": ("periods", {"from": "2026-05-01", "to": "2026-05-31"}),
}


@pytest.fixture(scope="module")
def asker(hand_studio: Path) -> Asker:
    return Asker(hand_studio, Settings(), lambda: date(2026, 7, 1))


@pytest.mark.parametrize("name", ASKED)
def test_an_answer_is_what_is_written(asker: Asker, name: str) -> None:
    question, words = ASKED[name]
    assert answer_told(asker.ask(question, parse_selection(words))) == written("answers")[name, question]


def test_nothing_is_written_that_is_not_asked() -> None:
    assert set(written("answers")) == {(name, question) for name, (question, _) in ASKED.items()}


def test_the_figures_hold_what_the_rule_of_the_studio_says(asker: Asker) -> None:
    """The truth of hand_studio.py, not of a text: each told interval holds it."""
    truth = {"insole_low": 0.4, "insole_medium": 0.8, "insole_high": 1.1, "shim": 0.5, "stance": -0.1}
    answer = cast(Effects, asker.ask("effects", parse_selection({})))
    rows = {(row.outcome, row.support): row for row in answer.effects if not row.split}
    for support, effect in truth.items():
        tilt, sway = rows["tilt", support], rows["sway", support]
        assert (tilt.told_low or 9) < effect < (tilt.told_high or -9)
        assert (sway.told_low or 9) < -1.0 * (support == "shim") < (sway.told_high or -9)
        assert (tilt.direction, sway.direction) == (1 if effect > 0 else -1, -1 * (support == "shim"))
