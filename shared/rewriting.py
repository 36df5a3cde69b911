"""Writes the rows of a warehouse file into another one: under another key, or as bytes that can be searched."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shared.encryption import is_encrypted, keys_for
from shared.files import OWNER_ONLY, put_in_place
from shared.keys import Key
from shared.lakes.attaching import data_options, inside
from shared.lakes.places import is_lake
from shared.warehouse import STORAGE_VERSION, Warehouse, attach, connected, open_reading, opened


def write_anew(path: Path, key: Key | None, folder: Path) -> None:
    """Writes every row into a fresh file under a key (None: not encrypted), which takes the place of `path` in one step.

    `folder` is a working folder on the same disk. Call with the warehouse held; nothing of the old blocks is in the new file.
    """
    fresh = folder / f"rewritten{path.suffix}"
    _copy_rows(path, fresh, folder / "spill", key)
    shutil.copymode(path, fresh)
    put_in_place(fresh, path)


@contextmanager
def plain_copy(path: Path, folder: Path) -> Iterator[Path]:
    """A copy of every row in `folder`, without compression and encryption, in which every text can be read as bytes.

    Where the file is encrypted, the copy is in memory only, and the folder holds a name for it; so on Linux, elsewhere it is a
    file.
    """
    copy = folder / "plain.duckdb"
    if not (is_encrypted(path) and hasattr(os, "memfd_create")):
        _copy_rows(path, copy, folder / "spill", None, "uncompressed")
        yield copy
        return
    empty = folder / "empty.duckdb"
    _make_empty(empty)
    memory = os.memfd_create("plain")
    try:
        os.write(memory, empty.read_bytes())
        empty.unlink()
        copy.symlink_to(f"/proc/self/fd/{memory}")
        # The log of writes would be a file of its own beside the name.
        _copy_rows(path, copy, folder / "spill", None, "uncompressed", "RECOVERY_MODE 'no_wal_writes'")
        yield copy
    finally:
        os.close(memory)


def copy_out(path: Path, copy: Path) -> None:
    """Copies a warehouse to a file: a file as it lies; a lake with the rows of all its tables."""
    if is_lake(path):
        open_reading(path, may_be_older=True).close()  # which follows what other machines wrote
        _copy_rows(path, copy, copy.with_name("spill"), None)
    else:
        shutil.copyfile(path, copy)


def _make_empty(path: Path) -> None:
    """Makes a file without a table that is not encrypted."""
    connection = connected()
    attach(connection, path, "empty", (None,), STORAGE_VERSION)
    connection.close()


def _copy_rows(old: Path, new: Path, spill: Path, key: Key | None, compression: str = "auto", *options: str) -> None:
    """Copies every row of a file into another one under `key`."""
    keys = keys_for(old, may_be_plain=True)
    connection = connected(spill, key or keys[0])
    # Of a lake written anew the data stay in the same folder.
    new_of = old if is_lake(new) else new
    warehouse = Warehouse(connection, old)
    try:
        opened(old, lambda: attach(connection, old, "old", keys, "READ_ONLY", *data_options(old, old)))
        attach(connection, new, "new", (key,), STORAGE_VERSION, *options, *data_options(new_of, new))
        new.chmod(OWNER_ONLY)
        warehouse.run(f"PRAGMA force_compression = '{compression}'")
        warehouse.run("COPY FROM DATABASE old TO new")
        warehouse.run(f"CHECKPOINT {inside('new') if is_lake(new) else 'new'}")
    finally:
        warehouse.close()
