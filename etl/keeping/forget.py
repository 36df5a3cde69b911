"""Forgets a rider: out of every table and version, the rejects, the copies that the program made; and proves it.

Deleted rows linger in a file's free blocks, so every file is written afresh. What is kept of the rider is a mark, a keyed
hash of their id and of their sessions', by which a later load knows their rows and leaves them out.
"""

import dataclasses
import shutil
from collections.abc import Collection, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from etl.keeping.backup import describe, pack, read_manifest, refuse_unfinished, unpack
from etl.keeping.beside import Beside, search_beside, speller_of, wait_for_others
from etl.keeping.copies import Copy, known_copies, rename_copies, why_missing
from etl.keeping.encrypt import bring_under_key
from etl.keeping.logbook import forget_in_logbook, n_naming, told_of
from etl.keeping.marks import Marks, add_marks, begin_marks, marks_of
from etl.keeping.migrate import bring_up_to_date, is_older
from etl.keeping.naming import Ids, Unclear, together
from etl.keeping.owned import count_rows, ids_of, take_out
from etl.keeping.proof import Proof, prove
from etl.keeping.rebuild import rebuild
from shared.catalogue import Table, catalogue
from shared.errors import FitledgerError, UsageError
from shared.files import beside, put_in_place
from shared.rewriting import write_anew
from shared.settings import Settings
from shared.warehouse import LoadingWarehouse, open_loading, open_reading
from shared.working import working


@dataclass
class Place:
    """One file: the rows of the rider found in it by their place, and the proof that they are gone.

    `ids` are the rider's as this file knows them. `unclear` are words that may name the rider and may not. `unreached` says
    why the file could not be searched; `is_gone`: it was deleted or moved by hand.
    """

    file: Path
    ids: Ids = field(default_factory=lambda: Ids(()))
    rows: dict[str, int] = field(default_factory=dict)
    unclear: list[Unclear] = field(default_factory=list)
    proof: Proof | None = None
    unreached: str = ""
    is_gone: bool = False

    @property
    def holds(self) -> bool:
        return self.is_gone or (not self.unreached and (self.proof is None or self.proof.holds))


@dataclass(frozen=True)
class Forgotten:
    """The warehouse first, then its copies; what lies beside them; folders in which other programs are at work now."""

    places: list[Place]
    beside: Beside = field(default_factory=Beside)
    at_work: list[Path] = field(default_factory=list)

    @property
    def n_sessions(self) -> int:
        """How many sessions went with the rider."""
        return len({session for place in self.places for session in place.ids.sessions})

    @property
    def unclear(self) -> list[Unclear]:
        """What may name the rider and may not, in all files together: before it is done what may be asked for, afterwards
        what was left."""
        left = [place.proof.left if place.proof else place.unclear for place in self.places]
        return together([*(one for words in left for one in words), *self.beside.unclear])

    @property
    def is_complete(self) -> bool:
        return all(place.holds for place in self.places) and not self.beside.named and not self.at_work


@dataclass(frozen=True)
class _Work:
    """What is done in every file alike."""

    rider_id: str
    settings: Settings
    today: date
    marks: Marks
    also: Collection[str]
    sessions: tuple[str, ...] = ()


def foresee(path: Path, rider_id: str) -> Forgotten:
    """What forgetting would remove, file by file; nothing is changed.

    Raises UsageError where neither the warehouse nor a copy holds the rider, and the rider was not forgotten before.
    """
    own = Place(path)
    with working(path.parent, elsewhere=True) as folder:
        file = path
        if is_older(path):  # counted on a copy, brought up to date
            file = folder / "w.duckdb"
            shutil.copyfile(path, file)
        _count(file, own, rider_id)
    places = [own]
    for copy in known_copies(path):
        place = Place(copy.path)
        places.append(place)
        with _reached(place, copy, may_write=False) as reached:
            if reached:
                _count(reached, place, rider_id)
    if not any(place.rows for place in places) and not _is_forgotten(path, rider_id):
        unreached = sum(bool(place.unreached) for place in places)
        also = f" Copies that could not be searched: {unreached}." if unreached else ""
        raise UsageError(
            f"{rider_id}: neither {path} nor a copy of it holds this rider. Nothing was changed.{also} Give the rider_id as it "
            "stands in the exports."
        )
    return Forgotten(places, Beside(logbook=told_of(path, speller_of(path, [own.ids]))))


def _is_forgotten(path: Path, rider_id: str) -> bool:
    """Whether the rider was forgotten here before, so that a second run proves it once more."""
    if is_older(path):
        return False
    warehouse = open_reading(path)
    try:
        marks = marks_of(warehouse, path)
        return marks is not None and marks.rider_mark(rider_id) is not None
    finally:
        warehouse.close()


