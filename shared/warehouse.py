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

from shared.cells import filled
from shared.errors import WarehouseBusyError, WarehouseError
from shared.files import OWNER_ONLY, beside, held, put_in_place, remove_leftovers
from shared.paths import literal, quoted_path

# Raise it with every change of a table or mart: an older file is migrated (etl/keeping/migrate.py), its marts built anew.
WAREHOUSE_VERSION = 4
DEFAULT_WAREHOUSE = Path("fitledger.duckdb")
# What a load may hold in memory; what is larger spills to disk beside the working copy.
LOADING_MEMORY = "1000MB"
# DuckDB writes for much older readers unless told; this version packs text better, in three fifths of the time.
STORAGE_VERSION = "v1.5.0"
_Opened = TypeVar("_Opened")


@lru_cache(maxsize=256)
def read_sql(path: Path) -> str:
    """The text of a named .sql file."""
    return path.read_text(encoding="utf-8")


class Warehouse:
    """An open warehouse, read or written through named SQL. Each thread takes its own `cursor()`."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path | None, *, attached: bool = False) -> None:
        self._connection = connection
        self._attached = attached
        self.path = path

    def cursor(self) -> "Warehouse":
        """A second handle on the same open file, for another thread."""
        cursor = Warehouse(self._connection.cursor(), self.path, attached=self._attached)
        if self._attached:
            cursor._connection.execute("USE warehouse")
        return cursor

    def attach(self, path: Path) -> None:
        """Opens the file read-only inside this connection."""
        self._connection.execute(f"ATTACH {quoted_path(path)} AS warehouse (READ_ONLY)")
        self._connection.execute("USE warehouse")

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
        row = self._execute(sql, parameters, identifiers).fetchone()
        return row[0] if row else None

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
        given = parameters or {}
        answer = self._connection
        try:
            for statement in self._connection.extract_statements(text):
                bound = {name: given[name] for name in statement.named_parameters}
                answer = self._connection.execute(statement, bound) if bound else self._connection.execute(statement)
        except duckdb.Error as fault:
            if refused := _refused_by_machine(fault, self.path):
                raise refused from fault
            raise
        return answer


def _refused_by_machine(fault: duckdb.Error, path: Path | None) -> WarehouseError | None:
    """The sentence for a fault of memory, disk or file; None where the statement itself is at fault."""
    where = path or "The warehouse"
    text = str(fault)
    if isinstance(fault, duckdb.OutOfMemoryException):
        return WarehouseError(
            f"{where}: no memory or disk space left for this step. Nothing was changed. Free some space and try again."
        )
    # A commit that the disk refuses is reported as a transaction's fault, and what follows it as a fatal one.
    if isinstance(fault, duckdb.IOException | duckdb.FatalException) or "Could not write" in text or "No space" in text:
        return WarehouseError(
            f"{where}: the disk refused ({_first_line(fault)}). Nothing was changed. Check space and rights of the "
            "folder and try again."
        )
    return None


def _first_line(fault: BaseException) -> str:
    return str(fault).splitlines()[0]


def in_memory() -> Warehouse:
    """An empty warehouse in memory, for a check without a file and for tests."""
    return Warehouse(duckdb.connect(":memory:"), None)


def open_reading(path: Path, *, may_be_older: bool = False) -> Warehouse:
    """The warehouse at `path`, read-only; `may_be_older` takes one that is yet to be migrated too.

    Raises WarehouseError where there is none, it is no warehouse, of another version or locked.
    """
    if not path.is_file():
        raise WarehouseError(
            f"{path}: there is no warehouse here. Load exports first (fitledger load FOLDER --warehouse {path}), "
            "or name another file with --warehouse."
        )
    warehouse = Warehouse(duckdb.connect(":memory:"), path, attached=True)
    try:
        # Attached, since a second connect() in one process would answer from the file that a load has replaced.
        _opened(path, lambda: warehouse.attach(path))
        _check_version(warehouse, path, may_be_older)
    except WarehouseError:
        warehouse.close()
        raise
    return warehouse


@contextmanager
def open_loading(
    path: Path,
    *,
    keep: bool = True,
    wait_seconds: float = 0,
    on_wait: Callable[[], None] | None = None,
    may_be_older: bool = False,
) -> Iterator["LoadingWarehouse"]:
    """A working copy of the warehouse at `path` (new where there is none), put in place at the end.

    The copy is dropped where the block raises, where `keep` is false, or where the block called `leave_unchanged`.
    Where another load holds the warehouse, `on_wait` is called once and the load waits up to `wait_seconds`; raises
    WarehouseBusyError after that.
    """
    literal(path)  # before anything is written beside it
    path.parent.mkdir(parents=True, exist_ok=True)
    working = beside(path, ".loading")
    with held(path, wait_seconds, on_wait):
        remove_leftovers(path)
        try:
            warehouse = _working_copy(path, working, may_be_older)
            try:
                yield warehouse
                if keep and warehouse.is_changed:
                    # Explicit, since close() alone passes over a disk that refuses the last pages.
                    warehouse.run("CHECKPOINT")
            finally:
                warehouse.close()
            if keep and warehouse.is_changed:
                if warehouse.is_rewritten:
                    _rewrite(working, path)
                put_in_place(working, path)
        except OSError as fault:
            raise WarehouseError(
                f"{path}: the disk refused ({fault.strerror}). Nothing was changed. Check space and rights of "
                f"{path.parent or '.'} and load again."
            ) from fault
        finally:
            remove_leftovers(path)


def _working_copy(path: Path, working: Path, may_be_older: bool) -> "LoadingWarehouse":
    is_there = path.exists()
    if is_there:
        open_reading(path, may_be_older=may_be_older).close()
        shutil.copyfile(path, working)
        shutil.copymode(path, working)
    scratch = beside(working, ".tmp")
    scratch.mkdir(0o700)
    config: dict[str, Any] = {
        "memory_limit": LOADING_MEMORY,
        "temp_directory": literal(scratch / "spill"),
        "storage_compatibility_version": STORAGE_VERSION,
    }
    connection = _opened(path, lambda: duckdb.connect(literal(working), config=config))
    if not is_there:
        working.chmod(OWNER_ONLY)
    return LoadingWarehouse(connection, path, scratch)


def _rewrite(working: Path, path: Path) -> None:
    """Copies every row into a fresh file: a deleted row lingers in free blocks of the old one."""
    fresh = beside(path, ".rewritten")
    _copy_rows(working, fresh, beside(working, ".tmp") / "spill", "auto")
    shutil.copymode(working, fresh)
    fresh.replace(working)


def write_plain(path: Path, target: Path) -> None:
    """Copies every row into a new file without compression, in which every text can be read as bytes."""
    _copy_rows(path, target, beside(target, ".spill"), "uncompressed")


def _copy_rows(old: Path, new: Path, spill: Path, compression: str) -> None:
    config: dict[str, Any] = {"memory_limit": LOADING_MEMORY, "temp_directory": literal(spill)}
    warehouse = Warehouse(duckdb.connect(":memory:", config=config), old)
    try:
        warehouse.run(f"PRAGMA force_compression = '{compression}'")
        warehouse.run(f"ATTACH {quoted_path(old)} AS old (READ_ONLY)")
        warehouse.run(f"ATTACH {quoted_path(new)} AS new (STORAGE_VERSION '{STORAGE_VERSION}')")
        new.chmod(OWNER_ONLY)
        warehouse.run("COPY FROM DATABASE old TO new")
        warehouse.run("CHECKPOINT new")
    finally:
        warehouse.close()


class LoadingWarehouse(Warehouse):
    """A working copy that replaces the warehouse at the end unless it is left unchanged."""

    is_changed = True
    is_rewritten = False

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, scratch: Path) -> None:
        super().__init__(connection, path)
        # A folder for this load's own files; it goes with the working copy, and the next load clears what a kill left.
        self.scratch = scratch

    def leave_unchanged(self) -> None:
        """Nothing new came: the warehouse file stays as it is, byte for byte."""
        self.is_changed = False

    def leave_no_trace(self) -> None:
        """Rows were taken out for good: the file is written afresh, without the blocks that held them."""
        self.is_rewritten = True


def write_parquet(frame: pd.DataFrame, path: Path) -> None:
    """Writes a frame as Parquet."""
    connection = duckdb.connect(":memory:")
    try:
        connection.register("frame", frame)
        connection.execute(f"COPY frame TO {quoted_path(path)} (FORMAT parquet, COMPRESSION zstd)")
    finally:
        connection.close()


def _opened(path: Path, opening: Callable[[], _Opened]) -> _Opened:
    try:
        return opening()
    except duckdb.Error as fault:
        text = str(fault)
        if "lock" in text.lower():
            raise WarehouseBusyError(
                f"{path}: another program holds this file for writing. Close it there, then try again."
            ) from fault
        if "version" in text.lower() and "valid DuckDB" not in text:
            raise WarehouseError(
                f"{path}: written by another version of DuckDB ({_first_line(fault)}). Expected one that "
                f"DuckDB {duckdb.__version__} reads. Use the fitledger that wrote it, or load the exports into a new file."
            ) from fault
        raise WarehouseError(
            f"{path}: this file is no fitledger warehouse ({_first_line(fault)}). Name another file with --warehouse, "
            "or load the exports into a new one."
        ) from fault


def version_of(warehouse: Warehouse, path: Path) -> int:
    """The version that an open file says it has. Raises WarehouseError where it says none."""
    known = "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'raw' AND table_name = 'warehouse'"
    if not warehouse.value(known):
        raise WarehouseError(
            f"{path}: a DuckDB file, but no fitledger warehouse: its version table is missing. Name another file "
            "with --warehouse, or load the exports into a new one."
        )
    return int(warehouse.value("SELECT version FROM raw.warehouse"))


def _check_version(warehouse: Warehouse, path: Path, may_be_older: bool) -> None:
    version = version_of(warehouse, path)
    if version > WAREHOUSE_VERSION:
        raise WarehouseError(
            f"{path}: found warehouse version {version}, expected {WAREHOUSE_VERSION} or older: a newer fitledger wrote this "
            "file. Update this fitledger, or load the exports into a new file."
        )
    if version < WAREHOUSE_VERSION and not may_be_older:
        raise WarehouseError(
            f"{path}: found warehouse version {version}, expected {WAREHOUSE_VERSION}: an earlier fitledger wrote this file. "
            f"Run fitledger migrate --warehouse {path} (the next load does it too); every row and load is kept."
        )


def snapshot_of(path: Path) -> tuple[int, int, int] | None:
    """What tells one state of the warehouse file from the next; None where there is no file."""
    try:
        state = path.stat()
    except FileNotFoundError:
        return None
    return (state.st_ino, state.st_mtime_ns, state.st_size)


def quoted(names: Sequence[str], prefix: str = "") -> str:
    """Identifiers from the catalogue as a comma-separated SQL list."""
    return ", ".join(f'{prefix}"{name}"' for name in names)
