"""Files to mend in the columns, units, signs and words of the export, and the mapping by which they are read again."""

import csv
import io
import zipfile
from datetime import date
from pathlib import Path

import pytest

from dashboard.printing import write_rejects
from dashboard.web.upload_routes import _to_mend
from etl.keeping.migrate import bring_up_to_date
from etl.load import load
from etl.mend_files import ToMend, to_mend
from shared.errors import InputUnusableError, UsageError
from shared.warehouse import open_loading, open_reading

TODAY = date(2026, 11, 25)
GERMAN = """
[form]
decimal = ","
separator = ";"
[tables.knee_captures]
files = "aufnahmen*.csv"
[tables.knee_captures.columns]
session_id = "Besuch"
capture_no = "Nr"
[[tables.knee_captures.each]]
side = { value = "left" }
knee_tilt_deg = { from = "Neigung L", unit = "deg", flip = true }
knee_sway_mm = { from = "Weg L", unit = "cm" }
[[tables.knee_captures.each]]
side = { value = "right" }
knee_tilt_deg = { from = "Neigung R", unit = "deg" }
knee_sway_mm = { from = "Weg R", unit = "cm" }
"""
HEAD = "Besuch;Nr;Neigung L;Weg L;Neigung R;Weg R;Bemerkung\n"


def german(folder: Path, *lines: str, mapping: str = GERMAN) -> Path:
    folder.mkdir()
    (folder / "mapping.toml").write_text(mapping, encoding="utf-8")
    (folder / "aufnahmen-1.csv").write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return folder


def tilts(path: Path) -> list[tuple[int, str, float, float]]:
    warehouse = open_reading(path)
    rows = warehouse.rows(
        "SELECT capture_no, side, knee_tilt_deg, knee_sway_mm FROM raw.knee_captures WHERE superseded_by IS NULL ORDER BY ALL"
    )
    warehouse.close()
    return [tuple(row.values()) for row in rows]


def standing(path: Path) -> int:
    warehouse = open_reading(path)
    n = int(warehouse.value("SELECT count(*) FROM raw.rejects"))
    warehouse.close()
    return n


def found(path: Path) -> ToMend:
    warehouse = open_reading(path)
    files = to_mend(warehouse)
    warehouse.close()
    return files


