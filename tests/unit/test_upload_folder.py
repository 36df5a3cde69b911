"""The one folder that the Data page may read: what of it is taken, and the sentences where there is none."""

from pathlib import Path

import pytest

from dashboard.commands.serving import _with_folder
from dashboard.web.upload_allowed import files_of, folder_name
from shared.errors import UploadError
from shared.settings import Settings
from shared.settings_running import Reading, Upload


def settings_of(folder: Path | None, most_files: int = 10) -> Settings:
    return Settings(upload=Upload(folder=folder and str(folder)), reading=Reading(most_files=most_files))


def test_exports_and_their_mapping_are_taken_and_nothing_that_a_link_leads_to(tmp_path: Path) -> None:
    folder = tmp_path / "drop"
    for name in ("visits.csv", "mon/S1_L.csv", "notes.md", "mapping.toml", "mon/mapping.toml", ".fitledger-working/w/x.csv"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("a\n1\n", encoding="utf-8")
    (tmp_path / "elsewhere.csv").write_text("a\n1\n", encoding="utf-8")
    (folder / "link.csv").symlink_to(tmp_path / "elsewhere.csv")
    assert [name for name, _ in files_of(settings_of(folder))] == ["mapping.toml", "mon/S1_L.csv", "visits.csv"]
    assert folder_name(settings_of(folder)) == "drop"


def test_no_folder_an_empty_one_and_one_of_too_many_are_refused(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "full").mkdir()
    for no in range(3):
        (tmp_path / "full" / f"{no}.csv").write_text("a\n1\n", encoding="utf-8")
    for settings, words in (
        (settings_of(None), "No folder is named that this page may read."),
        (settings_of(tmp_path / "gone"), "The folder gone is not there."),
        (settings_of(tmp_path / "empty"), "The folder empty holds no file of exports, expected 1 to 10."),
        (settings_of(tmp_path / "full", most_files=2), "The folder full holds too many files of exports, expected 1 to 2."),
    ):
        with pytest.raises(UploadError) as refused:
            files_of(settings)
        assert str(refused.value).startswith(words) and "Nothing was changed." in str(refused.value)


def test_the_folder_of_the_command_stands_where_the_settings_name_none(tmp_path: Path) -> None:
    assert _with_folder(settings_of(None), tmp_path).upload.folder == str(tmp_path)
    assert _with_folder(settings_of(tmp_path / "drop"), tmp_path).upload.folder == str(tmp_path / "drop")
    assert _with_folder(settings_of(None), None).upload.folder is None
