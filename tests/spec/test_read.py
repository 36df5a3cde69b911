"""Every form of file that is read, and every hostile one that is refused with a sentence, in bounded time and memory."""

import gzip
import io
import resource
import struct
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest

from etl import limits
from etl.read import (
    RefusedFileError,
    expand,
    find_files,
    lines_of,
    lines_of_bytes,
    open_source,
    source_relation,
)
from etl.source import SourceFile
from shared.settings_running import Reading
from shared.warehouse import Warehouse, in_memory, write_parquet
from tests.spec.workbook import Xml, column_name, sheet_xml, write_workbook

RIDERS = [["rider_id", "birth_year", "sex"], ["R1", 1980, "Größe"], ["R2", 1991, "male"]]
CELLS = [("R1", "1980", "Größe"), ("R2", "1991", "male")]
ROOT = Path(__file__).parents[2]


@pytest.fixture
def warehouse() -> Iterator[Warehouse]:
    warehouse = in_memory()
    yield warehouse
    warehouse.close()


def opened(path: Path, warehouse: Warehouse, scratch: Path, reading: Reading | None = None) -> list[SourceFile]:
    """The sources of a file or folder; raises the first refusal."""
    scratch.mkdir(exist_ok=True)
    return [open_source(part, scratch, warehouse) for part in expand(find_files([path], reading=reading), scratch)]


def cells(source: SourceFile, warehouse: Warehouse, *names: str) -> list[tuple[str | None, ...]]:
    """The text cells of the named columns."""
    for table in ("ragged_rows", "ragged_scans"):
        warehouse.run(f"DROP TABLE IF EXISTS {table}")
    relation, parameters = source_relation(source, names or ("rider_id", "birth_year", "sex"))
    return [tuple(row.values()) for row in warehouse.rows(relation, parameters)]


def refusal(path: Path, warehouse: Warehouse, scratch: Path, reading: Reading | None = None) -> str:
    with pytest.raises(RefusedFileError) as refused:
        opened(path, warehouse, scratch, reading)
    words = str(refused.value)
    assert path.name in words
    return words


def csv_of(rows: list[list[object]], separator: str = ",", end: str = "\n") -> str:
    return "".join(separator.join(map(str, row)) + end for row in rows)


def test_every_form_gives_the_same_cells(tmp_path: Path, warehouse: Warehouse) -> None:
    text = csv_of(RIDERS)
    lines = "\n\n".join(
        f'{{"rider_id": "{row[0]}", "birth_year": {row[1]}, "sex": "{row[2]}", "note": null}}' for row in RIDERS[1:]
    )
    folder = tmp_path / "x"
    folder.mkdir()
    (folder / "riders.csv").write_text(text, encoding="utf-8")
    (folder / "riders-2.csv.gz").write_bytes(gzip.compress(text.encode()))
    (folder / "riders-3.jsonl").write_text(lines, encoding="utf-8")
    (folder / "riders_4.jsonl.gz").write_bytes(gzip.compress(lines.encode()))
    (folder / "riders_5.csv").write_bytes(csv_of(RIDERS, "\t", "\r\n").encode("utf-16"))
    (folder / "riders_6.csv").write_bytes(csv_of(RIDERS, ";", "\r").encode("cp1252"))
    write_parquet(pd.DataFrame(RIDERS[1:], columns=RIDERS[0]), folder / "riders_7.parquet")
    write_workbook(folder / "book.xlsx", {"Riders": sheet_xml(RIDERS)})
    with zipfile.ZipFile(folder / "all.zip", "w") as archive:
        for path in sorted(folder.iterdir()):
            if path.suffix != ".zip":
                archive.write(path, f"exports/{path.name}")
        archive.writestr("exports/readme.md", "no table")
        archive.writestr("__MACOSX/._riders.csv", b"\x00")
    sources = opened(folder, warehouse, tmp_path / "scratch")
    assert [cells(source, warehouse) for source in sources] == [CELLS] * 16
    assert [source.name for source in sources][:3] == [
        "all.zip/exports/book.xlsx, sheet Riders", "all.zip/exports/riders-2.csv.gz", "all.zip/exports/riders-3.jsonl",
    ]  # fmt: skip
    assert {source.detected for source in sources} == {
        "XLSX", "JSON lines", "Parquet", "encoding: utf-8, separator ','", "encoding: utf-16, separator 'tab'",
        "encoding: windows-1252, separator ';'",
    }  # fmt: skip
    jsonl = next(source for source in sources if source.name == "riders-3.jsonl")
    assert lines_of(jsonl, {1, 2}, set()) == {1: 1, 2: 3}


