"""The place of working copies: who works keeps its folder whoever sweeps; what nobody holds goes; others are let be."""

import threading
from pathlib import Path

import pytest

from etl.keeping import leftovers
from etl.keeping.leftovers import folders_of, sweep_all, working_elsewhere
from etl.read import find_files
from shared.working import PLACE, begin, folders_in, place_elsewhere, sweep, working


def test_a_folder_is_its_owners_alone_and_goes_with_the_work_and_with_it_the_place(tmp_path: Path) -> None:
    with working(tmp_path) as folder:
        assert folder.parent == tmp_path / PLACE
        assert [path.stat().st_mode & 0o777 for path in (folder, folder.parent)] == [0o700, 0o700]
        (folder / "part" / "of").mkdir(parents=True)
        (folder / "part" / "of" / "it").write_bytes(b"x" * 1000)
        (found,) = folders_in(folder.parent)
        assert found.is_at_work and found.n_bytes >= 1000
    assert list(tmp_path.iterdir()) == []


def test_whoever_sweeps_meanwhile_takes_nothing_from_who_works(tmp_path: Path) -> None:
    ended = threading.Event()
    lost: list[str] = []

    def clean() -> None:
        while not ended.is_set():
            sweep(tmp_path / PLACE)

    def work() -> None:
        for number in range(20):
            with working(tmp_path) as folder:
                (folder / "copy").write_text(str(number), encoding="utf-8")
                if (folder / "copy").read_text(encoding="utf-8") != str(number) or not (folder / "at-work.lock").exists():
                    lost.append(str(number))

    sweepers, workers = [threading.Thread(target=clean)], [threading.Thread(target=work) for _ in range(4)]
    for thread in (*sweepers, *workers):
        thread.start()
    for thread in workers:
        thread.join()
    ended.set()
    sweepers[0].join()
    sweep(tmp_path / PLACE)
    assert lost == [] and not (tmp_path / PLACE).exists()


def test_work_that_is_ended_twice_or_by_another_thread_is_ended(tmp_path: Path) -> None:
    work = begin(tmp_path)
    thread = threading.Thread(target=work.end)
    thread.start()
    thread.join()
    work.end()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("is_link", [False, True])
def test_a_place_among_the_temporary_files_that_is_not_the_users_alone_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_link: bool
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    if is_link:
        (tmp_path / "somewhere").mkdir(mode=0o700)
        place_elsewhere().symlink_to(tmp_path / "somewhere")
    else:
        place_elsewhere().mkdir()
        place_elsewhere().chmod(0o777)
    with pytest.raises(OSError, match="is not this user's alone"):
        begin(tmp_path / "not there", elsewhere=True)
    place_elsewhere().unlink() if is_link else place_elsewhere().rmdir()
    with working(tmp_path / "not there", elsewhere=True) as folder:
        assert folder.parent == place_elsewhere() and folder.parent.stat().st_mode & 0o777 == 0o700
    assert not place_elsewhere().exists()


def test_what_is_written_elsewhere_is_known_by_the_list_of_copies(tmp_path: Path) -> None:
    warehouse, elsewhere = tmp_path / "w" / "w.duckdb", tmp_path / "elsewhere"
    for folder in (warehouse.parent, elsewhere):
        folder.mkdir()
    with working_elsewhere(warehouse, elsewhere) as folder:
        assert [found.folder for found in folders_of(warehouse)] == [folder]
        sweep_all(warehouse)
        assert folder.is_dir()
    assert folders_of(warehouse) == [] and list(elsewhere.iterdir()) == []


def test_a_list_that_may_not_be_read_stops_no_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / PLACE / "left").mkdir(parents=True)

    def refused(_: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(leftovers, "known_copies", refused)
    sweep_all(tmp_path / "w.duckdb")
    assert not (tmp_path / PLACE).exists()


def test_files_of_programs_at_work_are_no_exports(tmp_path: Path) -> None:
    (tmp_path / "riders.csv").write_text("rider_id\nR1\n", encoding="utf-8")
    with working(tmp_path) as folder:
        (folder / "0001.csv").write_text("rider_id\nR2\n", encoding="utf-8")
        assert [file.name for file in find_files([tmp_path])] == ["riders.csv"]
