"""Encrypted at rest: no byte of any file spells a rider, whatever runs or is killed; and the answers are the same as without.

`make kill` kills more often.

Ids are told by their bytes in every file of a folder, as somebody would who found the disk.
"""

import os
import random
import re
import shutil
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from etl.keeping import backup
from etl.keeping.backup import Manifest, back_up, read_manifest
from etl.keeping.doctor import examine
from etl.keeping.encrypt import decrypt, encrypt, key_of, place_for
from etl.keeping.forget import forget
from etl.keeping.owned import ids_of
from etl.keeping.proof import prove
from etl.keeping.restore import restore
from etl.load import check_files, load
from shared import encryption
from shared import warehouse as warehouse_module
from shared.encryption import is_encrypted, is_plain
from shared.errors import UsageError, WarehouseError, WarehouseKeyError
from shared.keys import KEY_FILE_VARIABLE, KeyPlace, Keys, new_key
from shared.memory import Bound
from shared.rewriting import plain_copy
from shared.settings import Settings
from shared.warehouse import open_loading, open_reading
from tests.robust.loads import exports, start, state

KILLS = int(os.environ.get("FITLEDGER_KILLS", "2"))
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
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for a warehouse that is the working folder too; keys and exports lie elsewhere."""
    folder = tmp_path / "place"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.delenv(KEY_FILE_VARIABLE, raising=False)
    return folder


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
    with open_loading(path) as warehouse:
        warehouse.leave_unchanged()
        warehouse.run(f"CREATE TEMP TABLE many AS SELECT '{RIDER}' || i || hash(i) AS id FROM range(700000) AS rows(i)")
        assert any(file.suffix == ".tmp" and file.is_file() and file.stat().st_size for file in path.parent.rglob("*"))
        return spelt_in(path.parent)


def test_what_a_load_spills_to_disk_is_encrypted_too(
    tmp_path: Path, place: Path, key: KeyPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(warehouse_module, "loading_memory", lambda *_: Bound(24_000_000, "set by this test"))
    assert spilt(place / "w.duckdb") == []
    monkeypatch.delenv(KEY_FILE_VARIABLE)
    assert spilt(place / "plain.duckdb")  # without a key, the spill does spell it


def test_the_log_of_writes_is_encrypted(place: Path, key: KeyPlace) -> None:
    path = place / "w.duckdb"
    with open_loading(path) as warehouse:
        warehouse.leave_unchanged()
        warehouse.run("CREATE TABLE t (id VARCHAR)")
        warehouse.run("INSERT INTO t VALUES ($id)", {"id": RIDER})
        assert any(file.name.endswith(".wal") and file.stat().st_size for file in place.rglob("*"))
        assert spelt_in(place) == []


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A warehouse that is not encrypted and holds the known rider; to be copied, never changed."""
    folder = tmp_path_factory.mktemp("loaded")
    load([with_a_known_rider(folder / "x", 1)], folder / "w.duckdb")
    return folder / "w.duckdb"


def keys_of(place: KeyPlace) -> Keys:
    keys = place.read()
    assert keys
    return keys


def checks(path: Path, state_of_check: str) -> list[str]:
    """What doctor says of encryption in this state."""
    return [check.words for check in examine(path) if check.name == "encryption" and check.state == state_of_check]


