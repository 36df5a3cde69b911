"""How much noise reads where a selection has no repeats of its own."""

from pathlib import Path

import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.models import study
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings


def test_without_repeats_all_captures_are_read_once_a_snapshot(demo_warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They were read for each outcome, and again for each selection."""
    times, read = [], study.read_captures
    monkeypatch.setattr(study, "read_captures", lambda *given: times.append(1) or read(*given))
    asker = Asker(demo_warehouse, Settings.model_validate({"minimum": {"rows_shown": 1_000_000}}))
    answers = [asker.ask("noise", Selection(side=side)) for side in ((), ("left",), ("right",))]
    assert len(times) == 1
    assert all("the pooled model's residual" in row.words for answer in answers for row in answer.noise)
