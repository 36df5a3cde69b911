"""The rider's id in every column of texts and every spelling: found, taken out and proven gone; a careless removal is found."""

import shutil
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.keeping.backup import back_up
from etl.keeping.copies import known_copies, ledger_of
from etl.keeping.forget import foresee, forget
from etl.keeping.naming import Ids, Names
from etl.keeping.owned import ids_of, take_out
from etl.keeping.proof import prove
from etl.keeping.rebuild import rebuild
from etl.load import load
from shared.settings import Settings
from shared.warehouse import LoadingWarehouse, open_loading, open_reading
from tests.robust.test_forget import TODAY, write

RIDER = "RVICTIM77"
SPELLINGS = (
    "see-RVICTIM77",
    "rider_RVICTIM77",
    "RVICTIM77_scan",
    "rvictim77",
    "(Rvictim77)",
    "\uff32\uff36\uff29\uff23\uff34\uff29\uff2d\uff17\uff17, breit",
    "RVIC\u00adTIM77/x",
)
TABLES = {
    "riders": [f"{RIDER},1980", "R0002,1982", f"{RIDER}8,1983"],
    "fitters": ["F1,Alder"],
    "fit_sessions": [f"V0001,{RIDER},F1,quay,2026-03-02,first,stiff", "V0003,R0002,F1,quay,2026-03-03,first,none"],
    "knee_captures": [f"{session},1,left,2.5" for session in ("V0001", "V0003")] + ["V0003,2,left,45"],
    "follow_ups": ["U1,V0003,2026-03-02,2026-04-01,open,,"],
}
# Rows of these are the keys of somebody else, or are made from other tables.
KEYS = {("riders", "rider_id"), ("fit_sessions", "session_id"), ("fitters", "fitter_id"), ("follow_ups", "follow_up_id"),
        ("drawn_orders", "draw_id")}  # fmt: skip
NOT_PLANTED = {"forgotten", "unresolved", "warnings", "warehouse"}


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("names")
    load([write(folder / "x", TABLES)], folder / "w.duckdb", today=TODAY)
    with open_loading(folder / "w.duckdb") as warehouse:
        plant(warehouse)
    return folder / "w.duckdb"


@pytest.fixture
def path(loaded: Path, tmp_path: Path) -> Path:
    return Path(shutil.copyfile(loaded, tmp_path / "w.duckdb"))


def plant(warehouse: LoadingWarehouse) -> None:
    """Writes the id into every column of texts that a load fills, each time in another spelling, in rows of others."""
    columns = warehouse.rows(
        "SELECT table_name, list(column_name ORDER BY column_index) AS names, list(data_type ORDER BY column_index) AS types "
        "FROM duckdb_columns() WHERE schema_name = 'raw' AND table_name IN (SELECT table_name FROM duckdb_tables() "
        "WHERE schema_name = 'raw') GROUP BY table_name ORDER BY table_name"
    )
    number = 0
    for row in (row for row in columns if row["table_name"] not in NOT_PLANTED):
        values = []
        for name, kind in zip(row["names"], row["types"], strict=True):
            text = SPELLINGS[number % len(SPELLINGS)]
            if kind == "VARCHAR" and (row["table_name"], name) not in KEYS:
                number += 1
                text = f'{{"notes": "{text}"}}' if name in {"cells", "received"} else text
                values.append(f"'{text}'")
            else:
                values.append(
                    {"VARCHAR": "'X9'", "DATE": "DATE '2026-03-05'", "TIMESTAMP": "NULL"}.get(kind, f"CAST(9 AS {kind})")
                )
        if row["table_name"] == "loads":
            values = ["9", "TIMESTAMP '2026-03-05'", "DATE '2026-03-05'", f"'{RIDER}'", "NULL"]
        warehouse.run(f'INSERT INTO raw."{row["table_name"]}" VALUES ({", ".join(values)})')


def plain(text: str) -> str:
    shown = "".join(sign for sign in text if unicodedata.category(sign) != "Cf")
    return unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", shown).casefold())


def naming(path: Path) -> set[str]:
    """Every column of the file in which the id stands in any spelling, by an oracle of its own; longer ids are passed over."""
    warehouse = open_reading(path)
    found = set()
    for row in warehouse.rows(
        "SELECT schema_name, table_name, column_name FROM duckdb_columns() WHERE data_type = 'VARCHAR' AND schema_name IN "
        "('raw', 'core', 'mart') AND NOT internal"
    ):
        place = f'"{row["schema_name"]}"."{row["table_name"]}"'
        for value in warehouse.rows(f'SELECT DISTINCT "{row["column_name"]}" AS v FROM {place} WHERE v IS NOT NULL'):
            if plain(RIDER) in plain(value["v"]).replace(plain(RIDER) + "8", ""):
                found.add(f"{row['schema_name']}.{row['table_name']}.{row['column_name']}")
    warehouse.close()
    return found


