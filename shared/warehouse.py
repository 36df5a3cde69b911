"""The warehouse: one DuckDB file. The only module that imports duckdb.

Loading works on a copy beside the file and puts it in place in one step, so that a load is all there or never
happened, killed or not, and readers keep a consistent snapshot meanwhile.
"""

import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

import duckdb
import numpy as np
import pandas as pd

from shared import encryption
from shared.cells import filled
from shared.errors import WarehouseError
from shared.faults import fault_of_opening, fault_of_running
from shared.files import OWNER_ONLY, held
from shared.keys import Key, key_of_new_files
from shared.lakes import attaching, catalogues, places
from shared.lakes.attaching import data_options
from shared.memory import Bound, loading_memory
from shared.paths import literal, quoted_path
from shared.ran import note_run
from shared.warehouse_version import check_version
from shared.working import working

# Raise it with every change of a table or mart: an older file is migrated (etl/keeping/migrate.py), its marts built anew.
WAREHOUSE_VERSION = 8
DEFAULT_WAREHOUSE = Path("fitledger.duckdb")
# DuckDB writes for much older readers unless told; this version packs text better, in three fifths of the time.
STORAGE_VERSION = "STORAGE_VERSION 'v1.5.0'"
_Opened = TypeVar("_Opened")


@lru_cache(maxsize=256)
def read_sql(path: Path) -> str:
    """The text of a named .sql file."""
    return path.read_text(encoding="utf-8")


class Warehouse:
    """An open warehouse, read or written through named SQL. Each thread takes its own `cursor()`."""

    memory: Bound | None = None

    def __init__(
        self, connection: duckdb.DuckDBPyConnection, path: Path | None, *, attached: bool = False, key: Key | None = None
    ) -> None:
        self._connection = connection
        self._attached = attached
        self.path = path
        # What the file is encrypted with; None where it is not.
        self.key = key

    def cursor(self) -> "Warehouse":
        """A second handle on the same open file, for another thread."""
        cursor = Warehouse(self._connection.cursor(), self.path, attached=self._attached, key=self.key)
        if self._attached:
            cursor._connection.execute("USE warehouse")
        return cursor

    def close(self) -> None:
        self._connection.close()

    def interrupt(self) -> None:
        """Stops the statement that another thread runs on this cursor, which fails there."""
        self._connection.interrupt()

    def run(self, sql: Path | str, parameters: Mapping[str, Any] | None = None, **identifiers: str) -> None:
        """Runs a named .sql file or one statement for its effect."""
        self._execute(sql, parameters, identifiers)

    def rows(self, sql: Path | str, parameters: Mapping[str, Any] | None = None, **identifiers: str) -> list[dict[str, Any]]:
        """The answer as a list of rows by column name."""
        answer = self._execute(sql, parameters, identifiers)
        names = [column[0] for column in answer.description or []]
        return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]

    def value(self, sql: Path | str, parameters: Mapping[str, Any] | None = None, **identifiers: str) -> Any:
        """The first cell of the first row, or None."""
        # All rows, since DuckDB 2 keeps a connection busy until its last row is fetched.
        rows = self._execute(sql, parameters, identifiers).fetchall()
        return rows[0][0] if rows else None

    def arrays(
        self, sql: Path | str, parameters: Mapping[str, Any] | None = None, **identifiers: str
    ) -> dict[str, np.ndarray[Any, Any]]:
        """The answer as one numpy array a column; missing numbers are NaN."""
        answer = self._execute(sql, parameters, identifiers).fetchnumpy()
        return {name: filled(array) for name, array in answer.items()}

    def put(self, name: str, rows: pd.DataFrame) -> None:
        """Makes the temporary table `name` of a frame's rows."""
        self._connection.register("put_rows", rows)
        self._connection.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS SELECT * FROM put_rows")
        self._connection.unregister("put_rows")

    def frame(self, sql: Path | str, parameters: Mapping[str, Any] | None = None, **identifiers: str) -> pd.DataFrame:
        """The answer as a pandas frame."""
        return self._execute(sql, parameters, identifiers).df()

    def _execute(
        self, sql: Path | str, parameters: Mapping[str, Any] | None, identifiers: Mapping[str, str]
    ) -> duckdb.DuckDBPyConnection:
        text = read_sql(sql) if isinstance(sql, Path) else sql
        for name, fragment in identifiers.items():
            text = text.replace("{" + name + "}", fragment)
        note_run(sql, text)
        answer = self._connection
        try:
            for statement in self._connection.extract_statements(text):
                bound = {name: (parameters or {})[name] for name in statement.named_parameters}
                answer = self._connection.execute(statement, bound) if bound else self._connection.execute(statement)
        except (duckdb.Error, MemoryError) as fault:
            if refused := fault_of_running(fault, self.path, self.memory):
                raise refused from fault
            raise
        return answer


