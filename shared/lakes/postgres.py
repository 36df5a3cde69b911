"""A lake's catalogue in PostgreSQL: this machine works on a copy of it, and writes it back in one transaction.

The tables are the catalogue's own, as DuckLake names them; beside them `fitledger_stamp` holds a random word for each state,
which tells a copy that is behind from one that is not. A writer holds a lock of the database from before it reads until it
commits or ends, however it ends. A reader needs the right to read these tables and no other. Works on connections that are
handed over.
"""

import secrets
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from shared.errors import WarehouseBusyError, WarehouseError
from shared.files import OWNER_ONLY, beside, put_in_place, write_in_place
from shared.lakes.attaching import load_extension
from shared.lakes.places import Place
from shared.paths import quoted_path
from shared.working import working

# Of fitledger's writers, whatever else locks in this database.
_LOCK: Final = "SELECT pg_try_advisory_xact_lock(661722001) AS is_mine"
_POLL_SECONDS: Final = 0.2
# How long this machine's copy is taken for new without asking again.
_LOOK_SECONDS: Final = 1.0
_STAMP: Final = "fitledger_stamp"
_looked: dict[Path, float] = {}

Connect = Callable[[], Any]


@contextmanager
def _database(place: Place, connect: Connect, duckdb_version: str) -> Iterator[Any]:
    """A connection with the database attached as `there`. Raises WarehouseError where it cannot be reached, or goes away."""
    connection = connect()
    try:
        load_extension(connection, "postgres_scanner", duckdb_version)
        try:
            where = "'" + (place.postgres or "").replace("'", "''") + "'"
            connection.execute(f"ATTACH {where} AS there (TYPE postgres)")
            yield connection
        except Exception as fault:
            if type(fault).__module__.split(".")[0] not in ("duckdb", "_duckdb"):
                raise
            raise WarehouseError(
                f"{place.catalogue}: the lake's catalogue in PostgreSQL cannot be reached ({_first_line(fault)}). "
                "Nothing was changed. See that the server runs and takes this user (psql with the same words), then try again."
            ) from fault
    finally:
        connection.close()


def follow(place: Place, connect: Connect, duckdb_version: str) -> None:
    """Takes the catalogue anew where the database holds another state than this machine's copy."""
    now = time.monotonic()
    if place.catalogue.exists() and now - _looked.get(place.catalogue, -_LOOK_SECONDS) < _LOOK_SECONDS:
        return
    with _database(place, connect, duckdb_version) as connection:
        _take(place, connection, duckdb_version)
    _looked[place.catalogue] = now


@contextmanager
def turn(place: Place, connect: Connect, duckdb_version: str, wait_seconds: float) -> Iterator[Callable[[Path], None]]:
    """The one transaction of a writer, with the newest catalogue on this machine; gives what writes a copy back.

    Raises WarehouseBusyError where another machine writes for longer than `wait_seconds`.
    """
    until = time.monotonic() + wait_seconds
    with _database(place, connect, duckdb_version) as connection:
        while not _has_turn(place, connection, connect, duckdb_version):
            if time.monotonic() >= until:
                raise WarehouseBusyError(
                    f"{place.catalogue}: another machine is writing this lake. Nothing was changed. Wait for it to end, "
                    "then load again."
                )
            time.sleep(_POLL_SECONDS)

        def write_back(copy: Path) -> None:
            stamp = secrets.token_hex(16)
            _write(connection, copy, stamp)
            connection.execute("COMMIT")
            _keep(place, copy, stamp)

        yield write_back
        with suppress(Exception):  # written or not, the transaction is over
            connection.execute("ROLLBACK")


def _has_turn(place: Place, connection: Any, connect: Connect, duckdb_version: str) -> bool:
    """Whether the lock is this one's, and its transaction sees what the last writer wrote, which is on this machine too."""
    connection.execute("BEGIN")
    if connection.execute(f"SELECT is_mine FROM postgres_query('there', '{_LOCK}')").fetchall()[0][0]:
        with _database(place, connect, duckdb_version) as reading:
            stamp = _take(place, reading, duckdb_version)
        if stamp == _stamp_there(connection):
            return True
    connection.execute("ROLLBACK")
    return False


def _tables(connection: Any, database: str) -> list[str]:
    found = connection.execute(
        "SELECT table_name FROM duckdb_tables() "
        "WHERE database_name = $database AND starts_with(table_name, 'ducklake_') ORDER BY table_name",
        {"database": database},
    ).fetchall()
    return [row[0] for row in found]


def _stamp_there(connection: Any) -> str | None:
    """The state of the database; None where it holds no catalogue yet."""
    asked = "SELECT count(*) FROM duckdb_tables() WHERE database_name = 'there' AND table_name = $name"
    if not connection.execute(asked, {"name": _STAMP}).fetchall()[0][0]:
        return None
    return str(connection.execute(f"SELECT stamp FROM there.{_STAMP}").fetchall()[0][0])


def _take(place: Place, connection: Any, duckdb_version: str) -> str | None:
    """Brings this machine's copy to the state of the database; returns that, None where there is no catalogue yet."""
    stamp, note = _stamp_there(connection), beside(place.catalogue, ".stamp")
    if stamp is None or (place.catalogue.exists() and note.exists() and note.read_text("utf-8") == stamp):
        return stamp
    place.catalogue.parent.mkdir(0o700, parents=True, exist_ok=True)
    with working(place.catalogue.parent) as folder:
        copy = folder / place.catalogue.name
        connection.execute(f"ATTACH {quoted_path(copy)} AS taken")
        connection.execute("BEGIN")  # one state of the database
        stamp = _stamp_there(connection) or stamp
        for table in _tables(connection, "there"):
            connection.execute(f"CREATE TABLE taken.{table} AS FROM there.{table}")
        connection.execute("COMMIT")
        connection.execute("DETACH taken")
        _keep(place, copy, stamp)
    return stamp


def _keep(place: Place, copy: Path, stamp: str) -> None:
    copy.chmod(OWNER_ONLY)
    put_in_place(copy, place.catalogue)
    write_in_place(beside(place.catalogue, ".stamp"), stamp.encode())


def _write(connection: Any, copy: Path, stamp: str) -> None:
    connection.execute(f"ATTACH {quoted_path(copy)} AS written (READ_ONLY)")
    there = set(_tables(connection, "there"))
    for table in _tables(connection, "written"):
        if table in there:
            connection.execute(f"DELETE FROM there.{table}")
            connection.execute(f"INSERT INTO there.{table} FROM written.{table}")
        else:
            connection.execute(f"CREATE TABLE there.{table} AS FROM written.{table}")
    connection.execute(f"CREATE TABLE IF NOT EXISTS there.{_STAMP} (stamp VARCHAR)")
    connection.execute(f"DELETE FROM there.{_STAMP}")
    connection.execute(f"INSERT INTO there.{_STAMP} VALUES ($stamp)", {"stamp": stamp})


def _first_line(fault: BaseException) -> str:
    return str(fault).splitlines()[0]