def test_a_sign_and_a_unit_come_back_as_they_were_exported(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([german(tmp_path / "x", "B1;1;3,2°;1,4;-2;1,5;früh", "B1;2;3,2;1,4;2,5;ca. 1,6;spät")], path, today=TODAY)
    write_rejects(path, "", tmp_path / "mend")
    text = (tmp_path / "mend" / "knee_captures-rejects.csv").read_text(encoding="utf-8")
    headings, first, second = csv.reader(io.StringIO(text))
    assert headings[:7] == HEAD.strip().split(";")
    # The sound cells beside the faulty one are not turned into the contract's sign and unit, and no cell is rewritten.
    assert first[:7] == ["B1", "1", "3,2°", "1,4", "-2", "1,5", "früh"]
    assert second[:7] == ["B1", "2", "3,2", "1,4", "2,5", "ca. 1,6", "spät"]
    assert (first[9], second[9]) == ("Neigung L", "Weg R")
    assert "found ca. 1,6, expected a number" in second[10]
    assert (tmp_path / "mend" / "knee_captures-rejects-mapping.toml").read_text(encoding="utf-8") == GERMAN
    mended = text.replace("3,2°", "3,2").replace("ca. 1,6", "1,6")
    (tmp_path / "mend" / "knee_captures-rejects.csv").write_text(mended, encoding="utf-8")
    report = load([tmp_path / "mend"], path, today=TODAY)
    assert (report.files[0].stored + report.files[0].waiting, report.files[0].rejected) == (4, 0)
    assert report.files[0].words.startswith("encoding: utf-8, separator ','; mapping: mapping.toml")
    assert tilts(path) == [(1, "left", -3.2, 14.0), (1, "right", -2.0, 15.0), (2, "left", -3.2, 14.0), (2, "right", 2.5, 16.0)]
    assert standing(path) == 0


def test_two_rejects_of_one_record_are_one_row_and_each_is_mended_alone(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([german(tmp_path / "x", "B1;1;x;1,4;y;1,5;")], path, today=TODAY)
    (file,) = found(path).files
    assert (len(file.rows), file.n_rejects) == (1, 1)
    assert len(str(file.rows[0][7]).split("; ")) == 2
    write_rejects(path, "", tmp_path / "mend")
    mend = tmp_path / "mend" / "knee_captures-rejects.csv"
    mend.write_text(mend.read_text(encoding="utf-8").replace(",x,", ',"4,5",', 1), encoding="utf-8")
    load([mend], path, today=TODAY)
    # The right knee's tilt is still not recorded.
    assert tilts(path) == [(1, "left", -4.5, 14.0), (1, "right", None, 15.0)]
    assert standing(path) == 1


def test_a_spreadsheets_semicolons_and_its_own_numbers_are_read_as_well(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([german(tmp_path / "x", "B1;1;3,2°;1,4;;;")], path, today=TODAY)
    (file,) = found(path).files
    rows = [file.headings, ["B1", "1", "3,2", "1,4", "", "", "", *file.rows[0][7:]]]
    text = "\n".join(";".join(f'"{cell or ""}"' for cell in row) for row in rows)
    (tmp_path / "knee_captures-rejects.csv").write_bytes(text.encode("windows-1252"))
    load([tmp_path / "knee_captures-rejects.csv"], path, today=TODAY)
    assert tilts(path) == [(1, "left", -3.2, 14.0)]
    assert standing(path) == 0


def test_rows_that_were_read_in_two_ways_are_two_files_and_a_mapping_beside_them_is_not_applied(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([german(tmp_path / "x", "B1;1;x;1,4;;;")], path, today=TODAY)
    native = tmp_path / "knee_captures.csv"
    native.write_text("session_id,capture_no,side,knee_tilt_deg\nB2,1,left,y\n", encoding="utf-8")
    load([native], path, today=TODAY)
    other = GERMAN.replace("flip = true", "flip = false")
    load([german(tmp_path / "z", "B3;1;z;1,4;;;", mapping=other)], path, today=TODAY)
    files = found(path).files
    assert [file.name for file in files] == ["knee_captures-rejects", "knee_captures-rejects-2", "knee_captures-rejects-3"]
    assert files[0].headings[:3] == ("session_id", "capture_no", "side")
    with pytest.raises(UsageError, match=r"read in 3 ways"):
        write_rejects(path, "knee_captures", None)
    write_rejects(path, "", tmp_path / "x" / "mend")
    for file in (tmp_path / "x" / "mend").glob("*.csv"):
        text = file.read_text(encoding="utf-8")
        for wrong, right in ((",x,", ",1,"), (",y,", ",2,"), (",z,", ",3,")):
            text = text.replace(wrong, right, 1)
        file.write_text(text, encoding="utf-8")
    # They lie below the folder of the export, whose mapping takes other files.
    load([tmp_path / "x"], path, today=TODAY)
    assert [row[2] for row in sorted(tilts(path), key=lambda row: abs(row[2]))] == [-1.0, 2.0, 3.0]


def test_a_file_to_mend_of_another_warehouse_is_refused(tmp_path: Path) -> None:
    load([german(tmp_path / "x", "B1;1;x;1,4;;;")], tmp_path / "w.duckdb", today=TODAY)
    write_rejects(tmp_path / "w.duckdb", "", tmp_path / "mend")
    with pytest.raises(InputUnusableError, match="read by a mapping that this warehouse does not keep for knee_captures"):
        load([tmp_path / "mend"], tmp_path / "other.duckdb", today=TODAY)


def test_the_page_gives_one_file_or_an_archive(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([german(tmp_path / "x", "B1;1;x;1,4;;;")], path, today=TODAY)
    assert _to_mend("knee_captures", found(path)).headers["Content-Disposition"].endswith('"knee_captures-rejects.csv"')
    (tmp_path / "knee_captures.csv").write_text("session_id,capture_no,side,knee_tilt_deg\nB2,1,left,y\n", encoding="utf-8")
    load([tmp_path / "knee_captures.csv"], path, today=TODAY)
    packed = _to_mend("knee_captures", found(path))
    assert packed.headers["Content-Disposition"].endswith('"knee_captures-rejects.zip"')
    with zipfile.ZipFile(io.BytesIO(packed.get_data())) as archive:
        assert archive.namelist() == ["knee_captures-rejects.csv", "knee_captures-rejects-2.csv"]
    (tmp_path / "mend.zip").write_bytes(packed.get_data())
    assert load([tmp_path / "mend.zip"], path, today=TODAY).load_id is None


def test_rows_whose_mapping_an_earlier_version_did_not_keep_are_told_and_written_once_loaded_again(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = german(tmp_path / "x", "B1;1;3,2°;1,4;;;")
    load([folder], path, today=TODAY)
    with open_loading(path) as warehouse:
        warehouse.run(
            "ALTER TABLE raw.findings DROP COLUMN layout; ALTER TABLE raw.findings DROP COLUMN source_record; "
            "ALTER TABLE raw.findings DROP COLUMN changes; DROP TABLE raw.layouts; UPDATE raw.warehouse SET version = 4"
        )
    bring_up_to_date(path)
    assert found(path).files == []
    assert found(path).lost_words[0].startswith("1 rejected row of knee_captures cannot be written")
    load([folder], path, today=TODAY)
    (file,) = found(path).files
    assert file.rows[0][2] == "3,2°"
    assert (found(path).lost, standing(path)) == ({}, 1)
