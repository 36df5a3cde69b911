"""A forgotten rider is in no table, no version, no reject, no copy and no byte; and does not come back with the next load."""

import json
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.history import undo
from etl.keeping import backup as backing
from etl.keeping import forget as forgetting
from etl.keeping.backup import back_up, unpack
from etl.keeping.backup import read_manifest as manifest_of
from etl.keeping.forget import allow_again, foresee, forget
from etl.keeping.naming import Ids
from etl.keeping.owned import ids_of, take_out
from etl.keeping.proof import prove
from etl.keeping.rebuild import rebuild
from etl.keeping.restore import restore
from etl.load import check_files, load
from shared.catalogue import catalogue
from shared.errors import UsageError, WarehouseError
from shared.rewriting import write_anew
from shared.settings import Settings
from shared.warehouse import open_loading, open_reading
from shared.working import PLACE

TODAY = date(2026, 6, 1)
RIDER = "R0001"
# R00010 begins like R0001 and stays; V0004 was R0001's by mistake; V0007 was only ever rejected; V0008 waits.
OWN_SESSIONS = ("V0001", "V0002", "V0007")
HEADS = {
    "riders": "rider_id,birth_year",
    "fitters": "fitter_id,fitter_name",
    "fit_sessions": "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind,notes",
    "knee_captures": "session_id,capture_no,side,knee_tilt_deg",
    "foot_exams": "session_id,side,arch_height",
    "bike_measures": "session_id,moment,measure,value_mm",
    "follow_ups": "follow_up_id,session_id,booked_on,due_on,state,attended_on,returned_session_id",
}
FIRST = {
    "riders": ["R0001,1980", "R00010,1981", "R0002,1982", "R0003,1850"],
    "fitters": ["F1,Alder"],
    "fit_sessions": [
        "V0001,R0001,F1,quay,2026-03-02,first,stiff",
        "V00010,R00010,F1,quay,2026-03-02,first,comes with R0001",
        "V0003,R0002,F1,quay,2026-03-03,first,",
        "V0004,R0001,F1,quay,2026-03-04,first,",
        "V0007,R0001,F1,quay,2062-03-04,first,",
    ],
    "knee_captures": [
        f"{session},1,{side},2.5" for session in ("V0001", "V00010", "V0003", "V0007", "V0008") for side in ("left", "right")
    ]
    + ["V0001,2,left,45", "V0003,2,left,45", "V0001,3,left,1,1,1", "V0003,3,left,1,1,1"],
    # Of one visit, so that the others' want of them is told.
    "foot_exams": ["V00010,left,low"],
    "bike_measures": ["V00010,departure,saddle_height,720"],
    "follow_ups": [
        "U1,V0001,2026-03-02,2026-04-01,open,,",
        "U2,V0003,2026-03-02,2026-04-01,attended,2026-04-02,V0001",
        "U3,V00010,2026-03-02,2026-04-01,open,,",
    ],
}  # fmt: skip
SECOND = {
    "riders": ["R0001,1979", "R0002,1982"],
    "fit_sessions": [
        "V0001,R0001,F1,quay,2026-03-02,first,stiff",
        "V0002,R0001,F1,quay,2026-05-02,follow_up,",
        "V0004,R0002,F1,quay,2026-03-04,first,",
    ],
    "knee_captures": ["V0002,1,left,2", "V0001,2,left,4.5"],
}


