"""What a mapping makes of a foreign export, and what it refuses."""

import math
import re
import shutil
import zipfile
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.load import check_files, load
from etl.mapping import load_mapping, parse_mapping
from etl.read import RefusedFileError, expand, find_files, open_source, source_relation
from etl.report import LoadReport
from shared.errors import UsageError
from shared.warehouse import in_memory, open_reading
from tests.spec.tables import parsed

TODAY = date(2026, 11, 25)
MAPPINGS = Path(__file__).parents[2] / "etl" / "mappings"
TABLES = ("riders", "fitters", "fit_sessions", "knee_captures", "foot_setups")


def core(path: Path, table: str, schema: str = "core") -> list[dict[str, object]]:
    warehouse = open_reading(path)
    columns = "* EXCLUDE (load_id, file_no, record, superseded_by)" if schema == "raw" else "*"
    rows = warehouse.rows(f'SELECT {columns} FROM {schema}."{table}" ORDER BY ALL')
    warehouse.close()
    return rows


def write(tmp_path: Path, mapping: str, **files: str) -> Path:
    """Text tables as CSV with semicolons, and a mapping.toml beside them."""
    folder = tmp_path / "x"
    folder.mkdir(exist_ok=True)
    (folder / "mapping.toml").write_text(mapping, encoding="utf-8")
    for name, text in files.items():
        header, rows = parsed(text)
        lines = "\n".join(";".join(line) for line in [header, *rows])
        (folder / f"{name}.csv").write_text(lines + "\n", encoding="utf-8")
    return folder


def mapped(tmp_path: Path, mapping: str, **files: str) -> LoadReport:
    """Loads such a folder; its captures wait for their sessions."""
    return load([write(tmp_path, mapping, **files)], tmp_path / "w.duckdb", today=TODAY)


def read(tmp_path: Path, mapping: str, **files: str) -> list[dict[str, str | None]]:
    """The text cells of the first source of such a folder, without a load. Raises its refusal."""
    folder = write(tmp_path, mapping, **files)
    warehouse = in_memory()
    source = open_source(expand(find_files([folder]), tmp_path)[0], tmp_path, warehouse)
    rows = warehouse.rows(*source_relation(source, source.table.column_names))
    warehouse.close()
    return [{name.removeprefix("x_"): cell for name, cell in row.items()} for row in rows]