def test_cells_of_a_workbook_become_the_text_of_their_types(tmp_path: Path, warehouse: Warehouse) -> None:
    rows: list[list[object]] = [
        ["session_id", "capture_no", "side", "knee_tilt_deg", "captured_at"],
        [],
        [" S1 ", 1.0, "left", -2.5, datetime(2026, 3, 2, 9, 30)],
        ["S1", 2, "=1+1", Xml(' t="e"><v>#N/A</v>'), date(2026, 3, 2)],
        ["S1", 3, Xml('><f>"le"&amp;"ft"</f><v>7</v>'), True, "٣"],
    ]
    write_workbook(tmp_path / "b.xlsx", {"knee_captures": sheet_xml(rows)})
    (source,) = opened(tmp_path / "b.xlsx", warehouse, tmp_path / "s")
    assert cells(source, warehouse, *map(str, rows[0])) == [
        ("S1", "1", "left", "-2.5", "2026-03-02T09:30:00"),
        ("S1", "2", "=1+1", "#N/A", "2026-03-02"),
        ("S1", "3", "7", "true", "٣"),
    ]
    assert lines_of(source, {1, 2, 3}, set()) == {1: 3, 2: 4, 3: 5}


@pytest.mark.parametrize("ends", ["\r\n|\n", "\n|\r\n", "\r|\n", "\r\n|\r"])
def test_mixed_line_ends_lose_no_row_and_no_line_number(tmp_path: Path, warehouse: Warehouse, ends: str) -> None:
    one, other = ends.split("|")
    text = f'rider_id,birth_year,sex{one}R1,1980,"a\r\nb"{other}{one}R2,1991,male{one}R3,1992,male{other}'
    (tmp_path / "riders.csv").write_bytes(text.encode())
    (source,) = opened(tmp_path / "riders.csv", warehouse, tmp_path / "s")
    assert cells(source, warehouse) == [("R1", "1980", "a\r\nb"), ("R2", "1991", "male"), ("R3", "1992", "male")]
    assert lines_of(source, {1, 2, 3}, set()) == {1: 2, 2: 5, 3: 6}


def test_blank_lines_of_a_single_column_are_no_rows(tmp_path: Path, warehouse: Warehouse) -> None:
    (tmp_path / "riders.csv").write_text("rider_id\n\nR1\n \nR2\n\n", encoding="utf-8")
    (source,) = opened(tmp_path / "riders.csv", warehouse, tmp_path / "s")
    assert cells(source, warehouse, "rider_id") == [("R1",), ("R2",)]
    assert lines_of(source, {1, 2}, set()) == {1: 3, 2: 5}


