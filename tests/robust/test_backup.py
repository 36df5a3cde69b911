"""A backup is one consistent state whatever runs beside it; what comes back answers alike, or nothing changes."""

import dataclasses
import json
import signal
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl.keeping import backup as backing
from etl.keeping import restore as restoring
from etl.keeping.backup import back_up, describe, keep_newest, read_manifest
from etl.keeping.copies import known_copies
from etl.keeping.restore import restore
from etl.load import load
from shared.errors import FitledgerError, InputUnusableError, StatisticsError, UsageError, WarehouseError
from shared.settings import Settings
from shared.warehouse import WAREHOUSE_VERSION, open_loading, open_reading
from tests.robust.loads import exports, first_step, start, state


def answers(path: Path) -> dict[str, str | bytes]:
    asker = Asker(path, Settings())
    told: dict[str, str | bytes] = {}
    for question in QUESTIONS:
        try:
            told[question] = asker.ask(question, Selection()).to_json()
        except StatisticsError as refusal:
            told[question] = str(refusal)
    return told


def test_a_restored_warehouse_answers_every_question_as_the_original_does(tmp_path: Path, demo_warehouse: Path) -> None:
    made, manifest = back_up(demo_warehouse, tmp_path / "demo.backup")
    done = restore(made, tmp_path / "empty" / "w.duckdb")
    assert done.manifest == manifest and done.kept is None
    assert (tmp_path / "empty" / "w.duckdb").read_bytes() == demo_warehouse.read_bytes()
    original, restored = answers(demo_warehouse), answers(tmp_path / "empty" / "w.duckdb")
    assert sum(len(told) > 1000 for told in original.values()) >= 10
    for question in QUESTIONS:
        assert restored[question] == original[question], question
    assert sorted(file.name for file in (tmp_path / "empty").iterdir()) == ["w.duckdb", "w.duckdb.lock"]


