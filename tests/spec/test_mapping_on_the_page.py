"""The mapping assistant of the Data page: one question at a time, nothing unconfirmed loaded, checked by what was said."""

from pathlib import Path
from typing import Any

import pytest

from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.pages.data.mapping import proposed
from dashboard.web.uploads import Uploads
from etl.load import load
from shared.errors import InputUnusableError, UploadError, UsageError
from shared.settings import Settings
from tests.nothing.pieces import flat
from tests.onboarding.compared import true_warehouse, wrong_cells
from tests.onboarding.newcomer import _known
from tests.onboarding.scenarios import WORKBOOK

FIRST = {"riders": "rider_id\nR1\n"}


@pytest.fixture
def uploads(tmp_path: Path) -> Uploads:
    (tmp_path / "riders.csv").write_text(FIRST["riders"], encoding="utf-8")
    path = tmp_path / "w.duckdb"
    load([tmp_path / "riders.csv"], path)
    return Uploads(path, Settings())


def sent(uploads: Uploads, folder: Path) -> str:
    streams = [(file.name, file.open("rb")) for file in sorted(folder.iterdir())]
    try:
        return uploads.receive(streams)
    finally:
        for _, stream in streams:
            stream.close()


def shown(step: Any) -> tuple[str, list[str]]:
    """The text of the page at a step, and the answers that its buttons give."""
    desk = Desk(None, Addresses("/"))  # type: ignore[arg-type]
    block = proposed(desk, step, "token")
    answers = [getattr(part, "data-answer") for part in block._traverse() if "data-answer" in getattr(part, "__dict__", {})]
    return flat(block), answers


def test_a_dialogue_on_the_page_ends_in_the_truth(uploads: Uploads, tmp_path: Path) -> None:
    WORKBOOK.write(WORKBOOK.truth(), tmp_path / "exports")
    token = sent(uploads, tmp_path / "exports")
    with pytest.raises(InputUnusableError, match="no unit or sign is guessed"):
        uploads.check(token)
    with pytest.raises(UploadError, match="Nothing was asked of these files yet"):
        uploads.answer(token, "riders.height_cm.unit", "in")
    step, asked = uploads.propose(token), 0
    # Until the unit is said its line waits, and no figure is shown.
    assert '#? height_cm = { from = "Height [in]"' in step.text and step.tried is None
    while step.question and step.question.must:
        text, answers = shown(step)
        assert step.question.words in text and "Nothing is loaded" in text
        said = _known(WORKBOOK, step.question.key) or step.question.proposed or ""
        assert said in answers
        with pytest.raises(UsageError, match="is none of the answers"):
            uploads.answer(token, step.question.key, "perhaps")
        if step.question.column == "knee_tilt_deg" and step.question.key.endswith(".unit"):
            cells = [made for _, made in step.sample]
            assert len(cells) == 5 and all(abs(float(made)) < 30 for made in cells)
        step, asked = uploads.answer(token, step.question.key, said), asked + 1
    assert asked >= 6
    assert step.tried is not None and step.tried.rows["knee_captures"] > 200
    assert "First figures by this mapping" in shown(step)[0]
    with pytest.raises(UsageError, match="not asked any more"):
        uploads.answer(token, "riders.height_cm.unit", "cm")
    report = uploads.use_mapping(token)
    assert not [file for file in report.files if file.refused]
    uploads.load(token)
    loaded = wrong_cells(WORKBOOK, true_warehouse(WORKBOOK, tmp_path / "t"), uploads.warehouse)
    # The rider who was there before the upload is one more.
    assert [line.partition(":")[0] for line in loaded] == ["riders"]


def test_what_was_not_confirmed_is_not_loaded(uploads: Uploads, tmp_path: Path) -> None:
    WORKBOOK.write(WORKBOOK.truth(), tmp_path / "exports")
    token = sent(uploads, tmp_path / "exports")
    step = uploads.propose(token)
    assert "knee_captures" in step.waiting and "Not loaded until their questions are answered" in shown(step)[0]
    report = uploads.use_mapping(token)
    stored = {file.table: file.stored for file in report.files if not file.refused}
    assert "knee_captures" not in stored
    assert uploads.mapping(token) == step.text
