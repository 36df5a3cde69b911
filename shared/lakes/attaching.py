"""Attaching a lake to a connection, and keeping its catalogue and folder of data tidy.

Works on connections that are handed over: only shared/warehouse.py imports DuckDB.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from shared.errors import WarehouseError
from shared.extensions import extension_file, package_of
from shared.keys import place_in_force
from shared.lakes.places import Place, is_lake, place_of
from shared.paths import literal, quoted_path

# Readers of an older snapshot may need what a load has replaced for as long as an answer takes; a day is long enough.
KEPT: Final = timedelta(days=1)
_KNOWN: Final = ("READ_ONLY", "DATA_PATH", "OVERRIDE_DATA_PATH")
_SCHEDULED: Final = "ducklake_files_scheduled_for_deletion"
# Never rows within the catalogue: what is forgotten is then gone with the data files.
_NO_INLINING: Final = "DATA_INLINING_ROW_LIMIT 0"


def load_extension(connection: Any, extension: str, duckdb_version: str) -> None:
    """Loads an extension from its package. Raises WarehouseError that says what to install."""
    file = extension_file(extension, duckdb_version)
    if file is None:
        raise WarehouseError(
            f"A lake needs the package {package_of(extension)} for DuckDB {duckdb_version}, which is not installed. "
            "Nothing was changed. Run pip install 'fitledger[lake]'; where there is none for this DuckDB, "
            "install the DuckDB of requirements.lock, or use one file (--warehouse FILE.duckdb)."
        )
    connection.execute(f"LOAD {quoted_path(file)}")


def data_options(path: Path, catalogue: Path) -> tuple[str, ...]:
    """The options of ATTACH that name the folder of data of the lake `path`; `catalogue` is a copy of its, or will be."""
    if not is_lake(catalogue):
        return ()
    place = place_of(path)
    moved = ["OVERRIDE_DATA_PATH true"] if place.is_named and catalogue.exists() else []
    return (f"DATA_PATH {quoted_path(place.data)}", *moved)


def attach_lake(connection: Any, path: Path, name: str, duckdb_version: str, options: tuple[str, ...]) -> None:
    """Attaches the catalogue file at `path`; of ATTACH's options those that a lake knows mean something.

    Raises WarehouseError where the extension is missing, or a key is set, since a lake is not encrypted.
    """
    if place := place_in_force():
        raise WarehouseError(
            f"{path}: a lake is not encrypted, and a key is set ({place.words}). Nothing was opened. Keep a lake's folder and "
            "catalogue on encrypted disks, with a settings file without [encryption]; or use one file."
        )
    load_extension(connection, "ducklake", duckdb_version)
    given = [option for option in options if option.startswith(_KNOWN)]
    given += [] if "READ_ONLY" in options else [_NO_INLINING]
    connection.execute(f"ATTACH 'ducklake:{quoted_path(path)[1:]} AS {name} ({', '.join(given)})")


@contextmanager
def one_snapshot(warehouse: Any) -> Iterator[None]:
    """Statements that a lake takes as one snapshot, instead of one each; of a file nothing changes."""
    if not is_lake(warehouse.path):
        yield
        return
    warehouse.run("BEGIN")
    try:
        yield
    except BaseException:
        with suppress(Exception):  # what went wrong is told, not that this did too
            warehouse.run("ROLLBACK")
        raise
    warehouse.run("COMMIT")


def inside(name: str) -> str:
    """The catalogue's own tables of an attached lake."""
    return f"__ducklake_metadata_{name}"


def settle(connection: Any, name: str) -> None:
    """Before a catalogue is put in place: one snapshot is kept, the last, and everything is in one file."""
    tables = inside(name)
    older = connection.execute(
        f"SELECT list(snapshot_id) FROM {tables}.ducklake_snapshot "
        f"WHERE snapshot_id < (SELECT max(snapshot_id) FROM {tables}.ducklake_snapshot)"
    ).fetchall()[0][0]
    if older:
        connection.execute(f"CALL ducklake_expire_snapshots('{name}', versions => {older})")
    before = datetime.now(UTC) - KEPT
    connection.execute(f"DELETE FROM {tables}.{_SCHEDULED} WHERE schedule_start < $before", {"before": before})
    connection.execute(f"CHECKPOINT {tables}")


def data_files(place: Place) -> list[Path]:
    """The files of a lake's folder of data, known to its catalogue or not."""
    return sorted(place.data.glob("*/*/ducklake-*.parquet"))


def files_of(path: Path) -> list[Path]:
    """The files in which the rows of a warehouse lie: itself, and a lake's data."""
    return [path, *(data_files(place_of(path)) if is_lake(path) else [])]


def sweep(connection: Any, catalogue: Path, place: Place) -> int:
    """Removes the data files that the catalogue does not know; returns how many. Call while no other writer is at work.

    `connection` is a new one; the catalogue's tables are read without the data. Where no catalogue came to be, all are unknown.
    """
    known: set[str] = set()
    if catalogue.exists():
        connection.execute(f"ATTACH {quoted_path(catalogue)} AS known (READ_ONLY)")
        for table in ("ducklake_data_file", "ducklake_delete_file", _SCHEDULED):
            known |= {Path(row[0]).name for row in connection.execute(f"SELECT path FROM known.{table}").fetchall()}
    unknown = [file for file in data_files(place) if file.name not in known]
    for file in unknown:
        file.unlink(missing_ok=True)
    return len(unknown)


def require_free(data: Path) -> None:
    """Raises WarehouseError where a new lake's folder of data holds the files of another one."""
    if next(data.glob("*/*/*.parquet"), None):
        raise WarehouseError(
            f"{literal(data)}: this folder holds the data files of a lake whose catalogue is not here. Nothing was "
            "changed. Put the catalogue back from its backup, or name an empty folder as data of a new lake. Where a "
            "first load was killed here, empty the folder."
        )
