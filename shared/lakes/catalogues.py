"""A lake's catalogue from one state to the next: whose turn it is to write, and how a new one takes the old one's place.

Of a file the catalogue is the file, which is renamed; of PostgreSQL it is in the database, and the file is this machine's
copy of it (postgres.py). Works on connections that are handed over: only shared/warehouse.py imports DuckDB.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any

from shared import files
from shared.errors import WarehouseError
from shared.lakes import attaching, postgres
from shared.lakes.places import Place, is_lake, place_of

Connect = Callable[[], Any]


def follow(path: Path, connect: Connect, duckdb_version: str) -> None:
    """Brings this machine's copy of a catalogue to the state of the database; of a file there is nothing to do.

    Raises WarehouseError where the database cannot be reached.
    """
    if is_lake(path) and (place := place_of(path)).postgres:
        postgres.follow(place, connect, duckdb_version)


@contextmanager
def turn(path: Path, connect: Connect, duckdb_version: str, wait_seconds: float) -> Iterator[Callable[[Path], None]]:
    """This writer's turn among all machines; gives what puts a written copy in place. Call with the path held on this machine.

    Data files that the catalogue does not know are removed at the end: those of a load that failed, of one that was killed
    before, and of what was forgotten.
    """
    if not is_lake(path):
        yield lambda copy: files.put_in_place(copy, path)
        return
    place = place_of(path)
    follow(path, connect, duckdb_version)
    if not path.exists():
        attaching.require_free(place.data)
    try:
        with _turn_of(place, connect, duckdb_version, wait_seconds) as put_in_place:
            place.data.mkdir(0o700, parents=True, exist_ok=True)
            yield put_in_place
    finally:
        # A turn of its own: of a database the first has ended with what was written.
        with suppress(WarehouseError, OSError), ExitStack() as swept:
            swept.enter_context(_turn_of(place, connect, duckdb_version, 0))
            connection = connect()
            swept.callback(connection.close)
            attaching.sweep(connection, path, place)


def _turn_of(
    place: Place, connect: Connect, duckdb_version: str, wait_seconds: float
) -> AbstractContextManager[Callable[[Path], None]]:
    return postgres.turn(place, connect, duckdb_version, wait_seconds) if place.postgres else _turn_of_file(place)


@contextmanager
def _turn_of_file(place: Place) -> Iterator[Callable[[Path], None]]:
    yield lambda copy: files.put_in_place(copy, place.catalogue)
