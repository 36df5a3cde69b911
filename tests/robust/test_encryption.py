"""Encrypted at rest: no byte of any file spells a rider, whatever runs or is killed; and the answers are the same as without.

Ids are told by their bytes in every file of a folder, as somebody would who found the disk.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest

from etl.keeping.backup import back_up
from etl.load import check_files, load
from shared import warehouse as warehouse_module
from shared.encryption import is_encrypted
from shared.keys import KEY_FILE_VARIABLE, KeyPlace, Keys, new_key
from shared.warehouse import open_loading
from tests.robust.loads import exports

RIDER, SESSION = "RVICTIM77", "SVICTIM77"


def with_a_known_rider(folder: Path, seed: int, first: int = 0) -> Path:
    """Exports in which one rider has ids that nothing else spells."""
    exports(folder, seed, first)
    for name, row in [
        ("riders", f"{RIDER},1980"),
        ("fit_sessions", f"{SESSION},{RIDER},F1,quay,2026-03-02,first"),
        ("knee_captures", f"{SESSION},1,left,1.25,12.0"),
        ("knee_captures", f"{SESSION},1,right,xx,12.0"),
    ]:
        with (folder / f"{name}.csv").open("a", encoding="utf-8") as file:
            file.write(row + "\n")
    return folder


def spelt_in(folder: Path) -> list[str]:
    """The files under a folder whose bytes spell an id of the rider; what goes away meanwhile is passed over."""
    found = []
    for path in sorted(folder.rglob("*")):
        try:
            if path.is_file() and not path.is_symlink() and b"VICTIM77" in path.read_bytes():
                found.append(str(path.relative_to(folder)))
        except FileNotFoundError:
            continue
    return found


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder for a warehouse that is the working folder too; keys and exports lie elsewhere."""
    folder = tmp_path / "place"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.delenv(KEY_FILE_VARIABLE, raising=False)
    yield folder


@pytest.fixture
def key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> KeyPlace:
    """The key of the run, named by the environment."""
    made = KeyPlace(tmp_path / "safe" / "studio.key")
    made.write(Keys(new_key()))
    monkeypatch.setenv(KEY_FILE_VARIABLE, str(made.path))
    return made


def test_while_a_load_or_check_runs_and_after_it_no_file_spells_the_rider(tmp_path: Path, place: Path, key: KeyPlace) -> None:
    path = place / "w.duckdb"
    first, second = with_a_known_rider(tmp_path / "x", 1), with_a_known_rider(tmp_path / "y", 2)
    seen: list[str] = []
    steps: list[int] = []

    def look(done: int, total: int, words: str) -> None:
        steps.append(done)
        seen.extend(spelt_in(place))

    load([first], path, look)
    check_files([second], path, look)
    load([second], path, look)
    back_up(path, place)
    assert len(steps) > 20
    assert seen == []
    assert spelt_in(place) == []
    assert is_encrypted(path)
    assert spelt_in(tmp_path / "x")  # the exports do: the search can find


def spilt(path: Path) -> list[str]:
    """Lets a load hold more than it may keep in memory, and returns which files spell the rider then."""
    with open_loading(path, keep=False) as warehouse:
        warehouse.run(f"CREATE TEMP TABLE many AS SELECT '{RIDER}' || i || hash(i) AS id FROM range(700000) AS rows(i)")
        warehouse.run("CREATE TEMP TABLE sorted AS SELECT id FROM many ORDER BY id")
        assert any(file.suffix == ".tmp" and file.is_file() and file.stat().st_size for file in path.parent.rglob("*"))
        return spelt_in(path.parent)


def test_what_a_load_spills_to_disk_is_encrypted_too(
    tmp_path: Path, place: Path, key: KeyPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(warehouse_module, "LOADING_MEMORY", "24MB")
    assert spilt(place / "w.duckdb") == []
    monkeypatch.delenv(KEY_FILE_VARIABLE)
    assert spilt(place / "plain.duckdb")  # without a key, the spill does spell it


def test_the_log_of_writes_is_encrypted(place: Path, key: KeyPlace) -> None:
    path = place / "w.duckdb"
    with open_loading(path, keep=False) as warehouse:
        warehouse.run("CREATE TABLE t (id VARCHAR)")
        warehouse.run("INSERT INTO t VALUES ($id)", {"id": RIDER})
        assert any(file.name.endswith(".wal") and file.stat().st_size for file in place.rglob("*"))
        assert spelt_in(place) == []