@pytest.fixture(scope="module")
def native(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("native") / "w.duckdb"
    load([MAPPINGS / "samples" / "native"], path, today=TODAY)
    return path


@pytest.mark.parametrize("maker", ["maker_a", "maker_b", "maker_c"])
def test_a_mapped_foreign_export_equals_the_native_one_figure_by_figure(tmp_path: Path, native: Path, maker: str) -> None:
    report = load([MAPPINGS / "samples" / maker], tmp_path / "w.duckdb", today=TODAY, mapping=MAPPINGS / f"{maker}.toml")
    assert report.exit_code == 0
    assert all("left out" not in file.words for file in report.files)
    # Maker C's fitters come in contract form; every other file names the mapping that it was read by.
    assert [f.file for f in report.files if f"mapping: {maker}.toml" not in f.words] == ["fitters.csv"] * (maker == "maker_c")
    for table in TABLES:
        assert core(tmp_path / "w.duckdb", table) == core(native, table), table


def test_every_worked_mapping_has_its_samples() -> None:
    names = {path.stem for path in MAPPINGS.glob("*.toml")}
    assert names == {path.name for path in (MAPPINGS / "samples").iterdir()} - {"native"}


def test_a_mapping_in_the_folder_is_found_by_itself_and_check_tells_the_same(tmp_path: Path, native: Path) -> None:
    folder = shutil.copytree(MAPPINGS / "samples" / "maker_a", tmp_path / "x")
    shutil.copyfile(MAPPINGS / "maker_a.toml", folder / "mapping.toml")
    checked = check_files([folder], tmp_path / "w.duckdb", today=TODAY)
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    assert checked.files == report.files
    assert {file.words for file in report.files} == {"encoding: windows-1252, separator ';'; mapping: mapping.toml"}
    assert core(tmp_path / "w.duckdb", "foot_setups") == core(native, "foot_setups")


def test_a_changed_mapping_is_another_load(tmp_path: Path) -> None:
    text = '[tables.knee_captures.columns]\nknee_tilt_deg = { from = "tilt", unit = "deg" }\n'
    table = "session_id | capture_no | side | tilt\nS1 | 1 | left | 2.5\n"
    assert mapped(tmp_path, text, knee_captures=table).load_id == 1
    assert mapped(tmp_path, text, knee_captures=table).load_id is None
    flipped = text.replace('"deg"', '"deg", flip = true')
    assert mapped(tmp_path, flipped, knee_captures=table).load_id == 2
    assert core(tmp_path / "w.duckdb", "knee_captures", "raw")[0]["knee_tilt_deg"] == -2.5


@pytest.mark.parametrize(
    ("cell", "column", "stored"),
    [
        ("0,5", 'knee_sway_mm = { from = "v", unit = "in" }', 0.5 * 25.4),
        ("0,5", 'knee_sway_mm = { from = "v", unit = "cm" }', 5.0),
        ("-0,0436332313", 'knee_tilt_deg = { from = "v", unit = "rad", flip = true }', round(math.degrees(0.0436332313), 9)),
        ("4", 'knee_tilt_deg = { from = "v", unit = "deg", flip = "left" }', -4.0),
        ("4", 'knee_tilt_deg = { from = "v", unit = "deg", flip = "right" }', 4.0),
        ("0", 'knee_tilt_deg = { from = "v", unit = "deg", flip = true }', 0.0),
        ("", 'knee_tilt_deg = { from = "v", unit = "deg", empty = 1.5 }', 1.5),
    ],
)
def test_units_signs_and_decimal_commas(tmp_path: Path, cell: str, column: str, stored: float) -> None:
    text = f'form = {{ decimal = "," }}\n[tables.knee_captures.columns]\n{column}\n'
    rows = read(tmp_path, text, knee_captures=f"session_id | capture_no | side | v\nS1 | 1 | Left | {cell or '-'}\n")
    assert rows[0][column.partition(" ")[0]] == str(stored)


@pytest.mark.parametrize("cell", ["1.234", "1.234,5", "n/a", "1e999", "٣", "1_0"])
def test_what_is_no_number_stays_as_found_and_its_row_is_rejected(tmp_path: Path, cell: str) -> None:
    text = '[form]\ndecimal = ","\n[tables.knee_captures.columns]\nknee_sway_mm = { from = "v", unit = "cm" }\n'
    report = mapped(tmp_path, text, knee_captures=f"session_id | capture_no | side | v\nS1 | 1 | left | {cell}\n")
    assert [(f.rule, f.column, f.line) for f in report.findings] == [("number", "knee_sway_mm", 2)]
    assert str(report.findings[0].value).startswith(cell)


def test_a_finding_of_a_mapped_row_names_the_line_and_the_row_of_the_foreign_file(tmp_path: Path) -> None:
    text = """
[tables.knee_captures]
files = "wide.csv"
where = { kind = ["rec", "REC2"] }
columns = { session_id = "session_id", capture_no = "no" }
[[tables.knee_captures.each]]
side = { value = "left" }
knee_tilt_deg = { from = "L", unit = "deg" }
[[tables.knee_captures.each]]
side = { value = "right" }
knee_tilt_deg = { from = "R", unit = "deg" }
"""
    wide = "kind | session_id | no | L | R\nnote | S1 | - | - | -\nrec | S1 | 1 | 2 | -\nrec2 | S1 | 2 | 3 | 99\n"
    report = mapped(tmp_path, text, wide=wide)
    assert (report.files[0].read, report.files[0].waiting, report.files[0].rejected) == (3, 2, 1)
    assert [(f.file, f.line, f.column, f.value) for f in report.findings] == [("wide.csv", 4, "knee_tilt_deg", "99")]
    warehouse = open_reading(tmp_path / "w.duckdb")
    kept = warehouse.rows("SELECT received, cells FROM raw.findings")[0]
    warehouse.close()
    assert kept["received"] == '{"kind":"rec2","session_id":"S1","no":"2","L":"3","R":"99"}'
    assert '"side":"right","knee_tilt_deg":"99"' in kept["cells"]


JOURNAL = """
[tables.knee_captures]
files = "journal.csv"
where = { what = "capture" }
[tables.knee_captures.columns]
session_id = "fit"
capture_no = "no"
knee_tilt_deg = { from = "tilt", unit = "deg" }

[tables.foot_setups]
files = "journal.csv"
where = { what = "capture" }
[tables.foot_setups.columns]
session_id = "fit"
capture_no = "no"
side = "side"
[tables.foot_setups.log]
where = { what = "change" }
[tables.foot_setups.log.columns]
session_id = "fit"
side = "side"
insole_level = { from = "insole", empty = "none" }
shims_added = { from = "shims", adds = true, empty = 0 }
stance_mm = { from = "stance", unit = "cm", empty = 0 }
"""


def test_a_journal_of_changes_becomes_the_setup_as_it_stood(tmp_path: Path) -> None:
    journal = """
what    | fit | no | side | tilt | insole | shims | stance
------- | --- | -- | ---- | ---- | ------ | ----- | ------
capture | S1  | 1  | left | 4    | -      | -     | -
change  | S1  | -  | left | -    | low    | 1     | -
change  | S1  | -  | LEFT | -    | -      | 2     | 0.3
change  | S2  | -  | left | -    | high   | -     | -
capture | S1  | 2  | left | 3    | -      | -     | -
change  | S1  | -  | left | -    | -      | -1    | -
capture | S1  | 3  | left | 2    | -      | -     | -
"""
    report = mapped(tmp_path, JOURNAL, journal=journal)
    assert report.findings == []
    assert "1 of the log's changes belong to no capture of this file" in report.files[1].words
    rows = core(tmp_path / "w.duckdb", "foot_setups", "raw")
    assert [(row["capture_no"], row["insole_level"], row["shims_added"], row["stance_mm"]) for row in rows] == [
        (1, "none", 0, 0.0),
        (2, "low", 1 + 2, 3.0),
        (3, "low", 1 + 2 - 1, 3.0),
    ]


def test_a_change_that_is_no_number_rejects_the_captures_after_it(tmp_path: Path) -> None:
    journal = "what | fit | no | side | tilt | insole | shims | stance\n" + "".join(
        f"{line}\n"
        for line in (
            "capture | S1 | 1 | left | 4 | - | - | -",
            "change | S1 | - | left | - | - | some | -",
            "capture | S1 | 2 | left | 4 | - | - | -",
        )
    )
    report = mapped(tmp_path, JOURNAL, journal=journal)
    assert [(f.line, f.column, f.value) for f in report.findings] == [(4, "shims_added", "some")]


@pytest.mark.parametrize(
    ("header", "line"),
    [
        ("knee_tilt_rad", 'knee_tilt_deg = { from = "knee_tilt_rad", unit = "rad" }'),
        ("knee_tilt", 'knee_tilt_deg = { from = "knee_tilt", unit = "deg" }, with the unit that the file is in'),
        ("Knee Tilt [rad]", 'knee_tilt_deg = { from = "Knee Tilt [rad]", unit = "rad" }'),
        ("knee_sway_in", 'knee_sway_mm = { from = "knee_sway_in", unit = "in" }'),
    ],
)
def test_a_quantity_in_another_form_is_refused_with_the_line_that_maps_it(tmp_path: Path, header: str, line: str) -> None:
    table = f"session_id | capture_no | side | knee_offset_mm | {header}\nS1 | 1 | left | 2 | 0.04\n"
    with pytest.raises(RefusedFileError, match="no unit or sign is guessed") as refused:
        read(tmp_path, "", knee_captures=table)
    assert line in str(refused.value)
    assert f"{header} is not in the form of the contract" in str(refused.value)
    assert "[tables.knee_captures.columns]" in str(refused.value)
    # The very line makes the file loadable.
    text = "[tables.knee_captures.columns]\n" + line.partition(", with the")[0]
    assert read(tmp_path, text, knee_captures=table)[0][line.partition(" ")[0]] is not None


def test_a_quantity_that_the_mapping_ignores_is_left_out_and_a_remark_is_no_quantity(tmp_path: Path) -> None:
    table = "session_id | capture_no | side | knee_offset_mm | knee_tilt_rad | knee_tilt_remark\nS1 | 1 | left | 2 | 1 | x\n"
    report = mapped(tmp_path, '[tables.knee_captures]\nignore = "knee_tilt_rad"\n', knee_captures=table)
    assert report.files[0].waiting == 1
    assert report.files[0].words.startswith("encoding: utf-8, separator ';'; mapping: mapping.toml; left out")
    assert "knee_tilt_remark" in report.files[0].words


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[tabels]", "tabels is no key of a mapping; the nearest one is tables."),
        ("[tables.knee_capture]", "tables.knee_capture is no table of the contract; the nearest one is knee_captures."),
        ("[tables.riders]\nfile = 'x'", "tables.riders.file is no key of a mapping; the nearest one is files."),
        ("[form]\nseperator = ';'", "form.seperator is no key of a mapping; the nearest one is separator."),
        (
            "[tables.riders.columns]\nmas_kg = 'x'",
            "tables.riders.columns.mas_kg is no column of riders; the nearest one is mass_kg.",
        ),
        (
            "[[tables.riders.each]]\nmass_kg = { form = 'x' }",
            "tables.riders.each.1.mass_kg.form is no key of a mapping; the nearest one is from.",
        ),
        (
            "[tables.riders.columns]\nmass_kg = 'Weight'",
            'no unit is given, and none is guessed. Write mass_kg = { from = "Weight", unit = "kg" }',
        ),
        ("[tables.riders.columns]\nmass_kg = { from = 'x', unit = 'cm' }", "Unit 'cm' cannot be turned into 'kilogram'"),
        ("[tables.riders.columns]\nmass_kg = { from = 'x', unit = 'kg', flip = 'left' }", "riders has no side"),
        ("[tables.riders.columns]\nsex = { codes = { f = 'female' } }", "expected either from = the source column"),
        ("[tables.riders.columns]\nsex = { from = 'x', value = 'y' }", "expected either from = the source column"),
        ("[tables.riders.columns]\nsex = { from = 'x', unit = 'kg' }", "sex bears no unit"),
        ("[form]\ndate_form = '%Q'", "form.date_form: found '%Q'"),
        ("[form]\nencoding = 'klingon'", "form.encoding: found 'klingon'"),
        ("a = = 1", "is not TOML"),
        ("a = " + "[" * 3000 + "]" * 3000, "is not TOML"),
    ],
)
def test_a_wrong_mapping_says_what_is_wrong_and_what_is_right(text: str, sentence: str) -> None:
    with pytest.raises(UsageError, match=re.escape(sentence)):
        parse_mapping(text.encode(), "m.toml")