def test_the_manifest_tells_what_the_backup_holds(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    made, manifest = back_up(path, tmp_path)
    assert made.name.startswith("w-20") and made.name.endswith(".backup")
    assert manifest == read_manifest(made)
    assert (manifest.warehouse_version, manifest.size, manifest.loads) == (WAREHOUSE_VERSION, path.stat().st_size, 1)
    # The row whose faulty cell may be empty is there.
    assert manifest.rows["fit_sessions"] == 150 and manifest.rows["knee_captures"] == 150 * 6 + 1
    assert made.stat().st_mode & 0o777 == 0o600
    assert [(copy.path, copy.kind) for copy in known_copies(path)] == [(made.resolve(), "backup")]


def test_a_backup_while_a_load_and_a_reader_run_is_the_state_before_or_after(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    before = state(path)
    reader = open_reading(path)
    process = start("load", exports(tmp_path / "y", seed=2, first=500), "--warehouse", path)
    first_step(process)
    made, _ = back_up(path, tmp_path / "while.backup")
    process.communicate()
    reader.close()
    assert process.returncode == 3
    restore(made, tmp_path / "back.duckdb")
    assert state(tmp_path / "back.duckdb") in (before, state(path))


def test_a_present_warehouse_is_replaced_only_when_asked_and_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    path.chmod(0o640)
    earlier, (made, _) = state(path), back_up(path, tmp_path / "one.backup")
    load([exports(tmp_path / "y", seed=2, first=500)], path)
    later, content = state(path), path.read_bytes()
    with pytest.raises(UsageError, match="Add --replace"):
        restore(made, path)
    assert path.read_bytes() == content
    done = restore(made, path, replace=True)
    assert state(path) == earlier and path.stat().st_mode & 0o777 == 0o640
    assert done.kept and state(done.kept) == later
    assert [(copy.path.name, copy.kind) for copy in known_copies(path)] == [
        ("one.backup", "backup"),
        (done.kept.name, "replaced"),
    ]


def cut(backup: Path) -> None:
    backup.write_bytes(backup.read_bytes()[: backup.stat().st_size // 2])


def turn_bits(backup: Path) -> None:
    # One bit alone may unpack to the same bytes: among zeros, any distance to earlier zeros is as good.
    content = bytearray(backup.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 64] = bytes(255 - byte for byte in content[middle : middle + 64])
    backup.write_bytes(content)


def not_packed(backup: Path) -> None:
    backup.write_bytes(b"rider_id,birth_year\n" * 100)


def another_archive(backup: Path) -> None:
    with zipfile.ZipFile(backup, "w") as packed:
        packed.writestr("riders.csv", "rider_id\nR1\n")


def with_manifest(**changes: object) -> Callable[[Path], None]:
    def change(backup: Path) -> None:
        with zipfile.ZipFile(backup) as packed:
            manifest, content = json.loads(packed.read("manifest.json")), packed.read("warehouse.duckdb")
        with zipfile.ZipFile(backup, "w") as packed:
            packed.writestr("manifest.json", json.dumps(manifest | changes))
            packed.writestr("warehouse.duckdb", content)

    return change


@pytest.mark.parametrize(
    ("spoil", "kind", "words"),
    [
        (cut, InputUnusableError, "no backup of fitledger, or it is cut off or damaged"),
        (turn_bits, InputUnusableError, "this backup is damaged"),
        (not_packed, InputUnusableError, "no backup of fitledger, or it is cut off or damaged"),
        (another_archive, InputUnusableError, "it holds no manifest of one"),
        (with_manifest(format="other"), InputUnusableError, "it holds no manifest of one"),
        (with_manifest(size="much"), InputUnusableError, "it holds no manifest of one"),
        (with_manifest(size=1), InputUnusableError, "another size or digest"),
        (with_manifest(sha256="0" * 64), InputUnusableError, "another size or digest"),
        (with_manifest(loads=7), InputUnusableError, "does not hold what its manifest tells"),
        (with_manifest(warehouse_version=99), WarehouseError, "a newer fitledger made it"),
        (with_manifest(format_version=99, extra=1), WarehouseError, "a newer fitledger made it"),
        (Path.unlink, UsageError, "there is no such file"),
    ],
)
def test_a_backup_that_cannot_be_trusted_changes_nothing(
    tmp_path: Path, spoil: Callable[[Path], None], kind: type[FitledgerError], words: str
) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    made, _ = back_up(path, tmp_path / "one.backup")
    load([exports(tmp_path / "y", seed=2, first=500)], path)
    content = path.read_bytes()
    spoil(made)
    with pytest.raises(kind) as told:
        restore(made, path, replace=True)
    assert words in str(told.value)
    assert path.read_bytes() == content
    left = {file.name for file in tmp_path.glob("w.duckdb*")}
    assert left == {"w.duckdb", "w.duckdb.lock", "w.duckdb.copies"}


def test_the_command_tells_a_damaged_backup_by_a_sentence_and_its_exit_code(tmp_path: Path) -> None:
    load([exports(tmp_path / "x", seed=1)], tmp_path / "w.duckdb")
    made, _ = back_up(tmp_path / "w.duckdb", tmp_path / "one.backup")
    for spoil, code in ((cut, 4), (Path.unlink, 2)):
        spoil(made)
        process = start("restore", made, "--warehouse", tmp_path / "back.duckdb")
        told = process.communicate()[1]
        assert (process.returncode, told.count("\n")) == (code, 1), told
    assert not (tmp_path / "back.duckdb").exists()


def test_an_older_backup_comes_back_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    before = state(path)
    with open_loading(path) as warehouse:
        warehouse.run("DROP TABLE raw.forgotten; DROP TABLE raw.undone_files; UPDATE raw.warehouse SET version = 2")
    made, manifest = back_up(path, tmp_path / "old.backup")
    assert manifest.warehouse_version == 2
    restore(made, tmp_path / "back.duckdb")
    assert state(tmp_path / "back.duckdb") == before


def test_changes_that_another_program_left_beside_the_file_are_told(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    (tmp_path / "w.duckdb.wal").write_bytes(b"")
    with pytest.raises(WarehouseError, match=r"left w\.duckdb\.wal beside it"):
        back_up(path, tmp_path / "one.backup")
    assert not (tmp_path / "one.backup").exists()


def test_a_disk_that_refuses_at_the_last_step_leaves_the_present_warehouse(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    made, _ = back_up(path, tmp_path / "one.backup")
    load([exports(tmp_path / "y", seed=2, first=500)], path)
    content = path.read_bytes()

    def full(*_: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(restoring, "put_in_place", full)
    with pytest.raises(WarehouseError, match="No space left on device"):
        restore(made, path, replace=True)
    monkeypatch.setattr("etl.keeping.backup.put_new_in_place", full)
    with pytest.raises(WarehouseError, match="could not be written"):
        back_up(path, tmp_path / "two.backup")
    assert path.read_bytes() == content
    assert {file.name for file in tmp_path.glob("*.backup*")} == {"one.backup"}


def test_a_restoring_that_is_killed_leaves_the_one_or_the_other(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    earlier, (made, _) = state(path), back_up(path, tmp_path / "one.backup")
    load([exports(tmp_path / "y", seed=2, first=500)], path)
    later, present = state(path), path.read_bytes()
    # Stops for good before or after one of its steps on files, each in turn.
    script = (
        "import os, signal, sys; from pathlib import Path; import etl.keeping.restore as r\n"
        "kill = lambda: os.kill(os.getpid(), signal.SIGKILL)\n"
        "step, when = sys.argv[3], sys.argv[4]; real = getattr(r, step)\n"
        "def stop(*words):\n"
        "    if when == 'before': kill()\n"
        "    real(*words); kill()\n"
        "setattr(r, step, stop)\n"
        "r.restore(Path(sys.argv[1]), Path(sys.argv[2]), replace=True)\n"
    )
    for step, when, left in (
        ("unpack", "after", later),
        ("_keep", "before", later),
        ("_keep", "after", later),
        ("put_in_place", "before", later),
        ("put_in_place", "after", earlier),
    ):
        path.write_bytes(present)
        words = [sys.executable, "-c", script, str(made), str(path), step, when]
        assert subprocess.run(words, check=False).returncode == -signal.SIGKILL
        assert state(path) == left, (step, when)
        # The next load clears what was left, and the next restoring succeeds.
        for kept in tmp_path.glob("w.duckdb.before-*"):
            kept.unlink()
        restore(made, path, replace=True)
        assert state(path) == earlier
        for kept in tmp_path.glob("w.duckdb.before-*"):
            assert state(kept) == left
            kept.unlink()
        assert {file.name for file in tmp_path.glob("w.duckdb*")} == {"w.duckdb", "w.duckdb.lock", "w.duckdb.copies"}


def test_a_packed_file_of_other_content_than_its_manifest_is_never_put_in_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    wrong = dataclasses.replace(describe(path), sha256="0" * 64)
    monkeypatch.setattr("etl.keeping.backup.describe", lambda _: wrong)
    with pytest.raises(InputUnusableError, match="another size or digest"):
        back_up(path, tmp_path / "two.backup")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["w.duckdb", "w.duckdb.copies", "w.duckdb.lock", "x"]


def test_a_nightly_backup_into_a_folder_makes_it_and_keeps_as_many_as_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, folder = tmp_path / "w.duckdb", tmp_path / "copies"
    load([exports(tmp_path / "x", seed=1)], path)
    nights = iter(f"2026110{night}T020000Z" for night in (1, 2, 3, 3, 4))
    manifest = describe(path)
    monkeypatch.setattr("etl.keeping.backup.stamp", lambda: next(nights))
    monkeypatch.setattr("etl.keeping.backup.describe", lambda _: manifest)
    runner, names = CliRunner(), []
    for _ in range(5):
        done = runner.invoke(app, ["backup", f"{folder}/", "--keep", "3", "--warehouse", str(path)])
        assert done.exit_code == 0, done.output
        names.append(sorted(file.name for file in folder.iterdir()))
    first, *others = (
        f"w-2026110{night}T020000Z{number}.backup" for night, number in ((1, ""), (2, ""), (3, ""), (3, "-2"), (4, ""))
    )
    assert names[0] == [first] and names[2] == [first, *others[:2]]
    # The second of one moment has a name of its own, and the older ones went.
    assert names[3] == sorted(others[:3]) and names[4] == sorted(others[1:])
    assert sorted(copy.path.name for copy in known_copies(path)) == names[4]
    assert folder.stat().st_mode & 0o777 == 0o700
    # What somebody named, and what another warehouse keeps there, is not of these.
    back_up(path, folder / "kept.backup")
    (folder / "w-20200101T020000Z.backup").write_bytes(b"of another")
    assert keep_newest(path, folder, 1) == [folder / name for name in others[1:3]]
    assert {file.name for file in folder.iterdir()} == {"kept.backup", "w-20200101T020000Z.backup", others[3]}


def test_no_backup_ever_takes_the_place_of_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, target = tmp_path / "w.duckdb", tmp_path / "one.backup"
    load([exports(tmp_path / "x", seed=1)], path)
    with pytest.raises(UsageError, match="this is a file, expected a folder"):
        back_up(path, tmp_path / "w.duckdb.lock", into_folder=True)
    with pytest.raises(UsageError, match="there is no such folder"):
        back_up(path, tmp_path / "not connected" / "copies", into_folder=True)
    packing = backing.pack

    def another_meanwhile(*words: Any) -> Path:
        target.write_bytes(b"of another program")
        return packing(*words)

    monkeypatch.setattr(backing, "pack", another_meanwhile)
    for links in (True, False):
        with monkeypatch.context() as patch:
            if not links:  # a disk without links, as many a portable one is
                patch.setattr("os.link", lambda *_: (_ for _ in ()).throw(PermissionError(1, "no links here")))
            with pytest.raises(UsageError, match="this file is there already"):
                back_up(path, target)
        assert target.read_bytes() == b"of another program"
        target.unlink()
    done = CliRunner().invoke(app, ["backup", str(tmp_path / "file"), "--keep", "2", "--warehouse", str(path)])
    assert "expected a folder" in str(done.exception)


def test_a_damaged_warehouse_is_replaced_by_its_backup(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    made, _ = back_up(path, tmp_path / "one.backup")
    before, content = state(path), path.read_bytes()
    path.write_bytes(content[:20_000])
    done = restore(made, path, replace=True)
    assert done.n_forgotten is None and done.kept
    assert state(path) == before
