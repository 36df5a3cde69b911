"""Many small files are read as one and fare as each alone: rows, findings with their lines, and what is told of every file."""

import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.printing import file_lines
from etl import together
from etl.load import load
from etl.report import FileReport, LoadReport
from shared.settings import Settings
from shared.settings_running import Reading
from shared.warehouse import Warehouse, open_reading

TODAY = date(2026, 11, 25)
HEAD = "session_id,capture_no,side,knee_tilt_deg,notes"
VISITS = "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind"
# What a line of a file may be: sound, broken, with quotes and breaks of lines, of other cells, blank.
FILES = {
    "a": [HEAD, "S1,1,left,2.5,", "S1,1,right,x,"],
    "b": [HEAD, "S2,1,left,1,", "", "S2,1,right,99,", "S2,2,left,-3,"],
    "c": [HEAD, 'S3,1,left,1,"two\nlines, ""quoted"""', "S3,1,right,y,"],
    "d": [HEAD],
    "e": [HEAD, "S4,1,left,1,", "S4,1,right,2,,,", "S4,2,left,3,"],
    "f": [HEAD, "S1,1,left,4,", "S5,1,left,,"],  # a key of another file with other content
    "g": ["side,session_id,capture_no,knee_tilt_deg,notes", "left,S6,1,2,", "right,S6,1,z,"],
    "h": [HEAD, "S7,1,left,2,"],
    "i": [HEAD, "S8,1,left", "", "S8,1,right,1,", 'S8,2,left,1,"a, b",c'],
}
WIDE = """
[tables.knee_captures]
files = "visit*.csv"
where = { kind = "rec" }
columns = { session_id = "visit", capture_no = "no" }
[[tables.knee_captures.each]]
side = { value = "left" }
knee_tilt_deg = { from = "L", unit = "deg" }
[[tables.knee_captures.each]]
side = { value = "right" }
knee_tilt_deg = { from = "R", unit = "deg", flip = true }
"""


def write(folder: Path, files: dict[str, list[str]], name: str = "knee_captures", end: str = "\n") -> Path:
    folder.mkdir()
    for part, lines in files.items():
        (folder / f"{name}-{part}.csv").write_bytes((end.join(lines) + ("" if part == "h" else end)).encode())
    return folder


def wide(folder: Path) -> Path:
    files = {
        f"{n}": ["kind,visit,no,L,R", f"note,V{n},1,1,1", f"rec,V{n},1,{n % 5},", f"rec,V{n},2,{'x' if n % 3 else 1},{n % 4}"]
        for n in range(7)
    }
    write(folder, files, "visit")
    (folder / "mapping.toml").write_text(WIDE, encoding="utf-8")
    return folder


def held(path: Path) -> dict[str, Any]:
    warehouse = open_reading(path)
    found = {
        name: warehouse.rows(f"SELECT * FROM {name} ORDER BY ALL")
        for name in ("raw.knee_captures", "raw.line_jumps", "raw.findings", "raw.files")
    }
    warehouse.close()
    for row in found["raw.findings"]:
        del row["reject_no"]
    return found


def both(tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, **named: Any) -> tuple[LoadReport, LoadReport]:
    """The same folder read together and one by one."""
    at_once = load([folder], tmp_path / "together.duckdb", today=TODAY, **named)
    with monkeypatch.context() as patch:
        patch.setattr(together, "groups_of", lambda sources: [{no: source} for no, source in sources.items()])
        alone = load([folder], tmp_path / "alone.duckdb", today=TODAY, **named)
    return at_once, alone


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_files_of_every_kind_fare_as_each_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    at_once, alone = both(tmp_path, write(tmp_path / "x", FILES, end=end), monkeypatch)
    assert at_once.files == alone.files
    assert sorted(map(str, at_once.findings)) == sorted(map(str, alone.findings))
    assert [(f.file[-5], f.line) for f in at_once.findings if f.rule == "number"] == [("a", 3), ("c", 4), ("g", 3)]
    assert held(tmp_path / "together.duckdb") == held(tmp_path / "alone.duckdb")


def test_mapped_files_that_make_other_rows_fare_as_each_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    at_once, alone = both(tmp_path, wide(tmp_path / "x"), monkeypatch)
    assert at_once.files == alone.files and at_once.findings == alone.findings
    assert [(f.file, f.line, f.value) for f in at_once.findings[:2]] == [("visit-1.csv", 4, "x"), ("visit-2.csv", 4, "x")]
    assert held(tmp_path / "together.duckdb") == held(tmp_path / "alone.duckdb")


def test_files_that_reject_too_many_together_are_refused_one_by_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    few = Settings(reading=Reading(most_rejected_rows=2))
    at_once, alone = both(tmp_path, write(tmp_path / "x", FILES), monkeypatch, settings=few)
    assert at_once.files == alone.files
    assert any(file.refused for file in at_once.files)
    assert held(tmp_path / "together.duckdb") == held(tmp_path / "alone.duckdb")