def test_a_wrong_mapping_stops_the_load_before_it_begins(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"Mapping mapping\.toml: tables\.x is no table"):
        mapped(tmp_path, "[tables.x]\n", knee_captures="session_id | capture_no | side | knee_tilt_deg\nS1 | 1 | left | 2\n")
    with pytest.raises(UsageError, match="was not found"):
        load_mapping(tmp_path / "none.toml")
    assert not (tmp_path / "w.duckdb").exists()


@pytest.mark.parametrize(
    ("header", "sentence"),
    [
        ("session_id | capture_no | side | Tilts", "names the column 'Tilt', which is not there; the nearest one is 'Tilts'"),
        ("session_id | capture_no | Tilt | Tilt", "the column 'Tilt', which the mapping names, stands 2 times"),
        ("session_id | no | side | Tilt", "the required column capture_no of table knee_captures is missing"),
    ],
)  # fmt: skip
def test_a_file_that_does_not_fit_its_mapping_is_refused(tmp_path: Path, header: str, sentence: str) -> None:
    text = '[tables.knee_captures.columns]\nknee_tilt_deg = { from = "Tilt", unit = "deg" }\n'
    with pytest.raises(RefusedFileError, match=re.escape(sentence)):
        read(tmp_path, text, knee_captures=f"{header}\nS1 | 1 | left | 2\n")