def in_memory() -> Warehouse:
    """An empty warehouse in memory, for a check without a file and for tests."""
    return Warehouse(duckdb.connect(":memory:"), None)


def takes_pattern(pattern: str) -> bool:
    """Whether the warehouse can search with a regular expression: it knows less than Python does, in bounded time."""
    try:
        duckdb.execute("SELECT regexp_matches('', $pattern)", {"pattern": pattern}, connection=duckdb.connect(":memory:"))
    except duckdb.Error:
        return False
    return True


def require_encryption() -> None:
    """Raises WarehouseError where what encrypts is not installed."""
    if encryption.extension_file(duckdb.__version__) is None:
        raise encryption.no_extension(duckdb.__version__)


def connected(spill: Path | None = None, key: Key | None = None) -> duckdb.DuckDBPyConnection:
    """A connection to attach files to; one that writes spills into `spill`, encrypted where a key is given."""
    # Nothing is ever fetched from the network: what is needed of DuckDB's extensions is installed with the program.
    config: dict[str, Any] = {"autoinstall_known_extensions": False, "autoload_known_extensions": False}
    if spill:
        # Unless told, DuckDB spills the rows of an encrypted file as they are.
        config |= {
            "memory_limit": f"{loading_memory().n_bytes}B",
            "temp_directory": literal(spill),
            "temp_file_encryption": key is not None,
        }
    connection = duckdb.connect(":memory:", config=config)
    if spill and key and not _load_extension(connection):
        connection.close()
        raise encryption.no_extension(duckdb.__version__)
    return connection


def _load_extension(connection: duckdb.DuckDBPyConnection) -> bool:
    """Loads the extension that encrypts, where it is installed, and shuts off the network that comes with it."""
    file = encryption.extension_file(duckdb.__version__)
    if file is None:
        return False
    connection.execute(f"LOAD {quoted_path(file)}")
    connection.execute("SET disabled_filesystems = 'HTTPFileSystem,S3FileSystem,HuggingFaceFileSystem'")
    return True


def attach(
    connection: duckdb.DuckDBPyConnection, path: Path, name: str, keys: tuple[Key | None, ...], *options: str
) -> Key | None:
    """Attaches a file under the first of the keys that fits it, or a new file under the first; returns that key.

    A lake's catalogue is attached with the data that it names; a new one with those of the option DATA.
    """
    if places.is_lake(path):
        attaching.attach_lake(connection, path, name, duckdb.__version__, options)
        return None

    def under(key: Key | None) -> None:
        given = ", ".join([*options, *(["ENCRYPTION_KEY $key"] if key else [])])
        connection.execute(f"ATTACH {quoted_path(path)} AS {name} ({given})", {"key": key.text} if key else None)

    return encryption.first_that_fits(path, keys, under)


def open_reading(path: Path, *, may_be_older: bool = False, may_be_plain: bool = False) -> Warehouse:
    """The warehouse at `path`, read-only; `may_be_older` takes one that is yet to be migrated too, `may_be_plain` one that is
    not encrypted though a key is set.

    Raises WarehouseError where there is none, it is no warehouse, of another version or locked, or its key is not there.
    """
    catalogues.follow(path, connected, duckdb.__version__)
    if not path.is_file():
        raise WarehouseError(
            f"{path}: there is no warehouse here. Load exports first (fitledger load FOLDER --warehouse {path}), "
            "or name another file with --warehouse."
        )
    keys = encryption.keys_for(path, may_be_plain=may_be_plain)
    connection = connected()
    warehouse = Warehouse(connection, path, attached=True, key=keys[0])
    try:
        if keys[0] and path.stat().st_size > encryption.FAST_READING_FROM_BYTES:
            _load_extension(connection)
        # Attached, since a second connect() in one process would answer from the file that a load has replaced.
        warehouse.key = opened(
            path, lambda: attach(connection, path, "warehouse", keys, "READ_ONLY", *data_options(path, path))
        )
        connection.execute("USE warehouse")
        check_version(warehouse, path, WAREHOUSE_VERSION, may_be_older=may_be_older)
    except WarehouseError:
        warehouse.close()
        raise
    return warehouse


