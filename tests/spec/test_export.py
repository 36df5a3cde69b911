"""The export: an independent reader accepts it, and its figures are the answers' (anonymous ones: test_anonymous_export.py).

Source: Frictionless Data Package and Table Schema, version 1, as the `frictionless` library implements them.
"""

import csv
import json
from datetime import date
from pathlib import Path

import frictionless
import pytest

from dashboard.export.descriptor import Resource
from dashboard.export.package import export
from dashboard.export.tables import write_table
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from shared.settings import Settings
from shared.warehouse import in_memory, open_reading


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def plain(asker: Asker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return export(asker, Selection(), tmp_path_factory.mktemp("export") / "plain").folder


def test_an_independent_reader_accepts_every_table(plain: Path) -> None:
    report = frictionless.validate(str(plain / "datapackage.json"))
    assert report.valid, report.flatten(["taskNumber", "rowNumber", "fieldNumber", "note"])[:10]
    assert len(report.tasks) > 25


def test_both_forms_hold_the_same_rows(plain: Path, asker: Asker) -> None:
    warehouse, source = in_memory(), open_reading(asker.path)
    described = json.loads((plain / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    assert {path.name for path in plain.iterdir()} == {"datapackage.json"} | {
        f"{one['name']}.{form}" for one in described for form in ("csv", "parquet")
    }
    for resource in described:
        parquet = warehouse.value(f"SELECT count(*) FROM read_parquet('{plain / resource['parquet']['path']}')")
        assert parquet == len(rows_of(plain / resource["path"]))
    for mart in ("fits", "knees", "captures"):
        assert len(rows_of(plain / f"{mart}.csv")) == source.value(f"SELECT count(*) FROM mart.{mart}")
    tilt = warehouse.value(f"SELECT sum(knee_tilt_deg) FROM read_parquet('{plain / 'captures.parquet'}')")
    assert tilt == pytest.approx(source.value("SELECT sum(knee_tilt_deg) FROM mart.captures"), rel=1e-12)


@pytest.mark.parametrize(("question", "rows"), [("studio", "figures"), ("effects", "effects"), ("fitters", "fitters")])
def test_results_are_the_answers(plain: Path, asker: Asker, question: str, rows: str) -> None:
    told = rows_of(plain / f"{question}-{rows}.csv")
    answered = asker.ask(question, Selection()).rows(rows)
    assert len(told) == len(answered)
    for printed, row in zip(told, answered, strict=True):
        for name, value in row.items():
            if isinstance(value, float):
                assert float(printed[name]) == value
            elif isinstance(value, str):
                assert printed[name] == value
            elif value is None:
                assert printed[name] == ""


def test_a_selection_narrows_every_table(asker: Asker, tmp_path: Path) -> None:
    selection = Selection(date_from=date(2025, 1, 1), side=("left",), visit_kind=("first",))
    done = export(asker, selection, tmp_path / "o'left [x] {y} *?%")
    assert {row["side"] for row in rows_of(done.folder / "captures.csv")} == {"left"}
    assert {row["visit_kind"] for row in rows_of(done.folder / "fits.csv")} == {"first"}
    assert min(row["session_date"] for row in rows_of(done.folder / "fits.csv")) >= "2025-01-01"
    told = json.loads((done.folder / "datapackage.json").read_text(encoding="utf-8"))["selection"]
    assert told == {"from": "2025-01-01", "side": ["left"], "visit_kind": ["first"]}


def test_a_folder_that_holds_something_is_left_alone(asker: Asker, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="new or empty folder"):
        export(asker, Selection(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_text_that_a_spreadsheet_would_run_is_harmless_in_csv_only(tmp_path: Path) -> None:
    warehouse = in_memory()
    cells = ["=1+1", "'quoted", "@x", "-3.5", "+x", "plain", 'a "b", c', "\n=1", "\t=1", "－1＋1", "-1+1|x"]
    warehouse.run("CREATE TEMP TABLE texts AS SELECT unnest($cells) AS id", {"cells": cells})
    write_table(warehouse, "texts", Resource("texts", "", ({"name": "id", "type": "string"},)), tmp_path)
    assert [row["id"] for row in rows_of(tmp_path / "texts.csv")] == [
        "'=1+1",
        "'quoted",
        "'@x",
        "-3.5",
        "'+x",
        "plain",
        'a "b", c',
        "'\n=1",
        "'\t=1",
        "'－1＋1",
        "'-1+1|x",
    ]
    kept = warehouse.rows(f"SELECT id FROM read_parquet('{tmp_path / 'texts.parquet'}')")
    assert [row["id"] for row in kept] == cells
