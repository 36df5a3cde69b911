"""Settings: defaults, a file, and what a wrong file is told."""

from datetime import date
from pathlib import Path

import pytest

from shared.errors import UsageError
from shared.settings import Settings, load_settings


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "fitledger.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_changes_only_what_it_names(tmp_path: Path) -> None:
    settings = load_settings(written(tmp_path, "[follow_up]\nreturned_within_days = 56\n"))
    assert settings.follow_up.returned_within_days == 56
    assert settings.follow_up.due_after_days == Settings().follow_up.due_after_days
    assert settings.parameters()["follow_up_returned_within_days"] == 56


def test_an_unknown_key_is_refused_with_the_nearest_one(tmp_path: Path) -> None:
    path = written(tmp_path, "[knee]\nside_diference_deg = 3\n[forefot]\n")
    with pytest.raises(UsageError) as refused:
        load_settings(path)
    assert "knee.side_diference_deg is no setting; the nearest one is knee.side_difference_deg." in str(refused.value)
    assert "forefot is no setting; the nearest one is forefoot." in str(refused.value)


def test_a_wrong_value_and_a_wrong_file_are_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"knee\.side_difference_deg: found -1"):
        load_settings(written(tmp_path, "[knee]\nside_difference_deg = -1\n"))
    with pytest.raises(UsageError, match="is not TOML"):
        load_settings(written(tmp_path, "knee"))
    with pytest.raises(UsageError, match="was not found"):
        load_settings(tmp_path / "other.toml")


def test_dated_notes_are_read_and_their_faults_told(tmp_path: Path) -> None:
    path = written(tmp_path, '[trends]\nevery = "quarter"\n[[trends.notes]]\non = 2025-06-02\nwords = "bookings at the desk"\n')
    trends = load_settings(path).trends
    assert (trends.every, trends.notes[0].on, trends.notes[0].words) == ("quarter", date(2025, 6, 2), "bookings at the desk")
    with pytest.raises(UsageError) as refused:
        load_settings(written(tmp_path, '[[trends.notes]]\non = 2025-06-02\nword = "x"\n'))
    assert "trends.notes.1.word is no setting; the nearest one is trends.notes.1.words." in str(refused.value)
    assert "trends.notes.1.words is missing; give it a value." in str(refused.value)