@contextmanager
def open_loading(
    path: Path,
    *,
    wait_seconds: float = 0,
    on_wait: Callable[[int], None] | None = None,
    may_be_older: bool = False,
) -> Iterator["LoadingWarehouse"]:
    """A working copy of the warehouse at `path` (new where there is none), put in place at the end.

    The copy is dropped where the block raises or has called `leave_unchanged`. Where another load holds the warehouse,
    this one waits in line up to `wait_seconds`, and `on_wait` is told how many stand before it; raises WarehouseBusyError after
    that.
    """
    literal(path)  # before anything is written beside it
    path.parent.mkdir(parents=True, exist_ok=True)
    with held(path, wait_seconds, on_wait), catalogues.turn(path, connected, duckdb.__version__, wait_seconds) as put_in_place:
        try:
            with working(path.parent) as folder:
                copy = folder / f"loading{path.suffix}"
                if path.exists():
                    open_reading(path, may_be_older=may_be_older).close()
                    shutil.copyfile(path, copy)
                    shutil.copymode(path, copy)
                with open_working_copy(copy, path) as warehouse:
                    yield warehouse
                    if warehouse.is_changed:
                        warehouse.settle()
                if warehouse.is_changed:
                    if warehouse.rewrite:
                        warehouse.rewrite(copy, warehouse.key, folder)
                    put_in_place(copy)
        except OSError as fault:
            raise WarehouseError(
                f"{path}: the disk refused ({fault.strerror or fault}). Nothing was changed. Check space and rights of "
                f"{path.parent or '.'} and load again."
            ) from fault


@contextmanager
def open_working_copy(copy: Path, path: Path) -> Iterator["LoadingWarehouse"]:
    """Opens a file that lies in a working folder for loading, as it is; makes it where it is not there.

    `path` is the warehouse that faults are told of.
    """
    is_there = copy.exists()
    places.stand_in(copy, path)
    scratch = copy.with_name("scratch")
    scratch.mkdir(0o700, exist_ok=True)
    keys = encryption.keys_for(copy) if is_there else (key_of_new_files(),)
    connection = connected(copy.with_name("spill"), keys[0])
    key = opened(path, lambda: attach(connection, copy, "warehouse", keys, STORAGE_VERSION, *data_options(path, copy)))
    connection.execute("USE warehouse")
    if not is_there:
        copy.chmod(OWNER_ONLY)
    warehouse = LoadingWarehouse(connection, path, scratch, key)
    try:
        yield warehouse
    finally:
        warehouse.close()


class LoadingWarehouse(Warehouse):
    """A working copy that replaces the warehouse at the end unless it is left unchanged."""

    is_changed = True
    # Writes the file of the first path anew under a key, in a working folder; None leaves it as it was written.
    rewrite: Callable[[Path, Key | None, Path], None] | None = None

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, scratch: Path, key: Key | None) -> None:
        super().__init__(connection, path, attached=True, key=key)
        # A folder for this load's own files; it goes with the working copy.
        self.scratch = scratch
        # What it may hold in memory; what is larger spills to disk beside the working copy.
        self.memory = loading_memory()

    def limit_memory(self, setting_mb: int | None) -> None:
        """Takes the limit that a studio has set, where it has set one."""
        if setting_mb:
            self.memory = loading_memory(setting_mb)
            self.run(f"SET memory_limit = '{self.memory.n_bytes}B'")

    def settle(self) -> None:
        """Writes all that is in memory into the file, before it is put in place."""
        if places.is_lake(self.path):
            attaching.settle(self._connection, "warehouse")
        else:
            # Explicit, since close() alone passes over a disk that refuses the last pages.
            self.run("CHECKPOINT")

    def leave_unchanged(self) -> None:
        """Nothing new came: the warehouse file stays as it is, byte for byte."""
        self.is_changed = False


def write_parquet(frame: pd.DataFrame, path: Path) -> None:
    """Writes a frame as Parquet."""
    connection = duckdb.connect(":memory:")
    try:
        connection.register("frame", frame)
        connection.execute(f"COPY frame TO {quoted_path(path)} (FORMAT parquet, COMPRESSION zstd)")
    finally:
        connection.close()


def opened(path: Path, opening: Callable[[], _Opened]) -> _Opened:
    try:
        return opening()
    except duckdb.Error as fault:
        raise fault_of_opening(fault, path, duckdb.__version__) from fault


def snapshot_of(path: Path) -> tuple[int, int, int] | None:
    """What tells one state of the warehouse file from the next; None where there is no file."""
    catalogues.follow(path, connected, duckdb.__version__)
    try:
        state = path.stat()
    except FileNotFoundError:
        return None
    return (state.st_ino, state.st_mtime_ns, state.st_size)


def quoted(names: Sequence[str], prefix: str = "") -> str:
    """Identifiers from the catalogue as a comma-separated SQL list."""
    return ", ".join(f'{prefix}"{name}"' for name in names)