def test_a_log_that_is_not_there_refuses_the_file(tmp_path: Path) -> None:
    text = '[tables.foot_setups.log]\nfiles = "changes.csv"\ncolumns = { session_id = "fit", insole_level = "insole" }\n'
    with pytest.raises(RefusedFileError, match=r"the log of changes that the mapping names \(changes\.csv\) is not there"):
        read(tmp_path, text, foot_setups="session_id | capture_no | side\nS1 | 1 | left\n")


def test_no_word_of_a_mapping_or_a_file_reaches_sql(tmp_path: Path) -> None:
    evil = "'; DROP TABLE r; --"
    text = f"""
[tables.riders.columns]
rider_id = {{ from = ["a{evil}", "{{typed_cells}}"], with = "{evil}" }}
riding = {{ from = "$path", codes = {{ "{evil}" = "road" }}, where = {{ "$path" = "{evil}" }} }}
"""
    folder = tmp_path / "x"
    folder.mkdir()
    (folder / "mapping.toml").write_text(text, encoding="utf-8")
    (folder / "riders.csv").write_text(
        f'"a{evil}",{{typed_cells}},$path,birth_year\n1,2,"{evil}",1700\n1,3,"{evil}",1980\n', encoding="utf-8"
    )
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    assert [(f.rule, f.line) for f in report.findings] == [("range", 2)]
    assert core(tmp_path / "w.duckdb", "riders")[1] | {"height_cm": None} == {
        "rider_id": f"1{evil}3", "birth_year": 1980, "sex": None, "height_cm": None, "mass_kg": None, "riding": "road",
    }  # fmt: skip


