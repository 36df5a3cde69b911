"""A file is read as itself, once, whatever its name; neighbours that a pattern would take for it are read as themselves."""

import gzip
import re
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from etl.keeping.backup import back_up
from etl.load import load
from etl.read import FoundFile, expand, find_files, open_source, source_relation
from shared.errors import UsageError
from shared.paths import on_one_line
from shared.warehouse import Warehouse, in_memory, open_reading, write_parquet
from tests.fuzz.reading import forget_ragged
from tests.spec.workbook import sheet_xml, write_workbook

FORMS = ("csv", "csv.gz", "parquet", "jsonl", "xlsx", "zip")
SIGNS = [
    *"[]*?{}'\"%\\\n!^-~#$=:;,+& \t.",
    "2",
    "a",
    "**",
    "[2]",
    "[!a]",
    "{a,2}",
    "é",
    "e\u0301",
    "足",
    "\u202e",
    "\x1b[1m",
    "\udcff",
]
NAMES = st.lists(st.sampled_from(SIGNS), min_size=1, max_size=6).map("".join)
# What a pattern of such signs would fit beside the file itself.
NEIGHBOURS = ("2", "a", "b", "22", "aa", "")
QUICK = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
# Each example loads.
FEW = settings(QUICK, max_examples=3)


@pytest.fixture(scope="module")
def warehouse() -> Warehouse:
    return in_memory()


def write(path: Path, form: str, rider: str) -> None:
    """A file of riders that holds one row."""
    text = f"rider_id,birth_year\n{rider},1980\n"
    if form == "csv":
        path.write_text(text, encoding="utf-8")
    elif form == "csv.gz":
        path.write_bytes(gzip.compress(text.encode()))
    elif form == "jsonl":
        path.write_text(f'{{"rider_id": "{rider}", "birth_year": 1980}}\n', encoding="utf-8")
    elif form == "parquet":
        plain = path.with_name("plain.made")
        write_parquet(pd.DataFrame({"rider_id": [rider], "birth_year": [1980]}), plain)
        plain.rename(path)
    elif form == "xlsx":
        write_workbook(path, {"riders": sheet_xml([["rider_id", "birth_year"], [rider, 1980]])})
    else:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("riders-[2]*.csv", text)


def riders_of(part: FoundFile, scratch: Path, warehouse: Warehouse) -> list[str]:
    source = open_source(part, scratch, warehouse)
    forget_ragged(warehouse)
    relation, parameters = source_relation(source, ("rider_id",))
    return [row["x_rider_id"] for row in warehouse.rows(relation, parameters)]


@QUICK
@given(NAMES, st.sampled_from(FORMS), NAMES)
@example("[2]", "csv", "a")
@example("*", "csv", "a")
@example("?", "parquet", "[2]")
@example("[2]\\", "csv", "\\[a]")
@example("\udcff[2]", "csv", "a")
@example("{2,a}", "csv", "x=1")
@example("a", "parquet", "x=1")
@example("'; --", "csv", "%s")
def test_each_file_is_read_once_and_as_itself(
    warehouse: Warehouse, tmp_path_factory: pytest.TempPathFactory, name: str, form: str, folder_name: str
) -> None:
    scratch = tmp_path_factory.mktemp("scratch")
    folder = tmp_path_factory.mktemp("x") / f"f{folder_name}"
    folder.mkdir()
    own = [f"riders-{name}.{form}", *(f"riders-{near}.{form}" for near in NEIGHBOURS)]
    riders = {}
    for number, file in enumerate(dict.fromkeys(own)):
        if not (folder / file).exists():  # some systems take two names for one
            write(folder / file, form, f"R{number}")
            riders[file] = f"R{number}"
    found = find_files([folder])
    assert sorted(file.path.name for file in found) == sorted(riders)
    for part in expand(found, scratch):
        assert not part.refusal, part.refusal
        assert riders_of(part, scratch, warehouse) == [riders[part.path.name]]
        assert part.name.isprintable()


@FEW
@given(NAMES.filter(lambda name: "\udcff" not in name))
@example("we[i]rd'ware*house?")
@example("md:")
@example(":memory:")
@example("a{b}\n")
def test_a_warehouse_is_opened_under_its_own_name(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    folder = tmp_path_factory.mktemp("w")
    monkeypatch.chdir(folder)
    write(folder / "riders.csv", "csv", "R1")
    path = Path(f"{name}.duckdb")
    (folder / "a.duckdb").write_bytes(b"a neighbour, and no warehouse")
    if path.exists():
        return
    report = load([folder / "riders.csv"], path)
    assert report.load_id == 1
    assert path.is_file()
    opened = open_reading(path)
    try:
        assert opened.value("SELECT rider_id FROM core.riders") == "R1"
    finally:
        opened.close()


def test_a_warehouse_whose_name_is_no_text_is_refused_with_a_sentence(tmp_path: Path) -> None:
    write(tmp_path / "riders.csv", "csv", "R1")
    with pytest.raises(UsageError, match=r"w\\udcff\.duckdb: this path holds bytes that are no UTF-8"):
        load([tmp_path / "riders.csv"], tmp_path / "w\udcff.duckdb")


def test_a_backup_is_written_under_its_own_name(tmp_path: Path) -> None:
    path = tmp_path / "we[i]rd'ware*house?.duckdb"
    write(tmp_path / "riders.csv", "csv", "R1")
    load([tmp_path / "riders.csv"], path)
    folder = tmp_path / "co[p]ies*"
    folder.mkdir()
    back_up(path, folder)
    assert [file.suffix for file in folder.iterdir()]


def test_names_are_shown_on_one_line() -> None:
    assert on_one_line("riders-\n\x1b[1m\u202e\udcff.csv") == "riders-\\n\\x1b[1m\\u202e\\udcff.csv"
    assert on_one_line("riders-é足 [2]*.csv") == "riders-é足 [2]*.csv"


def test_a_name_that_looks_like_markup_stands_in_the_progress_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    import io
    import sys

    from dashboard.cli_options import progress

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    shown = Terminal()
    monkeypatch.setattr(sys, "stderr", shown)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "200")
    with progress() as tell:
        tell(0, 2, "reading riders-[bold].csv")
        tell(1, 2, "reading riders-[/x].csv")
    assert "riders-[/x].csv" in shown.getvalue()


def test_every_statement_that_names_a_file_takes_its_path_from_one_place() -> None:
    root = Path(__file__).parents[2]
    opens = re.compile(
        r"\b(?:read_(?:csv|parquet|json\w*)|parquet_\w*metadata|glob)\(\$|\bATTACH \{|\bCOPY .* TO \{|duckdb\.connect\("
    )
    found = []
    for path in [*(root / "shared").rglob("*.py"), *(root / "etl").rglob("*.py"), *(root / "dashboard").rglob("*.py")]:
        text = path.read_text(encoding="utf-8")
        if opens.search(text):
            found.append(path.name)
            assert "from shared.paths import" in text, path
            # A path in quotes of its own, or turned to text beside the statement, would be a second way.
            assert not re.search(r"'\{\w*(?:path|file|folder)\w*\}'|str\(\w*(?:path|working|spill)\w*\)", text), path
    assert {"parquet_form.py", "file_cells.py", "tables.py", "warehouse.py"} <= set(found)