def test_a_quote_that_never_closes_refuses_the_file_and_a_quote_within_a_cell_does_not(
    tmp_path: Path, warehouse: Warehouse
) -> None:
    path = tmp_path / "riders.csv"
    path.write_text('rider_id,birth_year,sex\nR1,1980,5" wide\nR2,1991,6"\nR3,1992,"7\nR4,1993,x\n', encoding="utf-8")
    assert "riders.csv, line 4: a quote opens in this row and never closes" in refusal(path, warehouse, tmp_path / "s")
    path.write_text('rider_id,birth_year,sex\nR1,1980,5" wide\nR2,1991,"a""b"\n', encoding="utf-8")
    (source,) = opened(path, warehouse, tmp_path / "s")
    assert cells(source, warehouse) == [("R1", "1980", '5" wide'), ("R2", "1991", 'a"b')]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"rider_id,sex\nR1,male\nR2,fe\x00male\n", "line 3: found a NUL byte"),
        (b"", "empty"),
        (b"\n\nrider_id\n", "empty"),
        (b"\xff\xfe", "empty"),
        (",".join(f"column_{n}" for n in range(5000)).encode(), "found 5,000 columns, expected 1,000 at most"),
        (b"rider_id,sex\nR1," + b"x" * 1_100_000, "line 2: found a row of more than 1,000,000 bytes"),
        (b'rider_id,sex\nR1,"' + b"x\n" * 600_000 + b'"\n', "line 2: found a row of more than 1,000,000 bytes"),
        (b'rider_id,sex\nR1,"' + b'""\n' * 400_000 + b'"\n', "line 2: found a row of more than 1,000,000 bytes"),
        (b"rider_id," + b"x" * 400 + b"\nR1,2\n", "of 400 characters as the name of a column"),
        (b"rider_id,rider_id\n1,2\n", "stands twice in the first line"),
    ],
)  # fmt: skip
def test_a_hostile_csv_is_refused_with_one_sentence(tmp_path: Path, warehouse: Warehouse, content: bytes, words: str) -> None:
    path = tmp_path / "riders.csv"
    path.write_bytes(content)
    assert words in refusal(path, warehouse, tmp_path / "s")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'{"rider_id": {"a": 1}}', "line 1, 'rider_id': found a nested object, expected a plain value"),
        (b'{"rider_id": 1}\n{"rider_id": [1]}', "line 2, 'rider_id': found a list"),
        (b"[1]", "line 1: found a list, expected one object a line"),
        (b"3", "line 1: found a bare value"),
        (b'{"rider_id": 1e999}', "line 1: this is no JSON object (number is infinity"),
        (b'{"rider_id": NaN}', "line 1: this is no JSON object"),
        (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "line 1: this is no JSON object (depth limit exceeded"),
        (b"[" * 400_000, "line 1: this is no JSON object"),
        (b'{"rider_id": "a\\u0000b"}', "found a NUL character"),
        (b'{"rider_id": "' + b"x" * 1_000_000 + b'"}', "line 1: found a row of more than 1,000,000 bytes"),
        (b"{" + b",".join(b'"c%d":1' % n for n in range(5000)) + b"}", "found 5,000 columns"),
        (b'{"rider_id": "\xff"}', "no UTF-8"),
        (b"\n\n", "empty"),
        (b'{"rider_id":1}\n{"rider_id":"a:\\"","sex":"x","rider_id":2}', "line 2, 'rider_id': stands twice in this record"),
        (b'{"rider_id":1,"rider\\u005fid":2}', "line 1, 'rider_id': stands twice in this record"),
        (b'{"rider_id":123456789012345678901}', "line 1, 'rider_id': found a number of more digits than can be kept"),
    ],
)  # fmt: skip
def test_hostile_json_lines_are_refused_with_one_sentence(
    tmp_path: Path, warehouse: Warehouse, content: bytes, words: str
) -> None:
    path = tmp_path / "riders.jsonl"
    path.write_bytes(content)
    assert words in refusal(path, warehouse, tmp_path / "s")


def zipped(path: Path, members: dict[str, bytes], **attributes: int) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            member = zipfile.ZipInfo(name)
            member.compress_type = zipfile.ZIP_DEFLATED
            for attribute, value in attributes.items():
                setattr(member, attribute, value)
            archive.writestr(member, content)
    return path


@pytest.mark.parametrize("name", ["../riders.csv", "/riders.csv", "a/../../riders.csv", "..\\riders.csv", "C:riders.csv"])
def test_an_archive_that_names_a_place_outside_of_it_is_refused_whole(tmp_path: Path, warehouse: Warehouse, name: str) -> None:
    path = zipped(tmp_path / "x.zip", {"fitters.csv": b"fitter_id,fitter_name\nF1,A\n", name: b"rider_id\nR1\n"})
    assert "names a place outside of the archive" in refusal(path, warehouse, tmp_path / "s")
    assert not (tmp_path / "riders.csv").exists()


def test_archives_within_archives_links_and_twins_are_refused(tmp_path: Path, warehouse: Warehouse) -> None:
    scratch, row = tmp_path / "s", b"rider_id\nR1\n"
    assert "is an archive again" in refusal(zipped(tmp_path / "a.zip", {"riders.zip": row}), warehouse, scratch)
    link = zipped(tmp_path / "b.zip", {"riders.csv": b"/etc/passwd"}, external_attr=0o120777 << 16)
    assert "is a link" in refusal(link, warehouse, scratch)
    twins = zipped(tmp_path / "c.zip", {"riders.csv": row, "Riders.csv": row})
    assert "stands twice" in refusal(twins, warehouse, scratch)
    assert "holds no file of exports" in refusal(zipped(tmp_path / "d.zip", {"notes.md": row}), warehouse, scratch)
    many = zipped(tmp_path / "e.zip", {f"riders-{n}.csv": b"" for n in range(limits.MEMBERS + 1)})
    assert "holds 1,001 files" in refusal(many, warehouse, scratch)
    (tmp_path / "f.zip").write_bytes(zipped(tmp_path / "g.zip", {"riders.csv": row}).read_bytes()[:-30])
    assert "this is no zip file, or it is broken" in refusal(tmp_path / "f.zip", warehouse, scratch)


