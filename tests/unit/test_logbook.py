"""The logbook's file: whole whoever writes to it; each fault of it is one sentence, and loses nothing."""

import shutil
import sqlite3
import subprocess
from datetime import date
from pathlib import Path

import pytest

from shared.errors import LogbookError, UsageError
from shared.logbook import store
from shared.logbook.drawing import MAY_OVERRULE, Drawing, Feet, block_order, commitment_of, differing
from shared.logbook.store import Logbook
from tests.unit.at_once import killed_while_writing, on_a_full_disk, write_at_once

FEET = Feet("medium", "neutral", "none", 0, "inward")


def opened(warehouse: Path, stop_after: int = 500) -> str:
    steps = ("insole_medium", "stance_narrower")
    made = Drawing(warehouse).open(
        steps, FEET, "tilt", stop_after=stop_after, stop_on=date(2999, 1, 1), by="head", confirmed=MAY_OVERRULE
    )
    return made.comparison_id


def draw(warehouse: Path, comparison: str, session: str, fitter: str = "F1") -> str:
    return Drawing(warehouse).draw(comparison, session, "left", capture_before=1, stratum=fitter, by=fitter).drawn


@pytest.fixture
def warehouse(tmp_path: Path) -> Path:
    return tmp_path / "w.duckdb"


def test_without_a_file_there_is_no_entry_and_none_is_made(warehouse: Path) -> None:
    assert Drawing(warehouse).comparisons() == ()
    assert not Logbook(warehouse).file.exists()


def test_the_file_is_its_owners_alone_and_nothing_else_is_left_beside_it(warehouse: Path) -> None:
    opened(warehouse)
    file = Logbook(warehouse).file
    assert file.stat().st_mode & 0o777 == 0o600
    assert [one.name for one in warehouse.parent.iterdir()] == ["w.duckdb.logbook"]


def test_every_block_holds_as_many_of_each_and_a_fit_is_drawn_once(warehouse: Path) -> None:
    comparison = opened(warehouse)
    first = draw(warehouse, comparison, "S0")
    assert {number: draw(warehouse, comparison, f"S{number}") for number in range(40)}[0] == first
    draws = Drawing(warehouse).draws()
    assert [one.draw_no for one in draws] == list(range(1, 41))
    blocks = {
        one.block: [other.drawn for other in draws if other.block == one.block] for one in draws if one.block < draws[-1].block
    }
    assert {len(arms) for arms in blocks.values()} == {4, 6}
    assert all(arms.count("first") == arms.count("second") for arms in blocks.values())
    with pytest.raises(UsageError, match="was for the left knee"):
        Drawing(warehouse).draw(comparison, "S0", "right", capture_before=1, stratum="F1", by="F1")


def test_the_seed_gives_the_draws_again_and_only_the_one_that_was_sealed(warehouse: Path) -> None:
    comparison = opened(warehouse)
    for number in range(12):
        draw(warehouse, comparison, f"S{number}", fitter=f"F{number % 2}")
    closed = Drawing(warehouse).close(comparison, why="rule", by="head")
    draws = Drawing(warehouse).draws()
    assert commitment_of(closed.seed) == closed.commitment
    assert differing(draws, closed.seed, closed.commitment) == ()
    other = tuple(type(one)(**{**vars(one), "drawn": "first" if one.drawn == "second" else "second"}) for one in draws[:1])
    assert differing(other, closed.seed, closed.commitment) == other
    with pytest.raises(LogbookError, match="not the one that was sealed"):
        differing(draws, "00" * 32, closed.commitment)
    with pytest.raises(UsageError, match="is closed"):
        draw(warehouse, comparison, "S99")