def test_a_journey_gives_what_it_gives_without_a_key_and_leaves_nothing_plain(
    tmp_path: Path, place: Path, loaded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain, path, new = tmp_path / "plain" / "w.duckdb", place / "w.duckdb", with_a_known_rider(tmp_path / "y", 2)
    plain.parent.mkdir()
    for copy in (plain, path):
        shutil.copyfile(loaded, copy)
        load([new], copy)
    with_rider = state(plain)
    forget(plain, RIDER)
    without = state(plain)
    (place / "backups").mkdir()
    before, _ = back_up(path, place / "backups")
    assert spelt_in(place) == ["w.duckdb"]  # the backup is packed
    assert checks(path, "note") == [f"{path} is not encrypted: whoever gets the file can read it."]

    safe = place_for(tmp_path / "safe" / "studio.key", "")
    sealed = encrypt(path, safe)
    assert (sealed.is_new, sealed.is_written, sealed.done, sealed.unreached) == (True, True, [before], {})
    first = keys_of(safe).present
    assert place_for(None, "") == safe  # the settings name it now
    assert spelt_in(place) == []
    assert read_manifest(before).key_id == first.id == sealed.key.id  # type: ignore[union-attr]
    assert state(path) == with_rider
    assert checks(path, "do") == []
    assert encrypt(path, safe).is_written is False

    # A backup that is out of reach while the key is changed keeps the older key alive.
    away = tmp_path / "away"
    (place / "backups").rename(away)
    rotated = encrypt(path, safe, rotate=True)
    assert (rotated.is_written, list(rotated.unreached), rotated.n_older) == (True, [before], 1)
    assert keys_of(safe).older == (first,)
    assert key_of(path) == rotated.key == keys_of(safe).present != first
    away.rename(place / "backups")
    assert checks(path, "do") == [f"{before} is encrypted with the older key {first.id}."]
    load([exports(tmp_path / "z", 3, 500)], path)
    restored = restore(before, path, replace=True)
    assert key_of(path) == rotated.key
    assert state(path) == with_rider

    again = encrypt(path, safe)
    assert again.done == [before]  # what the restored one replaced is under the present key already
    assert keys_of(safe).older == ()
    done = forget(path, RIDER)
    assert [place.file for place in done.places] == [path, before, restored.kept]
    assert done.is_complete
    assert sum(done.places[0].rows.values()) > 3
    assert state(path) == without
    assert spelt_in(place) == []

    taken_off = decrypt(path)
    assert taken_off.is_written
    assert is_plain(path)
    assert read_manifest(before).key_id is None
    assert place_for(tmp_path / "other.key", "") == KeyPlace(tmp_path / "other.key")  # the settings name no place any more
    assert state(path) == without
    assert sorted(file.name for file in place.glob(".*")) == []


def tilt(path: Path) -> bytes:
    """What moved the tilt, as the command prints it for programs."""
    return Asker(path, Settings()).ask("effects", Selection(), parts=("overall",), outcomes=("tilt",)).to_json()


def test_a_backup_during_which_a_key_is_set_is_made_again(
    tmp_path: Path, place: Path, loaded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, copied = place / "w.duckdb", backup._copy
    shutil.copyfile(loaded, path)

    def overtaken(warehouse: Path, target: Path) -> Manifest:
        manifest = copied(warehouse, target)
        target.rename(hidden := target.with_name("hidden"))  # as if it were not there yet when the key is set
        if is_plain(path):
            encrypt(path, place_for(tmp_path / "studio.key", ""))
        hidden.rename(target)
        return manifest

    monkeypatch.setattr(backup, "_copy", overtaken)
    made, manifest = back_up(path, place)
    assert manifest.key_id is not None
    assert read_manifest(made).key_id == manifest.key_id


def test_effects_are_the_same_to_the_last_digit(tmp_path: Path, place: Path, demo_warehouse: Path) -> None:
    path = place / "demo.duckdb"
    shutil.copyfile(demo_warehouse, path)
    encrypt(path, place_for(tmp_path / "studio.key", ""))
    assert is_encrypted(path)
    encrypted = tilt(path)
    (place / "fitledger.toml").unlink()
    assert tilt(demo_warehouse) == encrypted


def test_the_proof_of_forgetting_reads_plain_bytes_in_memory_only(tmp_path: Path, place: Path, loaded: Path) -> None:
    path = place / "w.duckdb"
    shutil.copyfile(loaded, path)
    encrypt(path, place_for(tmp_path / "studio.key", ""))
    folder = place / "working"
    folder.mkdir()
    with plain_copy(path, folder) as copy:
        assert copy.read_bytes().count(RIDER.encode()) >= 2
        assert str(copy.readlink()).startswith("/proc/self/fd/")
        assert spelt_in(place) == []
    opened = open_reading(path)
    ids = ids_of(opened, (RIDER,))
    opened.close()
    # A rider who is still there is found in the bytes of a file whose own bytes tell nothing.
    proof = prove(path, ids)
    assert proof.rows > 0
    assert proof.hits > 0


def wrong_key(path: Path, key: KeyPlace) -> None:
    key.write(Keys(new_key()))


def no_key(path: Path, key: KeyPlace) -> None:
    os.environ.pop(KEY_FILE_VARIABLE)


def lost_key(path: Path, key: KeyPlace) -> None:
    assert key.path
    key.path.unlink()


def plain_in_its_place(path: Path, key: KeyPlace) -> None:
    os.environ.pop(KEY_FILE_VARIABLE)
    path.unlink()
    with open_loading(path) as warehouse:
        warehouse.run("CREATE TABLE t (n INTEGER)")
    os.environ[KEY_FILE_VARIABLE] = str(key.path)


def altered(path: Path, key: KeyPlace) -> None:
    content = bytearray(path.read_bytes())
    content[12288 + 5000] ^= 1  # in the first block of all
    path.write_bytes(content)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (wrong_key, "was encrypted with another key than"),
        (no_key, "is encrypted, and no key is set"),
        (lost_key, "the key is not there"),
        (plain_in_its_place, "is NOT encrypted, and a key is set"),
        (altered, "this file is damaged (an encrypted block is not as it was written)"),
    ],
)
def test_what_cannot_be_opened_is_told_in_one_sentence_of_our_own(
    place: Path, key: KeyPlace, spoil: Callable[[Path, KeyPlace], None], words: str
) -> None:
    path = place / "w.duckdb"
    with open_loading(path) as warehouse:
        warehouse.run("CREATE SCHEMA raw; CREATE TABLE raw.warehouse (version INTEGER); INSERT INTO raw.warehouse VALUES (1)")
    texts = [one.text for one in keys_of(key).all]
    before = path.read_bytes()
    spoil(path, key)
    after = path.read_bytes()
    for attempt in (lambda: open_reading(path, may_be_older=True), lambda: load([exports(place / "x", 1)], path)):
        shutil.rmtree(place / "x", ignore_errors=True)
        with pytest.raises(WarehouseError) as told:
            attempt()
        assert told.value.exit_code == 5
        assert words in str(told.value)
        assert not re.search(r"Error:|AES|corrupt|httpfs|[Ee]xception", str(told.value))
        assert not any(text in str(told.value) for text in texts)
    assert path.read_bytes() == after
    assert [check.state for check in examine(path) if check.name in {"warehouse", "encryption"}].count("do") >= 1
    assert (before == after) is (spoil not in {plain_in_its_place, altered})


