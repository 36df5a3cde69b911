"""The export: an independent reader accepts it, its figures are the answers', and an anonymous one hides every rider.

Sources: Frictionless Data Package and Table Schema, version 1, as the `frictionless` library implements them; k-anonymity
as Sweeney 2002 defines it (each released record indistinguishable from at least k-1 others by what others may know).
"""

import csv
import json
import re
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import frictionless
import pytest

from dashboard.export.anonymous import STEPS, code_of, period_of, read_key
from dashboard.export.descriptor import Resource
from dashboard.export.package import export
from dashboard.export.tables import write_table
from dashboard.questions.asking import Asker
from dashboard.questions.selection import Selection
from shared.errors import TooFewError, UsageError
from shared.settings import Settings
from shared.warehouse import in_memory, open_reading

KEY = b"a key for tests, 32 bytes and more"
SMALLEST = Settings().minimum.rows_shown


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def plain(asker: Asker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return export(asker, Selection(), tmp_path_factory.mktemp("export") / "plain").folder


@pytest.fixture(scope="module")
def anonymous(asker: Asker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return export(asker, Selection(), tmp_path_factory.mktemp("export") / "anonymous", key=KEY).folder


@pytest.mark.parametrize("folder", ["plain", "anonymous"])
def test_an_independent_reader_accepts_every_table(folder: str, request: pytest.FixtureRequest) -> None:
    report = frictionless.validate(str(request.getfixturevalue(folder) / "datapackage.json"))
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
    done = export(asker, Selection(side=("left",), visit_kind=("first",)), tmp_path / "left")
    assert {row["side"] for row in rows_of(done.folder / "captures.csv")} == {"left"}
    assert {row["visit_kind"] for row in rows_of(done.folder / "fits.csv")} == {"first"}


def test_an_anonymous_export_names_nobody(anonymous: Path, asker: Asker) -> None:
    warehouse = open_reading(asker.path)
    ids = {
        row["id"]
        for column in ("session_id", "rider_id", "fitter_id", "studio_id")
        for row in warehouse.rows(f"SELECT DISTINCT {column} AS id FROM mart.fits")
    }
    cells = {cell for path in anonymous.glob("*.csv") for row in rows_of(path) for cell in row.values()}
    assert not cells & ids
    words = {one.encode() for one in ids if len(one) > 3}
    assert len(words) > 2000
    for path in anonymous.iterdir():
        assert not words.intersection(re.findall(rb"[A-Za-z0-9]+", path.read_bytes())), path.name
    resources = json.loads((anonymous / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    columns = {field["name"] for resource in resources for field in resource["schema"]["fields"]}
    assert not columns & {"session_date", "birth_year", "booked_on", "due_on", "attended_on", "notes", "fitter_name"}


def fits_agree(shown: dict[str, str], known: dict[str, Any]) -> bool:
    """Whether one exported fit may be the known one: every value that is shown is the known one."""
    if shown["session_period"]:
        forms = {period_of(known["session_date"], period) for period in ("month", "quarter", "year")}
        if shown["session_period"] not in forms:
            return False
    if shown["studio_id"] and shown["studio_id"] != code_of(KEY, "studio", known["studio_id"]):
        return False
    return all(
        not shown[name] or shown[name] == known[name] for name in ("visit_kind", "bike_kind", "riding", "sex", "age_band")
    )


def test_nobody_can_be_picked_out_by_what_others_may_know(
    anonymous: Path, plain: Path, asker: Asker, capsys: pytest.CaptureFixture[str]
) -> None:
    """The attacker knows everything that the plain export says of a rider's visits, and which studio has which code."""
    released: dict[str, list[dict[str, str]]] = {}
    for row in sorted(rows_of(anonymous / "fits.csv"), key=lambda row: int(row["visit_no"])):
        released.setdefault(row["rider_id"], []).append(row)
    known: dict[str, list[dict[str, Any]]] = {}
    warehouse = open_reading(asker.path)
    dates = {row["session_id"]: row["session_date"] for row in warehouse.rows("SELECT session_id, session_date FROM mart.fits")}
    for row in sorted(rows_of(plain / "fits.csv"), key=lambda row: (row["session_date"], row["session_id"])):
        known.setdefault(row["rider_id"], []).append(row | {"session_date": dates[row["session_id"]]})
    looks = Counter(
        tuple(tuple(fit[name] for name in ("studio_id", "session_period", "visit_kind", *STEPS[0].details)) for fit in fits)
        for fits in released.values()
    )
    sizes = []
    for fits in known.values():
        candidates = 0
        for look, n_riders in looks.items():
            shown = [
                dict(zip(("studio_id", "session_period", "visit_kind", *STEPS[0].details), fit, strict=True)) for fit in look
            ]
            is_cut = not shown[0]["studio_id"]
            if (len(shown) == len(fits) or (is_cut and len(shown) < len(fits))) and all(map(fits_agree, shown, fits)):
                candidates += n_riders
        if candidates:
            sizes.append(candidates)
    with capsys.disabled():
        sys.stdout.write(f"\nanonymous demo: {len(released)} riders given out, smallest group of candidates {min(sizes)}\n")
    assert min(sizes) >= SMALLEST
    assert min(looks.values()) >= SMALLEST
    told = json.loads((anonymous / "datapackage.json").read_text(encoding="utf-8"))["anonymity"]
    assert told["smallest_group"] == min(looks.values())
    assert told["held_back"] == len(known) - len(released)


def test_a_fitter_with_few_riders_has_no_code(anonymous: Path) -> None:
    riders: dict[str, set[str]] = {}
    for row in rows_of(anonymous / "fits.csv"):
        riders.setdefault(row["fitter_id"], set()).add(row["rider_id"])
    assert all(len(seen) >= SMALLEST for fitter, seen in riders.items() if fitter)


def test_rows_that_rest_on_few_are_held_back(anonymous: Path, plain: Path) -> None:
    assert min(int(row["n_riders"]) for row in rows_of(plain / "effects-dose.csv") if row["n_riders"] != "0") < SMALLEST
    assert all(not 0 < int(row["n_riders"]) < SMALLEST for row in rows_of(anonymous / "effects-dose.csv"))


def test_codes_are_shared_by_a_key_only(asker: Asker, tmp_path: Path) -> None:
    key = read_key(tmp_path / "codes.key")
    assert read_key(tmp_path / "codes.key") == key
    assert (tmp_path / "codes.key").stat().st_mode & 0o077 == 0
    assert read_key(None) != read_key(None)
    assert code_of(key, "rider", "R1") != code_of(key, "session", "R1")
    (tmp_path / "short.key").write_bytes(b"short")
    with pytest.raises(UsageError, match="found 5 bytes"):
        read_key(tmp_path / "short.key")


def test_too_few_to_hide_among_are_refused(asker: Asker, tmp_path: Path) -> None:
    few = tuple(row["rider_id"] for row in open_reading(asker.path).rows("SELECT DISTINCT rider_id FROM mart.fits LIMIT 5"))
    with pytest.raises(TooFewError, match="expected at least 10"):
        export(asker, Selection(rider=few), tmp_path / "few", key=KEY)
    assert not any(tmp_path.iterdir())


def test_a_folder_that_holds_something_is_left_alone(asker: Asker, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="new or empty folder"):
        export(asker, Selection(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_text_that_a_spreadsheet_would_run_is_harmless_in_csv_only(tmp_path: Path) -> None:
    warehouse = in_memory()
    cells = ["=1+1", "'quoted", "@x", "-3.5", "+x", "plain", 'a "b", c']
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
    ]
    kept = warehouse.rows(f"SELECT id FROM read_parquet('{tmp_path / 'texts.parquet'}')")
    assert [row["id"] for row in kept] == cells