def test_every_column_and_spelling_is_counted_taken_out_and_proven(path: Path) -> None:
    planted = naming(path)
    assert len([place for place in planted if place.startswith("raw.")]) > 40
    assert {"raw.files.file", "raw.findings.cells", "raw.fit_sessions.notes", "raw.loads.fingerprint"} <= planted
    assert foresee(path, RIDER).places[0].rows["mentions in the rows of others"] > 40
    done = forget(path, RIDER, today=TODAY)
    assert done.is_complete
    assert naming(path) == set()
    content = path.read_bytes().lower()
    assert content.count(b"rvictim77") == content.count(b"rvictim778") and "ｒｖｉｃｔｉｍ７７".encode() not in content


def careless(change: Callable[[Any, Any], str]) -> Callable[..., None]:
    """A removal that changes values in its own way."""

    def take_out(names: Names, warehouse: LoadingWarehouse, also: Any) -> None:
        for one in names.named:
            new = change(one.column, one.value)
            if new != one.value:
                warehouse.put("changed", __import__("pandas").DataFrame({"old": [one.value], "new": [new]}))
                test = f'UPDATE {one.column.place} SET "{one.column.name}" = new FROM changed WHERE "{one.column.name}" = old'
                warehouse.run(test)

    return take_out


@pytest.mark.parametrize(
    "change",
    [
        lambda _, value: value.replace(RIDER, "x"),  # as it is exported alone
        lambda column, value: value if column.table == "files" else "x",  # but for the names of files
        lambda column, value: value if column.name == "words" else "x",
        lambda _, value: value if not value.isascii() else "x",  # but for other forms of Unicode
        lambda column, value: value if column.parent else "x",  # but for where ids stand
    ],
)
def test_the_proof_finds_what_a_careless_removal_leaves(
    path: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Any, Any], str]
) -> None:
    with open_loading(path) as warehouse:
        ids = ids_of(warehouse, (RIDER,))
        with monkeypatch.context() as patch:
            patch.setattr(Names, "take_out", careless(change))
            take_out(warehouse, ids)
        rebuild(warehouse, Settings())
    found = prove(path, ids)
    assert not found.holds and found.rows > 0


def test_the_proof_finds_other_spellings_in_the_bytes_that_a_removal_leaves(path: Path) -> None:
    with open_loading(path) as warehouse:
        ids = ids_of(warehouse, (RIDER,))
        take_out(warehouse, Ids((), ids.sessions))
        warehouse.run("UPDATE raw.files SET file = 'x', words = 'x', \"table\" = 'x', digest = 'x', detected = 'x'")
        take_out(warehouse, ids)
        rebuild(warehouse, Settings())
        warehouse.rewrite = None
    found = prove(path, ids)
    assert found.rows == 0 and not found.holds


def test_what_may_be_another_word_is_listed_asked_for_and_left_or_taken(path: Path) -> None:
    with open_loading(path) as warehouse:
        warehouse.run(f"UPDATE raw.fit_sessions SET notes = 'x{RIDER}, {RIDER}8 and {RIDER}b' WHERE notes = 'none'")
    words = {one.word: one for one in foresee(path, RIDER).unclear}
    assert {word: one.is_others for word, one in words.items()} == {
        f"x{RIDER}": False,
        f"{RIDER}b": False,
        f"{RIDER}8": True,
    }
    assert words[f"{RIDER}b"].places == (("fit_sessions.notes", 1),)
    before, runner, call = path.read_bytes(), CliRunner(), ["forget", RIDER, "--warehouse", str(path)]
    refused = runner.invoke(app, [*call, "--yes"])
    assert refused.exit_code != 0 and f"{RIDER}b: fit_sessions.notes 1" in str(refused.exception)
    assert "--leave-unclear" in str(refused.exception) and path.read_bytes() == before
    # Asked word by word: the first is the rider, the second is not.
    told = runner.invoke(app, call, input="y\nn\ny\n")
    assert told.exit_code == 0, told.output
    warehouse = open_reading(path)
    notes = warehouse.value("SELECT notes FROM raw.fit_sessions WHERE session_id = 'V0003'")
    warehouse.close()
    assert sorted(notes.replace(",", "").split()) == sorted(["[forgotten]", f"{RIDER}8", "and", f"x{RIDER}"])
    assert f"x{RIDER}: fit_sessions.notes 1: left" in told.output
    assert f"{RIDER}8, the id of somebody else: fit_sessions.notes 1: left" in told.output


def test_the_names_of_backups_and_the_list_of_them_name_nobody(path: Path, tmp_path: Path) -> None:
    (tmp_path / "copies").mkdir()
    back_up(path, tmp_path / "copies" / f"before-{RIDER}.backup")
    gone, _ = back_up(path, tmp_path / "copies" / "of_rvictim77.backup")
    gone.unlink()
    (tmp_path / "w.duckdb.notes.txt").write_text("call rVictim77", encoding="utf-8")
    done = forget(path, RIDER, today=TODAY)
    assert [file.name for file in done.beside.named] == ["w.duckdb.notes.txt"] and not done.is_complete
    assert [file.name for file in (tmp_path / "copies").iterdir()] == ["before-[forgotten].backup"]
    assert [copy.path.name for copy in known_copies(path)] == ["before-[forgotten].backup"]
    assert b"victim77" not in ledger_of(path).read_bytes().lower()
    (tmp_path / "w.duckdb.notes.txt").unlink()
    again = forget(path, RIDER, today=TODAY)
    assert again.is_complete and len(again.places) == 2