def test_as_many_statements_for_ninety_files_as_for_sixty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is wrong with their rows: on the code before, each file with a row of other cells, a row that stands twice or
    one that names nobody took a dozen statements of its own."""
    run = Warehouse._execute
    counted: list[int] = []
    for n in (60, 90):
        lines = {
            f"{no:03d}": [
                HEAD,
                f"S{no},1,left,2,",
                f"S{no},1,right,{'x' if no % 5 else 1},",
                f"S{no},2,left,1,,,y",
                f"S,1,left,{no / 100},",
            ]
            for no in range(n)
        }
        folder = write(tmp_path / f"{n}", lines)
        visits = [f"S{no},{'nobody' if no % 2 else 'R1'},F1,quayside,2026-03-02,first" for no in range(n)]
        for no, visit in enumerate(visits):
            (folder / f"fit_sessions-{no:03d}.csv").write_text(f"{VISITS}\n{visit}\n", encoding="utf-8")
        (folder / "riders.csv").write_text("rider_id\nR1\n", encoding="utf-8")
        (folder / "fitters.csv").write_text("fitter_id,fitter_name\nF1,Alder\n", encoding="utf-8")
        statements: list[object] = []

        def noted(self: Warehouse, sql: Any, *others: Any, seen: list[object] = statements) -> Any:
            seen.append(sql)
            return run(self, sql, *others)

        with monkeypatch.context() as patch:
            patch.setattr(Warehouse, "_execute", noted)
            told = load([folder], tmp_path / f"{n}.duckdb", today=TODAY)
        assert {found.rule for found in told.findings} == {"cells", "number", "duplicate_key", "orphan"}
        counted.append(len(statements))
    assert counted[0] == counted[1]


def test_progress_counts_what_an_archive_holds(tmp_path: Path) -> None:
    write(tmp_path / "x", {f"{no}": [HEAD, f"S{no},1,left,2,"] for no in range(9)})
    shutil.make_archive(str(tmp_path / "all"), "zip", tmp_path / "x")
    told: list[tuple[int, int]] = []
    load([tmp_path / "all.zip"], tmp_path / "w.duckdb", lambda done, total, _: told.append((done, total)), today=TODAY)
    assert [total for _, total in told][-1] == 1 + 9 + 1 + 3
    assert all(done < total for done, total in told)
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1] == (13, 14)


def test_what_is_told_alike_of_many_files_is_told_once() -> None:
    waits = ("", "; 1 row waits for its session")
    files = [
        FileReport(f"v/s-{n}.csv", "knee_captures", 5, 4, waiting=n % 2, words=f"left out: made_by{waits[n % 2]}")
        for n in range(1500)
    ]
    files += [FileReport(f"x{n}.csv", None, refused=True, words=f"x{n}.csv: found {n} columns, expected 5.") for n in range(4)]
    files += [FileReport("riders.csv", "riders", read=2, stored=2, words="utf-8")]
    lines = file_lines(files)
    assert lines == [
        "1,500 files (v/s-0.csv, v/s-1.csv, v/s-2.csv and 1,497 more) → knee_captures: 7500 read = 6000 stored + 0 replaced + "
        "0 unchanged + 0 rejected + 750 waiting  (left out: made_by; 750 rows wait for their session)",
        "refused  4 files alike (x0.csv, x1.csv, x2.csv and 1 more). The first: x0.csv: found 0 columns, expected 5.",
        "riders.csv → riders: 2 read = 2 stored + 0 replaced + 0 unchanged + 0 rejected + 0 waiting  (utf-8)",
    ]


def test_files_refused_alike_are_each_told_by_their_own_name(tmp_path: Path) -> None:
    heading = [HEAD.replace("knee_tilt_deg", "tilt"), "S1,1,left,2,"]
    folder = write(tmp_path / "in", {"a": [HEAD.replace("side", "leg"), "S1,1,left,2,"], "b": heading, "c": heading})
    (folder / "riders.csv").write_text("rider_id\nR1\n", encoding="utf-8")
    (folder / "mapping.toml").write_text(
        '[tables.knee_captures.columns]\nknee_tilt_deg = { from = "Tilt angle", unit = "deg" }\n', encoding="utf-8"
    )
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    words = {file.file: file.words for file in report.files if file.refused}
    assert set(words) == {f"knee_captures-{part}.csv" for part in "abc"}
    assert words["knee_captures-b.csv"] == (
        "knee_captures-b.csv: the mapping names the column 'Tilt angle', which is not there; the nearest one is 'tilt'. "
        "Nothing of this file was loaded. Correct the mapping and load again."
    )
    assert words["knee_captures-c.csv"] == words["knee_captures-b.csv"].replace("-b", "-c")
    assert "the nearest one is" in words["knee_captures-a.csv"] and words["knee_captures-a.csv"].startswith("knee_captures-a")