def test_bombs_stop_at_their_bound(tmp_path: Path, warehouse: Warehouse, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "UNPACKED_FREE_BYTES", 1 << 20)
    scratch, zeros = tmp_path / "s", b"0" * (16 << 20)
    bombs = [
        zipped(tmp_path / "a.zip", {"riders.csv": zeros}),
        zipped(tmp_path / "b.zip", {f"riders-{n}.csv": zeros[: 1 << 20] for n in range(16)}),
        tmp_path / "riders.csv.gz",
        write_workbook(tmp_path / "c.xlsx", {"riders": sheet_xml(RIDERS)}, sharedStrings=zeros.decode()),
    ]
    # Markup that a careless pattern would take the square of its length for.
    write_workbook(tmp_path / "d.xlsx", {"riders": sheet_xml(RIDERS)}, sharedStrings="<f <c t " * 100_000)
    bombs[2].write_bytes(gzip.compress(zeros))
    assert "broken" in refusal(tmp_path / "d.xlsx", warehouse, scratch)
    for bomb in bombs:
        assert "unpacks to more than" in refusal(bomb, warehouse, scratch)
    assert sum(path.stat().st_size for path in scratch.iterdir()) < 16 << 20


def test_a_member_that_lies_about_its_size_is_refused(tmp_path: Path, warehouse: Warehouse) -> None:
    path = zipped(tmp_path / "x.zip", {"riders.csv": b"rider_id\n" + b"R1\n" * 100_000})
    data = path.read_bytes()
    at = data.index(b"PK\x01\x02")
    path.write_bytes(data[: at + 24] + struct.pack("<I", 10) + data[at + 28 :])
    assert "this is no zip file, or it is broken" in refusal(path, warehouse, tmp_path / "s")


def test_an_empty_gzip_and_a_broken_one_are_refused(tmp_path: Path, warehouse: Warehouse) -> None:
    path = tmp_path / "riders.csv.gz"
    for content, words in (
        (gzip.compress(b""), "empty"),
        (b"no gzip", "no gzip file"),
        (gzip.compress(b"rider_id\nR1\n" * 1000)[:-20], "no gzip file"),
    ):
        path.write_bytes(content)
        assert words in refusal(path, warehouse, tmp_path / "s")


def test_a_workbook_with_entities_is_refused(tmp_path: Path, warehouse: Warehouse) -> None:
    entity = '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]><sst><si><t>&e;</t></si></sst>'
    path = write_workbook(tmp_path / "a.xlsx", {"riders": sheet_xml(RIDERS)}, sharedStrings=entity)
    assert "declares entities or is no plain XML" in refusal(path, warehouse, tmp_path / "s")


def test_a_workbook_of_absurd_extent_is_refused_before_it_is_laid_out(tmp_path: Path, warehouse: Warehouse) -> None:
    far = sheet_xml([["rider_id"]]) + '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    path = write_workbook(tmp_path / "a.xlsx", {"riders": far})
    assert "reaches over 1,048,576 rows and 16,384 columns" in refusal(path, warehouse, tmp_path / "s")
    bare = "<row>" + "<c/>" * 30_000 + "</row>" + "<row/>" * 30_000
    path = write_workbook(tmp_path / "b.xlsx", {"riders": bare})
    assert "expected 20,000,000 cells at most" in refusal(path, warehouse, tmp_path / "s")
    wide = sheet_xml([[f"column {column_name(index)}" for index in range(5000)]])
    path = write_workbook(tmp_path / "c.xlsx", {"riders": wide})
    assert "found 5,000 columns" in refusal(path, warehouse, tmp_path / "s")


def test_a_workbook_with_an_uncomputed_formula_or_an_unknown_sheet_is_refused(tmp_path: Path, warehouse: Warehouse) -> None:
    rows = [["rider_id", "birth_year"], ["R1", Xml("><f>1979+1</f>")]]
    path = write_workbook(tmp_path / "a.xlsx", {"riders": sheet_xml(rows)})
    assert "a formula whose value was never computed" in refusal(path, warehouse, tmp_path / "s")
    path = write_workbook(tmp_path / "b.xlsx", {"Overview": sheet_xml(RIDERS)})
    assert "b.xlsx, sheet Overview: the name of the sheet is none of the tables'" in refusal(path, warehouse, tmp_path / "s")
    path = write_workbook(tmp_path / "e.xlsx", {"riders": sheet_xml([["rider_id"], ["R&#0;1"]]).replace("&amp;", "&")})
    assert "e.xlsx, sheet riders" in refusal(path, warehouse, tmp_path / "s")
    (tmp_path / "c.xlsx").write_bytes(b"no workbook")
    assert "this is no XLSX file" in refusal(tmp_path / "c.xlsx", warehouse, tmp_path / "s")
    path = write_workbook(tmp_path / "d.xlsx", {"riders": sheet_xml(RIDERS)}, sheet1="<worksheet><sheetData><row><c")
    assert "broken" in refusal(path, warehouse, tmp_path / "s")


