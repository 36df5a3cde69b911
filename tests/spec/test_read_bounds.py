"""What a file may ask of the machine: rows, bytes, cells and texts are held against its own figures before it is laid out."""

import gzip
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from etl import limits
from etl.load import check_files, load
from etl.read import find_files
from etl.repeat import fingerprint
from etl.survey import count_uneven_lines
from shared.errors import InputUnusableError, UsageError
from shared.settings import Settings
from shared.settings_running import Reading
from shared.warehouse import Warehouse, in_memory, open_reading, write_parquet
from tests.spec.test_read import RIDERS, opened, refusal
from tests.spec.workbook import sheet_xml, write_workbook

TODAY = date(2026, 6, 1)


@pytest.fixture
def warehouse() -> Iterator[Warehouse]:
    warehouse = in_memory()
    yield warehouse
    warehouse.close()


def test_parquet_that_claims_more_than_it_can_hold_is_refused_by_its_footer(
    tmp_path: Path, warehouse: Warehouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    scratch, path = tmp_path / "s", tmp_path / "riders.parquet"
    write_parquet(pd.DataFrame({"rider_id": ["R1"] * 400_000}), path)
    assert path.stat().st_size < 10_000
    assert "tells of 400,000 rows in" in refusal(path, warehouse, scratch)
    monkeypatch.setattr(limits, "UNPACKED_FREE_BYTES", 100_000)
    monkeypatch.setattr(limits, "UNPACKED_RATIO", 10)
    write_parquet(pd.DataFrame({"rider_id": ["x" * 1000] * 2000}), path)
    assert path.stat().st_size < 5_000  # one text, packed once, stands for every row
    assert "unpacks to more than" in refusal(path, warehouse, scratch)
    write_parquet(pd.DataFrame({"rider_id": ["x" * 1_000_001]}), path)
    monkeypatch.setattr(limits, "UNPACKED_FREE_BYTES", 1 << 24)
    assert "found a text of 1,000,001 bytes" in refusal(path, warehouse, scratch)
    write_parquet(pd.DataFrame({"rider_id": ["R1"], "sex": [["a", "b"]]}), path)
    assert "riders.parquet, 'sex': found values within a value" in refusal(path, warehouse, scratch)


@pytest.mark.parametrize(
    ("name", "content", "reading", "words"),
    [
        ("riders.csv", b"rider_id\n" + b"R1\n" * 11, {"most_rows_per_file": 10}, "tells of 11 rows, expected 10 at most"),
        ("riders.csv", b"rider_id\r" + b"R1\r" * 11, {"most_rows_per_file": 10}, "tells of 11 rows, expected 10 at most"),
        ("riders.csv.gz", gzip.compress(b"rider_id\n" + b"R1\n" * 11), {"most_rows_per_file": 10}, "tells of 11 rows"),
        ("riders.jsonl", b'{"rider_id":1}\n' * 12, {"most_rows_per_file": 10}, "tells of 11 rows"),
        ("riders.csv", b"x" * 1_000_001, {"most_mb_per_file": 1}, "larger than 1 MB"),
        ("riders.csv.gz", gzip.compress(b"x\n" * 600_000), {"most_mb_per_file": 1}, "unpacks to more than 1,000,000 bytes"),
        ("riders.csv", b"a,rider_id\n" + b"1\n" * 4, {"most_rejected_rows": 3}, "more than 3 of its rows hold another number"),
        ("riders.csv", b"a,rider_id\r" + b"1\r" * 4, {"most_rejected_rows": 3}, "more than 3 of its rows hold another number"),
        ("riders.csv", b'a,rider_id\n"1"\n' + b"1\n" * 3, {"most_rejected_rows": 3}, "more than 3 of its rows hold another"),
        ("riders.csv", b"a,rider_id\r\n" + b"1,2,3\r\n" * 4, {"most_rejected_rows": 3}, "more than 3 of its rows hold another"),
    ],
)
def test_a_file_beyond_the_bounds_of_the_settings_is_refused(
    tmp_path: Path, warehouse: Warehouse, name: str, content: bytes, reading: dict[str, int], words: str
) -> None:
    (tmp_path / name).write_bytes(content)
    assert words in refusal(tmp_path / name, warehouse, tmp_path / "s", Reading(**reading))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_rows_of_another_number_of_cells_are_counted_across_pieces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str
) -> None:
    monkeypatch.setattr(limits, "CHUNK_BYTES", 5)
    lines = ["a,b", "", "1", "1,2", "1,2,3", ",", "long long long,x", "long long long", "1,2"]
    (tmp_path / "t.csv").write_bytes("".join(line + end for line in lines).encode())
    assert list(count_uneven_lines(tmp_path / "t.csv", ",", 1, end))[-1] == 3


def test_a_folder_of_too_many_files_is_refused_before_it_is_held(tmp_path: Path, warehouse: Warehouse) -> None:
    folder = tmp_path / "x"
    for n in range(6):
        (folder / f"f{n}").mkdir(parents=True)
        (folder / f"f{n}" / "riders.csv").write_bytes(b"rider_id\nR1\n")
        (folder / f"notes-{n}.md").write_bytes(b"no export")
    assert len(find_files([folder], reading=Reading(most_files=7))) == 6
    with pytest.raises(UsageError, match=r"holds more than 5 files of exports, or as many folders\. Name a folder of fewer"):
        find_files([folder], reading=Reading(most_files=5))
    huge = folder / "riders-huge.csv"
    with huge.open("wb") as file:
        file.truncate(2 << 40)  # two terabytes that take no disk: nobody may read them to know the file again
    (refused,) = [file for file in find_files([folder]) if file.refusal]
    assert fingerprint([refused], Settings()).digests == {huge: "unread"}
    assert "riders-huge.csv: larger than 8,000 MB" in refused.refusal