def test_the_command_takes_a_mapping_for_load_and_check(tmp_path: Path) -> None:
    words = ["--mapping", str(MAPPINGS / "maker_c.toml"), "--warehouse", str(tmp_path / "w.duckdb")]
    for command, end in (("check", "Nothing was written."), ("load", "0 waiting.")):
        ran = CliRunner().invoke(app, [command, str(MAPPINGS / "samples" / "maker_c"), *words])
        assert ran.exit_code == 0
        assert "frames.csv → foot_setups: 18 read = 18 stored" in ran.output
        assert "(JSON lines; mapping: maker_c.toml)" in ran.output
        assert ran.output.rstrip().endswith(end)
    wrong = tmp_path / "m.toml"
    wrong.write_text("[tables.riders]\nfiels = 'x'\n", encoding="utf-8")
    ran = CliRunner().invoke(app, ["check", str(MAPPINGS), "--mapping", str(wrong)])
    assert isinstance(ran.exception, UsageError)
    assert "the nearest one is files" in str(ran.exception)


def test_a_mapping_in_an_archive_holds_for_its_files(tmp_path: Path, native: Path) -> None:
    path = tmp_path / "export.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.write(MAPPINGS / "maker_b.toml", "mapping.toml")
        archive.write(MAPPINGS / "samples" / "maker_b" / "studio_export.xlsx", "out/studio_export.xlsx")
    report = load([path], tmp_path / "w.duckdb", today=TODAY)
    assert report.files[0].file == "export.zip/out/studio_export.xlsx, sheet Clients"
    assert report.files[0].words == "XLSX; mapping: export.zip/mapping.toml"
    assert core(tmp_path / "w.duckdb", "knee_captures") == core(native, "knee_captures")