def test_parquet_that_is_broken_is_refused(tmp_path: Path, warehouse: Warehouse) -> None:
    path = tmp_path / "riders.parquet"
    write_parquet(pd.DataFrame({"rider_id": [f"R{n}" for n in range(5000)]}), path)
    whole = path.read_bytes()
    path.write_bytes(whole[:20] + b"\xaa" * 4000 + whole[4020:])
    assert "this is no Parquet file, or it is broken" in refusal(path, warehouse, tmp_path / "s")
    path.write_bytes(whole[:-100])
    assert "this is no Parquet file, or it is broken" in refusal(path, warehouse, tmp_path / "s")
    write_parquet(pd.DataFrame({"rider_id": ["R1", "R\x002"], "sex": ["a", None]}), tmp_path / "riders-nul.parquet")
    assert "found NUL characters in rider_id" in refusal(tmp_path / "riders-nul.parquet", warehouse, tmp_path / "s")
    path.write_bytes(whole)
    few = Reading(most_rows_per_file=4999)
    assert "tells of 5,000 rows, expected 4,999 at most" in refusal(path, warehouse, tmp_path / "s", few)


def test_a_line_of_two_gigabytes_needs_neither_its_time_nor_its_memory(tmp_path: Path) -> None:
    path = tmp_path / "riders.csv"
    with path.open("wb") as file:
        file.write(b"rider_id\n" + b"x" * 2_000_000)
        file.truncate(2 << 30)  # a sparse file: the rest takes no disk
    memory = 1 << 30
    code = (
        "import sys; from pathlib import Path; from etl.read import *; from shared.warehouse import in_memory\n"
        "try: open_source(find_files([Path(sys.argv[1])])[0], Path(sys.argv[2]), in_memory())\n"
        "except RefusedFileError as words: print(words)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, str(path), str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_DATA, (memory, memory)),
    )  # fmt: skip
    assert ran.stdout.startswith("riders.csv, line 2: found a row of more than 1,000,000 bytes")


def test_lines_of_bytes_are_found_across_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "CHUNK_BYTES", 3)
    text = io.BytesIO(b"a\r\nbb\r\n\r\nc\nd\re")
    path = tmp_path / "t.csv"
    path.write_bytes(text.getvalue())
    assert lines_of_bytes(path, [1, 4, 8, 12, 14]) == [1, 2, 4, 5, 6]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_misplaced_quote_makes_one_ragged_row_and_no_row_of_its_own(tmp_path: Path, warehouse: Warehouse, end: str) -> None:
    lines = [
        "rider_id,birth_year,sex",
        'R1,"i',
        'R1,c"1,"xd"y,1,2',
        "R2,1991,male",
        'R3,"a"b,1,2',
        'R4,1992,"x',
        'y"',
        'R5,1993,"z',
    ]
    (tmp_path / "riders.csv").write_text(end.join(lines), encoding="utf-8", newline="")
    (source,) = opened(tmp_path / "riders.csv", warehouse, tmp_path / "s")
    assert cells(source, warehouse) == [("R2", "1991", "male"), ("R4", "1992", f"x{end}y")]
    starts = warehouse.rows("SELECT DISTINCT line_byte_position FROM ragged_rows ORDER BY ALL")
    ragged = lines_of_bytes(source.readable_path, [row["line_byte_position"] for row in starts])
    assert ragged == [2, 5, 8]
    assert lines_of(source, {1, 2}, set(ragged)) == {1: 4, 2: 6}


def test_lines_before_the_header_are_skipped_where_the_mapping_says_so(tmp_path: Path, warehouse: Warehouse) -> None:
    folder = tmp_path / "x"
    folder.mkdir()
    (folder / "mapping.toml").write_text("[form]\nskip_lines = 3\n[tables.riders]\n", encoding="utf-8")
    text = 'Written by "maker\n\n5" of it;\nrider_id,birth_year,sex\nR1,1980,male\n\nR2,1991,"a\nb"\nR3,1992,male\n'
    (folder / "riders.csv").write_text(text, encoding="utf-8")
    (source,) = opened(folder, warehouse, tmp_path / "s")
    assert cells(source, warehouse, "rider_id") == [("R1",), ("R2",), ("R3",)]
    assert lines_of(source, {1, 2, 3}, set()) == {1: 5, 2: 7, 3: 9}