def test_json_lines_that_fill_next_to_no_column_are_refused(
    tmp_path: Path, warehouse: Warehouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "riders.jsonl"
    keys = ",".join(f'"c{n}":1' for n in range(500))
    path.write_text(f'{{"rider_id":1,{keys}}}\n' + "{}\n" * 5000, encoding="utf-8")
    assert opened(path, warehouse, tmp_path / "s")  # little is little
    monkeypatch.setattr(limits, "JSON_FREE_CELLS", 1_000_000)
    assert "its 5,001 lines fill next to none of its 501 columns" in refusal(path, warehouse, tmp_path / "s")


def test_a_workbook_that_would_be_laid_out_larger_than_it_is_is_refused(
    tmp_path: Path, warehouse: Warehouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts = "<si><t>rider_id</t></si><si><t>" + "x" * 5_000 + "</t></si>"
    rows = '<row><c t="s"><v>0</v></c></row>' + '<row><c t="s"><v>1</v></c></row>' * 400
    odd = rows.replace("<v>1</v>", "<!-- --><v>1</v>")
    monkeypatch.setattr(limits, "WORKBOOK_BYTES", 1 << 20)
    book = tmp_path / "b.xlsx"
    for sheet in (rows, odd):
        write_workbook(book, {"riders": sheet}, sharedStrings=f"<sst>{texts}</sst>")
        assert "its cells name long texts again and again" in refusal(book, warehouse, tmp_path / "s")
    few = '<row><c t="s"><v>0</v></c></row>' + '<row><c t="s"><v>1</v></c></row>' * 100
    write_workbook(book, {"riders": few}, sharedStrings=f"<sst>{texts}</sst>")
    assert opened(book, warehouse, tmp_path / "s")
    monkeypatch.setattr(limits, "SHARED_TEXTS", 3)
    write_workbook(book, {"riders": sheet_xml(RIDERS)}, sharedStrings="<sst>" + "<si/>" * 4 + "</sst>")
    assert "share more than 3 texts" in refusal(book, warehouse, tmp_path / "s")
    monkeypatch.setattr(limits, "PART_BYTES", 2_000)
    write_workbook(book, {"riders": sheet_xml(RIDERS)}, styles="<styleSheet>" + "<xf/>" * 500 + "</styleSheet>")
    assert "its part 'xl/styles.xml' holds more than any export needs" in refusal(book, warehouse, tmp_path / "s")
    monkeypatch.setattr(limits, "WORKBOOK_CELLS", 20)
    write_workbook(book, {"riders": sheet_xml(RIDERS), "fitters": sheet_xml(RIDERS), "x": sheet_xml(RIDERS)})
    assert "its sheets reach over 27 cells together" in refusal(book, warehouse, tmp_path / "s")


def test_a_file_of_too_many_rejected_rows_is_refused_and_no_other(tmp_path: Path) -> None:
    """Staging is as if it had never been: rows, row ids and lines of the files before and after it are their own."""
    for name, text in {
        "riders-1.csv": "rider_id,birth_year\nR1,1980\nR2,1\n",
        "riders-2.csv": "rider_id,birth_year\n" + "R9,1985\n" + "R9,2\n,\n" * 3,
        "riders-3.csv": "rider_id,birth_year\nR3,1981\n\nR4,3\nR5,1982\n",
    }.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    settings = Settings(reading=Reading(most_rejected_rows=6))
    report = load([tmp_path], tmp_path / "w.duckdb", today=TODAY, settings=settings)
    assert [(file.file, file.refused, file.read, file.stored, file.rejected) for file in report.files] == [
        ("riders-1.csv", False, 2, 2, 0), ("riders-2.csv", True, 0, 0, 0), ("riders-3.csv", False, 3, 3, 0),
    ]  # fmt: skip
    assert "riders-2.csv: with it more than 6 rows of this load would be rejected" in report.files[1].words
    assert [(finding.file, finding.line, finding.value) for finding in report.findings] == [
        ("riders-1.csv", 3, "1"), ("riders-3.csv", 4, "3"),
    ]  # fmt: skip
    warehouse = open_reading(tmp_path / "w.duckdb")
    try:
        found = [row["rider_id"] for row in warehouse.rows("SELECT rider_id FROM core.riders ORDER BY 1")]
        assert found == ["R1", "R2", "R3", "R4", "R5"]  # of two of them a cell was left out
    finally:
        warehouse.close()
    assert check_files([tmp_path], tmp_path / "w.duckdb", today=TODAY, settings=settings).files[1].refused


@pytest.mark.parametrize("text", [",\n" * 5, "R1,1980\nR1,1981\nR1,1982\nR1,1983\nR1,1984\n"])
def test_a_load_of_nothing_but_rejected_rows_is_unusable(tmp_path: Path, text: str) -> None:
    (tmp_path / "riders.csv").write_text("rider_id,birth_year\n" + text, encoding="utf-8")
    with pytest.raises(InputUnusableError, match=r"riders\.csv: with it more than 4 rows of this load would be rejected"):
        load([tmp_path], tmp_path / "w.duckdb", today=TODAY, settings=Settings(reading=Reading(most_rejected_rows=4)))
    assert not (tmp_path / "w.duckdb").exists()