def forget(
    path: Path,
    rider_id: str,
    *,
    also: Collection[str] = (),
    settings: Settings | None = None,
    today: date | None = None,
    logs: tuple[Path, ...] = (),
    wait_seconds: float = 0,
) -> Forgotten:
    """Removes the rider from the warehouse and from every copy that was noted, and searches the files afterwards.

    Killed in the middle, each file is as it was or done; run again, the rest is done. `also` are words that do not clearly
    name the rider and go too (`foresee` tells which there are); the others stay and are told. `logs` are searched too.
    Raises UsageError where neither the warehouse nor a copy holds the rider, and the rider was not forgotten before.
    """
    foresee(path, rider_id)
    refuse_unfinished(path)
    settings = settings or Settings()
    bring_up_to_date(path, settings, wait_seconds=wait_seconds)
    own = Place(path)
    with open_loading(path, wait_seconds=wait_seconds) as warehouse:
        work = _Work(rider_id, settings, today or date.today(), begin_marks(warehouse, path), also)
        _take_out(warehouse, own, work)
    rename_copies(path, speller_of(path, [own.ids]))
    copies = known_copies(path)
    places = [own, *(Place(copy.path) for copy in copies)]
    for copy, place in zip(copies, places[1:], strict=True):
        with _reached(place, copy, may_write=True) as file:
            if file:
                _forget_in_copy(file, place, copy, dataclasses.replace(work, sessions=own.ids.sessions))
    own.proof = prove(path, own.ids, also)
    for copy, place in zip(copies, places[1:], strict=True):
        with _reached(place, copy, may_write=False) as file:
            if file:
                place.proof = prove(file, place.ids, also)
                if copy.kind == "backup":
                    left = n_naming(file, speller_of(file, [place.ids]))
                    place.proof = dataclasses.replace(place.proof, hits=place.proof.hits + left)
    beside = search_beside(path, [place.ids for place in places], also, logs)
    return Forgotten(places, beside, wait_for_others(path, wait_seconds))


@contextmanager
def _reached(place: Place, copy: Copy, *, may_write: bool) -> Iterator[Path | None]:
    """The warehouse of a copy, unpacked where it is a backup; where that fails, the place is told as unreached."""
    with ExitStack() as opened:
        file = None if place.unreached else _open_copy(place, copy, opened, may_write)
        try:
            yield file
        except (FitledgerError, OSError) as fault:
            place.unreached = str(fault)
        if file == copy.path:
            beside(file, ".lock").unlink(missing_ok=True)


def _open_copy(place: Place, copy: Copy, opened: ExitStack, may_write: bool) -> Path | None:
    place.unreached = why_missing(copy)
    if place.unreached:
        place.is_gone = copy.path.parent.is_dir()
        return None
    try:
        folder = opened.enter_context(working(copy.path.parent, elsewhere=not may_write))
        file = folder / "w.duckdb"
        if copy.kind == "backup":
            unpack(copy.path, read_manifest(copy.path), file)
        elif may_write:
            file = copy.path
        else:
            shutil.copyfile(copy.path, file)
        bring_under_key(file, folder)
    except (FitledgerError, OSError) as fault:
        place.unreached = str(fault)
        return None
    return file


def allow_again(path: Path, rider_id: str | None, *, wait_seconds: float = 0) -> int:
    """Lifts the mark of a forgotten rider (of every one without an id), so that a later load takes their rows in again.

    Returns how many riders that were. Raises UsageError where the rider is not among the forgotten.
    """
    bring_up_to_date(path, wait_seconds=wait_seconds)
    with open_loading(path, wait_seconds=wait_seconds) as warehouse:
        if rider_id is None:
            # The key may be lost, so that a check mark cannot be told from a rider's: it has no session and counts as none.
            n_riders = int(warehouse.value("SELECT count(DISTINCT rider_mark) - count(DISTINCT salt) FROM raw.forgotten"))
            warehouse.run("DELETE FROM raw.forgotten")
            return n_riders
        marks = marks_of(warehouse, path)
        rider_mark = marks.rider_mark(rider_id) if marks else None
        if rider_mark is None:
            raise UsageError(f"{rider_id}: this id is not among the forgotten of {path}. Nothing was changed.")
        warehouse.run("DELETE FROM raw.forgotten WHERE rider_mark = $mark", {"mark": rider_mark})
    return 1


def take_out_marked(warehouse: LoadingWarehouse, marks: Marks, settings: Settings) -> int:
    """Removes every forgotten rider from a warehouse that came back from before they were forgotten; returns how many."""
    riders = warehouse.rows("SELECT rider_id FROM raw.riders UNION SELECT rider_id FROM raw.fit_sessions")
    known = marks.known(row["rider_id"] for row in riders)
    sessions = marks.known(session for table in catalogue().values() for session in _sessions(warehouse, table))
    ids = ids_of(warehouse, known, sessions)
    if ids.all:
        take_out(warehouse, ids)
        rebuild(warehouse, settings)
    return len({*known.values(), *sessions.values()})


def _sessions(warehouse: LoadingWarehouse, table: Table) -> list[str]:
    if "session_id" not in table.column_names:
        return []
    return [row["session_id"] for row in warehouse.rows(f'SELECT DISTINCT session_id FROM raw."{table.name}"')]


def _take_out(warehouse: LoadingWarehouse, place: Place, work: _Work) -> None:
    place.ids = ids_of(warehouse, (work.rider_id,), work.sessions)
    place.rows, place.unclear = count_rows(warehouse, place.ids, work.also)
    if place.rows:
        take_out(warehouse, place.ids, work.also)
        rebuild(warehouse, work.settings)
    add_marks(warehouse, work.marks, work.marks.of(work.rider_id), place.ids.all, work.today)
    # Written afresh even where no row was left, since one may linger that was replaced or taken back.
    warehouse.rewrite = write_anew


def _count(file: Path, place: Place, rider_id: str) -> None:
    bring_up_to_date(file)
    warehouse = open_reading(file)
    try:
        place.ids = ids_of(warehouse, (rider_id,))
        place.rows, place.unclear = count_rows(warehouse, place.ids)
    finally:
        warehouse.close()


def _forget_in_copy(file: Path, place: Place, copy: Copy, work: _Work) -> None:
    bring_up_to_date(file, work.settings)
    with open_loading(file) as warehouse:
        _take_out(warehouse, place, work)
    if copy.kind == "backup":
        forget_in_logbook(file, speller_of(file, [place.ids]))
        made_at = read_manifest(copy.path).made_at
        put_in_place(pack(file, dataclasses.replace(describe(file), made_at=made_at), file.parent), copy.path)