def test_without_the_extension_an_encrypted_warehouse_is_read_and_not_written(
    tmp_path: Path, place: Path, key: KeyPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, new = place / "w.duckdb", exports(tmp_path / "x", 1)
    load([new], path)
    monkeypatch.setattr(encryption, "extension_file", lambda version: None)
    open_reading(path).close()
    back_up(path, place)  # copies encrypted bytes as they are
    for attempt in (lambda: load([exports(tmp_path / "y", 2)], path), lambda: encrypt(path, key, rotate=True)):
        with pytest.raises(WarehouseError, match="needs the package duckdb-extension-httpfs"):
            attempt()
    assert any("duckdb-extension-httpfs" in words for words in checks(path, "do"))


def test_the_extension_brings_no_network(place: Path, key: KeyPlace) -> None:
    with open_loading(place / "w.duckdb") as warehouse:
        warehouse.leave_unchanged()
        for address in ("http://127.0.0.1:9/x.csv", "https://127.0.0.1:9/x.csv", "s3://x/x.csv", "hf://datasets/x/x.csv"):
            with pytest.raises(duckdb.PermissionException):
                warehouse.run(f"SELECT a FROM read_csv('{address}')")


def test_a_backup_under_a_key_that_is_not_there_names_both_keys(tmp_path: Path, place: Path, key: KeyPlace) -> None:
    path = place / "w.duckdb"
    load([exports(tmp_path / "x", 1)], path)
    made, manifest = back_up(path, place)
    old = keys_of(key)
    key.write(Keys(new_key()))
    with pytest.raises(WarehouseKeyError) as told:
        restore(made, place / "other.duckdb")
    assert f"made with key {manifest.key_id}, and the present one is {keys_of(key).present.id}" in str(told.value)
    os.environ.pop(KEY_FILE_VARIABLE)
    with pytest.raises(WarehouseKeyError, match="and no key is set"):
        restore(made, place / "other.duckdb")
    assert not (place / "other.duckdb").exists()
    os.environ[KEY_FILE_VARIABLE] = str(key.path)
    key.write(Keys(keys_of(key).present, (old.present,)))
    restore(made, place / "other.duckdb")
    assert key_of(place / "other.duckdb") == keys_of(key).present


def test_doctor_warns_of_a_key_that_lies_with_the_backups(tmp_path: Path, place: Path, loaded: Path) -> None:
    path, backups = place / "w.duckdb", tmp_path / "backups"
    backups.mkdir()
    shutil.copyfile(loaded, path)
    encrypt(path, place_for(backups / "studio.key", ""))
    assert checks(path, "do") == []
    back_up(path, backups)
    assert any("the key lies in the folder of the backups" in words for words in checks(path, "do"))


def test_the_command_asks_once_tells_no_key_and_leaves_the_settings_to_name_its_place(
    tmp_path: Path, place: Path, loaded: Path
) -> None:
    path, key_file = place / "fitledger.duckdb", tmp_path / "studio.key"
    shutil.copyfile(loaded, path)
    run = CliRunner().invoke
    assert isinstance(run(app, ["encrypt"]).exception, UsageError)  # no place named
    refused = run(app, ["encrypt", "--key-file", str(key_file)], input="n\n")
    assert (refused.exit_code, is_plain(path), key_file.exists()) == (1, True, False)
    told = run(app, ["encrypt", "--key-file", str(key_file)], input="y\n")
    assert told.exit_code == 0, told.output
    assert told.output.count("Whoever loses the key") == 1
    key = keys_of(KeyPlace(key_file)).present
    assert f"Key {key.id} is in use" in told.output
    assert is_encrypted(path)
    # From here on the settings name the place.
    shown = run(app, ["show", "data", "--json"])
    rotated = run(app, ["encrypt", "--rotate", "--yes"])
    looked = run(app, ["doctor"])
    taken_off = run(app, ["decrypt", "--yes"])
    assert [done.exit_code for done in (shown, rotated, taken_off)] == [0, 0, 0]
    assert is_plain(path)
    said = "".join(done.output for done in (refused, told, shown, rotated, looked, taken_off))
    kept = "".join(
        file.read_text("utf-8", "replace") for file in place.rglob("*") if file.suffix != ".duckdb" and file.is_file()
    )
    for text in (key.text, keys_of(KeyPlace(key_file)).present.text):
        assert text not in said + kept
    assert "encryption" not in (place / "fitledger.toml").read_text(encoding="utf-8")


def test_killed_while_keys_change_each_file_is_old_or_new_and_none_is_plain(
    tmp_path: Path, place: Path, loaded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, key_file = place / "fitledger.duckdb", tmp_path / "safe" / "studio.key"
    whole = state(loaded)
    chance = random.Random(20261130)
    shutil.copyfile(loaded, path)
    back_up(path, place)
    safe = KeyPlace(key_file)
    for turn in range(KILLS):
        process = start("encrypt", "--yes", "--key-file", key_file, *(["--rotate"] if turn else []))
        assert process.stdout
        process.stdout.readline()  # it has told what losing the key means, and begins
        try:
            process.wait(timeout=chance.uniform(0, 0.5))
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
        process.communicate()
        # What was killed may leave nothing but the old files, the new ones and pieces that are encrypted.
        if all(read_manifest(backup).key_id for backup in place.glob("*.backup")):
            assert spelt_in(place) == []
        if is_encrypted(path):
            monkeypatch.setenv(KEY_FILE_VARIABLE, str(key_file))
        assert state(path) == whole
        done = encrypt(path, safe)
        assert (key_of(path), done.unreached) == (keys_of(safe).present, {})
        assert state(path) == whole
        monkeypatch.delenv(KEY_FILE_VARIABLE, raising=False)
    assert sorted(file.name for file in place.glob(".*") if not file.name.startswith(".fitledger-working")) == []