def test_a_block_is_what_its_rule_in_words_says() -> None:
    """Drawn by hand with sha256sum: of "ab/F1/0" the last digit is odd, so six places."""
    digests = {
        place: subprocess.run(["sha256sum"], input=f"ab/F1/0/{place}", capture_output=True, text=True, check=True).stdout
        for place in range(6)
    }
    whole = subprocess.run(["sha256sum"], input="ab/F1/0", capture_output=True, text=True, check=True).stdout.split()[0]
    size = 6 if whole[-1] in "13579bdf" else 4
    in_order = sorted(range(size), key=lambda place: digests[place])
    first = set(in_order[: size // 2])
    assert block_order("ab", "F1", 0) == tuple("first" if place in first else "second" for place in range(size))


def test_the_stop_rule_holds(warehouse: Path) -> None:
    comparison = opened(warehouse, stop_after=12)
    for number in range(12):
        draw(warehouse, comparison, f"S{number}")
    with pytest.raises(UsageError, match="reached its stop rule"):
        draw(warehouse, comparison, "S12")
    for wrong, words in (
        ({"stop_after": 3}, "12 to 2,000"),
        ({"stop_on": date(2020, 1, 1)}, "a day to come"),
        ({"confirmed": ""}, "may always overrule"),
    ):
        given = {"stop_after": 40, "stop_on": date(2999, 1, 1), "confirmed": MAY_OVERRULE, **wrong}
        with pytest.raises(UsageError, match=words):
            Drawing(warehouse).open(("a", "b"), FEET, "tilt", by="head", **given)


def test_a_step_that_fails_leaves_nothing(warehouse: Path) -> None:
    comparison = opened(warehouse)
    with pytest.raises(RuntimeError, match="in the middle"), Logbook(warehouse).writing() as book:
        book.execute("DELETE FROM comparisons")
        raise RuntimeError("in the middle")
    assert [one.comparison_id for one in Drawing(warehouse).comparisons()] == [comparison]


def test_an_earlier_version_is_brought_up_to_date_and_keeps_its_entries(
    warehouse: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    comparison = opened(warehouse)
    steps = tmp_path / "steps"
    shutil.copytree(store._SQL, steps)
    (steps / f"from_{store.LOGBOOK_VERSION}.sql").write_text(
        "CREATE TABLE later (word TEXT) STRICT;\nINSERT INTO later VALUES ('a; b');\n", encoding="utf-8"
    )
    monkeypatch.setattr(store, "_SQL", steps)
    monkeypatch.setattr(store, "LOGBOOK_VERSION", store.LOGBOOK_VERSION + 1)
    with Logbook(warehouse).reading() as book:
        assert book.execute("SELECT word FROM later").fetchall()[0][0] == "a; b"
        assert book.execute("SELECT comparison_id FROM comparisons").fetchone()[0] == comparison
    monkeypatch.undo()
    known = store.LOGBOOK_VERSION
    with pytest.raises(LogbookError, match=f"version {known + 1}, expected {known} or older: a newer fitledger wrote it"):
        Drawing(warehouse).comparisons()


def test_a_step_of_the_migration_that_fails_changes_nothing(
    warehouse: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    comparison = opened(warehouse)
    (tmp_path / f"from_{store.LOGBOOK_VERSION}.sql").write_text(
        "CREATE TABLE later (word TEXT) STRICT;\nINSERT INTO nowhere VALUES (1);\n", encoding="utf-8"
    )
    with monkeypatch.context() as patched:
        patched.setattr(store, "_SQL", tmp_path)
        patched.setattr(store, "LOGBOOK_VERSION", store.LOGBOOK_VERSION + 1)
        with pytest.raises(LogbookError, match="no such table: nowhere"):
            Drawing(warehouse).comparisons()
    assert [one.comparison_id for one in Drawing(warehouse).comparisons()] == [comparison]


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9])
def test_a_file_that_was_cut_short_is_told_and_left_as_it_is(warehouse: Path, share: float) -> None:
    comparison = opened(warehouse)
    for number in range(60):
        draw(warehouse, comparison, f"S{number}")
    file = Logbook(warehouse).file
    content = file.read_bytes()
    cut = content[: int(len(content) * share)]
    file.write_bytes(cut)
    with pytest.raises(LogbookError, match=r"damaged or cut short .* fitledger restore"):
        draw(warehouse, comparison, "S99")
    assert file.read_bytes() == cut


def test_a_file_of_another_program_is_no_logbook(warehouse: Path) -> None:
    file = Logbook(warehouse).file
    with sqlite3.connect(file) as other:
        other.execute("CREATE TABLE own (x)")
    other.close()
    with pytest.raises(LogbookError, match="no logbook of fitledger"):
        opened(warehouse)
    file.write_text("words, and no database: " * 40, encoding="utf-8")
    with pytest.raises(LogbookError, match="damaged or cut short"):
        opened(warehouse)


def test_who_holds_it_is_waited_for_and_then_told(warehouse: Path) -> None:
    comparison = opened(warehouse)
    with Logbook(warehouse).writing(), pytest.raises(LogbookError, match="another program is writing the logbook"):
        Drawing(warehouse, busy_seconds=0.05).draw(comparison, "S1", "left", capture_before=1, stratum="F1", by="F1")
    assert Drawing(warehouse).draws() == ()
    # A reader meanwhile sees what was there before.
    with Logbook(warehouse).writing():
        assert len(Drawing(warehouse).comparisons()) == 1


def test_a_full_disk_loses_nothing(warehouse: Path) -> None:
    comparison = opened(warehouse)
    n, words = on_a_full_disk(
        Logbook(warehouse).file,
        "from tests.unit.test_logbook import draw",
        f'draw(Path({str(warehouse)!r}), {comparison!r}, f"S{{n}}")',
    )
    assert "Nothing was changed." in words and ("disk" in words or "cannot be written" in words)
    assert len(Drawing(warehouse).draws()) == n
    assert draw(warehouse, comparison, "S-after") in ("first", "second")


def _draw_many(warehouse: str, comparison: str, name: str) -> None:
    for number in range(15):
        Drawing(Path(warehouse), busy_seconds=30).draw(
            comparison, f"{name}{number}", "left", capture_before=1, stratum="F1", by=name
        )


def test_two_writers_at_once_draw_one_sequence(warehouse: Path) -> None:
    comparison = opened(warehouse)
    write_at_once(_draw_many, *((str(warehouse), comparison, name) for name in "ab"))
    draws = Drawing(warehouse).draws()
    assert [one.draw_no for one in draws] == list(range(1, 31))
    closed = Drawing(warehouse).close(comparison, why="other", by="head")
    assert differing(draws, closed.seed, closed.commitment) == ()


def test_killed_at_any_moment_it_is_whole(warehouse: Path) -> None:
    comparison = opened(warehouse, stop_after=2000)
    code = f"""
import os
from pathlib import Path
from tests.unit.test_logbook import draw
for n in range(2000):
    draw(Path({str(warehouse)!r}), {comparison!r}, f"{{os.getpid()}}-{{n}}")
    print(n, flush=True)
"""
    for _ in killed_while_writing(code, lambda: len(Drawing(warehouse).draws())):
        draws = Drawing(warehouse).draws()
        assert [one.draw_no for one in draws] == list(range(1, len(draws) + 1))