def write(folder: Path, tables: dict[str, list[str]], *, without: tuple[str, ...] = ()) -> Path:
    """The tables as files; `without` leaves out the rows whose cells hold one of these words."""
    folder.mkdir(parents=True)
    for name, rows in tables.items():
        kept = [row for row in rows if not set(row.split(",")) & set(without)]
        (folder / f"{name}.csv").write_text("\n".join([HEADS[name], *kept]) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a warehouse after both loads, and of what was loaded; built once, since every test begins with it."""
    folder = tmp_path_factory.mktemp("forget")
    load([write(folder / "first", FIRST)], folder / "w.duckdb", today=TODAY)
    load([write(folder / "second", SECOND)], folder / "w.duckdb", today=TODAY)
    return folder


@pytest.fixture
def path(loaded: Path, tmp_path: Path) -> Path:
    """A test's own copy of that folder, in its own temporary one; gives the warehouse."""
    shutil.copytree(loaded, tmp_path, dirs_exist_ok=True)
    return tmp_path / "w.duckdb"


def held(path: Path) -> dict[str, list[dict[str, Any]]]:
    warehouse = open_reading(path)
    found = {name: warehouse.rows(f'SELECT * FROM core."{name}" ORDER BY ALL') for name in catalogue()}
    for mart in ("fits", "captures", "knees"):
        found[f"mart {mart}"] = warehouse.rows(f"SELECT * FROM mart.{mart} ORDER BY ALL")
    found["warnings"] = warehouse.rows("FROM raw.warnings ORDER BY ALL")
    found["waiting"] = warehouse.rows('SELECT "table", value, n FROM raw.waiting ORDER BY ALL')
    found["rejects"] = warehouse.rows('SELECT "table", "column", rule, value, cells FROM raw.rejects ORDER BY ALL')
    warehouse.close()
    return found


def test_what_is_left_is_what_loads_without_the_rider_would_have_made(path: Path, tmp_path: Path) -> None:
    done = forget(path, RIDER, today=TODAY)
    assert done.is_complete and done.n_sessions == len(OWN_SESSIONS)
    assert done.places[0].ids == Ids((RIDER,), OWN_SESSIONS)
    gone = (RIDER, *OWN_SESSIONS)
    others = {name: [row.replace("2026-04-02,V0001", "2026-04-02,") for row in rows] for name, rows in FIRST.items()}
    others["fit_sessions"] = [row.replace("with R0001", "with [forgotten]") for row in others["fit_sessions"]]
    without = tmp_path / "without.duckdb"
    load([write(tmp_path / "a", others, without=gone)], without, today=TODAY)
    load([write(tmp_path / "b", SECOND, without=gone)], without, today=TODAY)
    left, expected = held(path), held(without)
    assert {name for name in expected if left[name] != expected[name]} == set()
    assert len(left["fit_sessions"]) == 3 and len(left["rejects"]) == 3 and len(left["waiting"]) == 1


def test_every_place_is_counted_and_the_same_as_foreseen(path: Path) -> None:
    before = path.read_bytes()
    foreseen = foresee(path, RIDER)
    assert path.read_bytes() == before
    assert foreseen.places[0].rows == {
        "riders, every version": 2,  # 1980, then 1979
        "fit_sessions, every version": 3,  # V0001, V0002, and V0004 as it was before it was corrected
        "knee_captures, every version": 6,  # V0001 1 left, right, 2 left; V0002; V0007, which waits, left, right
        "follow_ups, every version": 1,
        "sightings": 1,  # V0001 again in the second load
        "findings and rejects": 3,  # V0007's date, V0001's 45, V0001's row of too many cells
        "rows that wait or miss a reference": 2,
        "warnings": 4,  # V0001 and V0002: no exam, no departure of the bicycle
        "mentions in the rows of others": 2,  # R00010's note, and the session that R0002 is said to have returned in
    }
    assert forget(path, RIDER, today=TODAY).places[0].rows == foreseen.places[0].rows


def test_the_proof_finds_a_rider_who_is_there_and_one_whose_rows_were_only_deleted(path: Path) -> None:
    before = prove(path, Ids((RIDER,), OWN_SESSIONS))
    assert before.rows > 0 and not before.holds
    with open_loading(path) as warehouse:
        take_out(warehouse, ids_of(warehouse, (RIDER,)))
        rebuild(warehouse, Settings())
        warehouse.rewrite = None
    deleted = prove(path, Ids((RIDER,), OWN_SESSIONS))
    # No row names the rider, and the blocks that held the rows still spell the ids.
    assert deleted.rows == 0 and deleted.hits > 0
    with open_loading(path) as warehouse:
        warehouse.rewrite = write_anew
    after = prove(path, Ids((RIDER,), OWN_SESSIONS))
    assert after.holds and after.n_ids == 4 and after.n_short == 0
    assert not any(word.encode() in path.read_bytes() for word in ("V0002", "V0007"))


def test_a_later_load_counts_the_rows_and_keeps_none(path: Path, tmp_path: Path) -> None:
    forget(path, RIDER, today=TODAY)
    before = held(path)
    foreseen = check_files([tmp_path / "first"], path, today=TODAY)
    report = load([tmp_path / "first"], path, today=TODAY)
    assert [vars(file) for file in foreseen.files] == [vars(file) for file in report.files]
    told = {
        file.table: (file.read, file.unchanged, file.replaced, file.rejected, file.waiting, file.words) for file in report.files
    }
    # Of R0003 a cell alone is faulty.
    assert told["riders"][:5] == (4, 3, 0, 1, 0)
    # V0001, V0004 and V0007; V0004 is R0002's by now, and this older row says otherwise.
    assert told["fit_sessions"][:5] == (5, 1, 1, 3, 0)
    assert "3 rows rejected as forgotten" in told["fit_sessions"][5]
    # Of V0001 four, one of them with too many cells, and of V0007 two; V0003 has two faults of its own.
    assert told["knee_captures"][:5] == (14, 4, 0, 6 + 2, 2)
    assert "6 rows rejected as forgotten" in told["knee_captures"][5]
    assert not any(word in json.dumps([vars(finding) for finding in report.findings]) for word in (RIDER + '"', *OWN_SESSIONS))
    for file in report.files:
        assert file.read == file.stored + file.replaced + file.unchanged + file.rejected + file.waiting
    ids = Ids((RIDER,), OWN_SESSIONS)
    # The note of another rider names the id again, since it stands in the export.
    assert [place["notes"] for place in held(path)["fit_sessions"] if place["session_id"] == "V00010"] == ["comes with R0001"]
    assert prove(path, Ids((), ids.sessions)).holds
    assert before["riders"] == held(path)["riders"]


def test_a_new_session_of_a_forgotten_rider_is_left_out_with_captures_that_came_before_it(path: Path, tmp_path: Path) -> None:
    forget(path, RIDER, today=TODAY)
    load([write(tmp_path / "early", {"knee_captures": ["V0042,1,left,3", "V0042,1,right,3"]})], path, today=TODAY)
    assert ("V0042", 2) in {(row["value"], row["n"]) for row in held(path)["waiting"]}
    session = {"fit_sessions": ["V0042,R0001,F1,quay,2026-05-30,refit,"], "knee_captures": ["V0042,2,left,3"]}
    report = load([write(tmp_path / "late", session)], path, today=TODAY)
    assert [(file.rejected, file.waiting) for file in report.files] == [(1, 0), (1, 0)]
    assert {row["value"] for row in held(path)["waiting"]} == {"V0008"}
    assert prove(path, Ids((RIDER,), ("V0042", *OWN_SESSIONS))).holds


def test_a_rider_who_may_come_again_comes_with_the_same_folder(path: Path, tmp_path: Path) -> None:
    before = held(path)
    forget(path, RIDER, today=TODAY)
    load([tmp_path / "first"], path, today=TODAY)
    with pytest.raises(UsageError, match="not among the forgotten"):
        allow_again(path, "R0002")
    assert allow_again(path, RIDER) == 1
    for name in ("first", "second"):
        load([tmp_path / name], path, today=TODAY)
    after = held(path)
    assert {name for name in before if before[name] != after[name]} == set()


def test_copies_are_reached_and_those_that_are_not_are_told(path: Path, tmp_path: Path) -> None:
    names = ("kept", "moved", "spoilt")
    made = {name: back_up(path, tmp_path / f"{name}.backup")[0] for name in names}
    replaced = restore(made["kept"], path, replace=True).kept
    hidden = made["moved"].rename(tmp_path / "elsewhere")
    made["spoilt"].write_bytes(b"no backup")
    times = manifest_of(made["kept"]).made_at
    done = forget(path, RIDER, today=TODAY)
    assert not done.is_complete
    told = {place.file.name: place for place in done.places}
    assert told["moved.backup"].unreached == "it was deleted or moved" and told["moved.backup"].holds
    assert not told["spoilt.backup"].holds
    assert "no backup of fitledger" in told["spoilt.backup"].unreached
    assert replaced
    for name in ("w.duckdb", "kept.backup", replaced.name):
        proof = told[name].proof
        assert told[name].rows and proof and proof.holds, name
    unpack(made["kept"], manifest_of(made["kept"]), tmp_path / "out.duckdb")
    assert prove(tmp_path / "out.duckdb", Ids((RIDER,), OWN_SESSIONS)).holds
    assert manifest_of(made["kept"]).made_at == times
    # The backup that nobody could reach brings the rider back to nobody.
    again = restore(hidden, path, replace=True)
    assert again.n_forgotten == 1
    assert prove(path, Ids((RIDER,), OWN_SESSIONS)).holds
    left = {file.name for file in tmp_path.iterdir() if file.suffix in {".unpacked", ".proof", ".making", ".partial"}}
    assert left == set()


def test_a_disk_that_is_not_connected_leaves_the_forgetting_incomplete(path: Path, tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    back_up(path, tmp_path / "disk" / "one.backup")
    (tmp_path / "disk").rename(tmp_path / "away")
    done = forget(path, RIDER, today=TODAY)
    assert not done.is_complete and "connect the disk and run again" in done.places[1].unreached
    (tmp_path / "away").rename(tmp_path / "disk")
    again = forget(path, RIDER, today=TODAY)
    assert again.is_complete and not again.places[0].rows and again.places[1].rows


def test_a_backup_that_is_made_while_a_rider_is_forgotten_holds_no_trace(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    packing = backing.pack

    def forget_meanwhile(*words: Any) -> Path:
        monkeypatch.setattr(backing, "pack", packing)
        meanwhile = forget(path, RIDER, today=TODAY)
        # The copy that is being packed holds the rider: it is told, and goes when the backup is made anew.
        assert [folder.parent for folder in meanwhile.at_work] == [tmp_path / PLACE] and not meanwhile.is_complete
        return packing(*words)

    monkeypatch.setattr(backing, "pack", forget_meanwhile)
    made, manifest = back_up(path, tmp_path / "one.backup")
    unpack(made, manifest, tmp_path / "out.duckdb")
    assert prove(tmp_path / "out.duckdb", Ids((RIDER,), OWN_SESSIONS)).holds


def test_a_forgetting_that_stops_between_two_files_is_finished_by_the_next(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made, _ = back_up(path, tmp_path / "one.backup")
    with monkeypatch.context() as patch:
        patch.setattr(forgetting, "_forget_in_copy", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            forget(path, RIDER, today=TODAY)
    assert [bool(place.rows) for place in foresee(path, RIDER).places] == [False, True]
    assert forget(path, RIDER, today=TODAY).is_complete
    # Once more: nothing is left to remove, and it is proven again.
    again = forget(path, RIDER, today=TODAY)
    assert again.is_complete and [place.rows for place in again.places] == [{}, {}]
    with pytest.raises(UsageError, match=r"neither .* nor a copy of it holds this rider"):
        forget(path, "R0099", today=TODAY)
    assert manifest_of(made).rows["riders"] == 3  # R0003 stays without the year that no rider was born in


def test_without_its_key_nothing_is_loaded(path: Path, tmp_path: Path) -> None:
    forget(path, RIDER, today=TODAY)
    key = tmp_path / "w.duckdb.key"
    assert key.stat().st_mode & 0o777 == 0o600
    content = key.read_bytes()
    for words, change in (("is missing", key.unlink), ("is another one", lambda: key.write_text("00" * 32))):
        change()
        with pytest.raises(WarehouseError, match=words):
            load([tmp_path / "first"], path, today=TODAY)
    key.write_bytes(content)
    load([tmp_path / "first"], path, today=TODAY)
    key.unlink()
    assert allow_again(path, None) == 1
    report = load([tmp_path / "first"], path, today=TODAY)
    assert [file.stored for file in report.files if file.table == "riders"] == [1]


def test_ids_that_are_plain_numbers_leave_the_numbers_of_others_alone(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    tables = {
        "riders": ["1,1980", "2,1981"],
        "fitters": ["1,Alder"],
        "fit_sessions": ["1,2,1,quay,2026-03-02,first,rider 1 and shim 1", "2,1,1,quay,2026-03-02,first,"],
        "knee_captures": ["1,1,left,1", "2,1,left,1", "2,1,right,45"],
    }
    load([write(tmp_path / "x", tables)], path, today=TODAY)
    done = forget(path, "1", today=TODAY)
    assert done.is_complete and done.places[0].ids == Ids(("1",), ("2",))
    proof = done.places[0].proof
    assert proof and proof.n_short == 2
    left = held(path)
    assert [row["rider_id"] for row in left["riders"]] == ["2"]
    assert [row["notes"] for row in left["fit_sessions"]] == ["rider 1 and shim 1"]
    assert [(row["session_id"], row["capture_no"]) for row in left["knee_captures"]] == [("1", 1)]
    assert left["rejects"] == []


@pytest.mark.parametrize("rider", ["O'Hare $1", "R.*(1|2)", 'a"b;c--', "Zoë–7", "R 0001", "[x]\\\\d"])
def test_ids_of_any_characters_are_forgotten(tmp_path: Path, rider: str) -> None:
    quoted = '"' + rider.replace('"', '""') + '"'
    tables = {
        "riders": [f"{quoted},1980", "R.55(1|2),1981", "O'Hare $12,1983"],
        "fitters": ["F1,Alder"],
        "fit_sessions": [f"V0001,{quoted},F1,quay,2026-03-02,first,", "V0002,O'Hare $12,F1,quay,2026-03-02,first,"],
        "knee_captures": ["V0001,1,left,1", "V0002,1,left,1", "V0001,1,right,45"],
    }
    path = tmp_path / "w.duckdb"
    load([write(tmp_path / "x", tables)], path, today=TODAY)
    assert forget(path, rider, today=TODAY).is_complete
    left = held(path)
    assert (len(left["riders"]), len(left["fit_sessions"]), len(left["knee_captures"]), left["rejects"]) == (2, 1, 1, [])
    report = load([tmp_path / "x"], path, today=TODAY)
    assert (sum(file.stored for file in report.files), sum(file.rejected for file in report.files)) == (0, 4)


def test_an_undo_after_forgetting_brings_nobody_back(path: Path) -> None:
    forget(path, RIDER, today=TODAY)
    undo(path, 2)
    assert [row["rider_id"] for row in held(path)["riders"]] == ["R00010", "R0002", "R0003"]
    assert [row["session_id"] for row in held(path)["fit_sessions"]] == ["V00010", "V0003"]


def test_the_command_asks_first_and_tells_no_more_than_the_id(path: Path) -> None:
    runner, words = CliRunner(), ["forget", RIDER, "--warehouse", str(path)]
    before = path.read_bytes()
    counted = runner.invoke(app, [*words, "--dry-run"])
    assert (counted.exit_code, "would be removed" in counted.output) == (0, True)
    refused = runner.invoke(app, words, input="n\n")
    assert refused.exit_code == 1 and path.read_bytes() == before
    told = runner.invoke(app, [*words, "--yes", "--json"])
    assert told.exit_code == 0
    answer = json.loads(told.output)
    assert answer["is_done"] and answer["places"][0]["proof"]["rows"] == answer["places"][0]["proof"]["hits"] == 0
    everything = counted.output + refused.output + told.output
    assert not any(word in everything for word in ("V0001", "V0002", "1980", "1979", "stiff", "R0002"))
    again = runner.invoke(app, ["forget", RIDER, "--warehouse", str(path), "--allow-again"])
    assert again.exit_code == 0 and "may be loaded again" in again.output


def test_a_log_that_names_the_rider_is_told(path: Path, tmp_path: Path) -> None:
    log = tmp_path / "fitledger.log"
    log.write_text("a fault with R00010 and xV0001\n", encoding="utf-8")
    other = shutil.copyfile(path, tmp_path / "other.duckdb")
    done = forget(other, RIDER, today=TODAY, logs=(log,))
    assert done.is_complete
    assert {(one.word, one.is_others) for one in done.unclear if (log.name, 1) in one.places} == {
        ("R00010", True),
        ("xV0001", False),
    }
    log.write_text("a fault with v0001.\n", encoding="utf-8")
    done = forget(path, RIDER, today=TODAY, logs=(log,))
    assert done.beside.named == [log] and not done.is_complete
