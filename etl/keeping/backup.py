"""Backups: the warehouse and a manifest in one packed file.

A warehouse file is only ever replaced by a rename, closed and synced before, so a file that is open here is one consistent
state, whatever loads and readers do meanwhile.
"""

import hashlib
import json
import os
import re
import zipfile
import zlib
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import IO, Any

from pydantic import TypeAdapter

from etl.keeping.copies import known_copies, note_copy, stamp
from etl.keeping.logbook import copy_logbook
from shared.encryption import is_encrypted
from shared.errors import InputUnusableError, UsageError, WarehouseError, WarehouseKeyError
from shared.files import OWNER_ONLY, beside, put_new_in_place
from shared.keys import keys_in_force, place_in_force
from shared.logbook.store import Logbook
from shared.rewriting import copy_out
from shared.statistics.wording import counted
from shared.warehouse import WAREHOUSE_VERSION, open_reading
from shared.warehouse_version import version_of
from shared.working import working

FORMAT = "fitledger backup"
# 2 where the warehouse is encrypted, 3 where a logbook goes along: earlier fitledgers would leave it behind.
FORMAT_VERSION = 3
ENDING = ".backup"
_MANIFEST, _WAREHOUSE, _LOGBOOK = "manifest.json", "warehouse.duckdb", "logbook.sqlite"
_MANIFEST_BYTES = 100_000
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Manifest:
    """What a backup holds: `sha256` and `size` (bytes) of the warehouse file, `rows` the current rows of each table,
    `marks` its marks of forgotten ids, `key_id` the key that it is encrypted with (None where it is not), `logbook_sha256` and
    `logbook_size` (bytes) of the logbook that goes along (None where there is none)."""

    format: str
    format_version: int
    made_at: str
    program_version: str
    warehouse_version: int
    sha256: str
    size: int
    rows: dict[str, int]
    loads: int
    marks: int
    key_id: str | None = None
    logbook_sha256: str | None = None
    logbook_size: int = 0

    @property
    def words(self) -> str:
        content = f"{counted(sum(self.rows.values()), 'row')} of {counted(self.loads, 'load')}"
        return f"{content}, made {self.made_at} by fitledger {self.program_version}"


def back_up(warehouse: Path, target: Path, *, into_folder: bool = False) -> tuple[Path, Manifest]:
    """Writes a backup to the file `target`, or into the folder `target` under a name of its own; all of it or none.

    A folder that is there is taken as one; with `into_folder` it is made where it is not. No file is ever replaced.
    Returns where the backup stands and its manifest. Raises UsageError where the file is there already, WarehouseError where
    the warehouse cannot be read or the disk refuses.
    """
    open_reading(warehouse, may_be_older=True).close()
    refuse_unfinished(warehouse)
    try:
        if into_folder or target.is_dir():
            _make_folder(target)
            target = _free_name(warehouse, target)
        _require_free(target)
        note_copy(warehouse, target, "backup")
        try:
            manifest = _copy(warehouse, target)
            while n_forgotten(warehouse) > manifest.marks or is_encrypted(warehouse) != (manifest.key_id is not None):
                # A rider was forgotten or a key was set while the copy was made, and that could not reach it yet.
                target.unlink()
                manifest = _copy(warehouse, target)
        finally:
            if not target.exists():
                note_copy(warehouse, target, "gone")
    except FileExistsError as fault:
        raise _is_there(target) from fault
    except OSError as fault:
        raise WarehouseError(
            f"{target}: the backup could not be written ({fault.strerror or fault}). The warehouse is as it was. Check space "
            "and rights of the folder and try again."
        ) from fault
    return target, manifest


def keep_newest(warehouse: Path, folder: Path, n: int) -> list[Path]:
    """Removes all but the newest `n` backups that were written into a folder under names of their own; returns those.

    Backups of other warehouses, and those that somebody named, stay.
    """
    own = re.compile(re.escape(warehouse.stem) + r"-\d{8}T\d{6}Z(-\d+)?" + re.escape(ENDING))
    noted = [copy.path for copy in known_copies(warehouse) if copy.kind == "backup"]  # in the order in which they were made
    there = [path for path in noted if path.parent == folder.resolve() and own.fullmatch(path.name) and path.is_file()]
    older = there[: max(0, len(there) - n)]
    for path in older:
        path.unlink()
        note_copy(warehouse, path, "gone")
    return older


def _copy(warehouse: Path, target: Path) -> Manifest:
    with working(target.parent) as folder:
        copy = folder / "copy.duckdb"
        copy_out(warehouse, copy)
        copy_logbook(warehouse, copy)
        manifest = describe(copy)
        put_new_in_place(pack(copy, manifest, folder), target)
    return manifest


def n_forgotten(file: Path) -> int:
    """How many marks of forgotten ids a warehouse file holds."""
    opened = open_reading(file, may_be_older=True, may_be_plain=True)
    try:
        is_there = opened.value("SELECT count(*) FROM duckdb_tables() WHERE schema_name = 'raw' AND table_name = 'forgotten'")
        return int(opened.value("SELECT count(*) FROM raw.forgotten")) if is_there else 0
    finally:
        opened.close()


def refuse_unfinished(warehouse: Path) -> None:
    """Raises WarehouseError where another program left changes beside the file that are not in it yet."""
    wal = beside(warehouse, ".wal")
    if wal.exists():
        raise WarehouseError(
            f"{warehouse}: another program has written to this file and left {wal.name} beside it. Nothing was changed. "
            "Open and close the file with that program, so that all is in one file, then try again."
        )


def describe(file: Path) -> Manifest:
    """The manifest of a closed warehouse file that nobody else writes, with the logbook that lies beside it."""
    opened = open_reading(file, may_be_older=True, may_be_plain=True)
    try:
        # A file of an earlier version may lack a table.
        tables = [
            row["name"] for row in opened.rows("SELECT table_name AS name FROM duckdb_tables() WHERE schema_name = 'core'")
        ]
        rows = {name: int(opened.value(f'SELECT count(*) FROM core."{name}"')) for name in sorted(tables)}
        loads = int(opened.value("SELECT count(*) FROM raw.loads"))
        warehouse_version = version_of(opened, file)
    finally:
        opened.close()
    digest, book = _digest(file), Logbook(file).file
    size, key_id = file.stat().st_size, opened.key.id if opened.key else None
    form = FORMAT_VERSION if book.exists() else 2 if key_id else 1
    manifest = Manifest(
        FORMAT, form, stamp(), version("fitledger"), warehouse_version, digest, size, rows, loads, n_forgotten(file), key_id
    )
    return replace(manifest, logbook_sha256=_digest(book), logbook_size=book.stat().st_size) if book.exists() else manifest


def _digest(file: Path) -> str:
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()


def pack(file: Path, manifest: Manifest, folder: Path) -> Path:
    """Writes the packed backup into a working folder, reads it back, and returns where it lies, to be put in place."""
    packed_file = folder / f"packed{ENDING}"
    # What was packed before is the most of the work; the least of it is enough.
    with _new(packed_file) as sink, zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:
        packed.writestr(_MANIFEST, json.dumps(asdict(manifest), indent=2))
        packed.write(file, _WAREHOUSE, compress_type=zipfile.ZIP_STORED if manifest.key_id else None)
        if manifest.logbook_sha256:
            packed.write(Logbook(file).file, _LOGBOOK)
    unpack(packed_file, read_manifest(packed_file), None)
    return packed_file


def read_manifest(backup: Path) -> Manifest:
    """What a backup says of itself.

    Raises UsageError where there is no such file, InputUnusableError where it is no backup or broken, WarehouseError where
    a newer fitledger made it.
    """
    if not backup.is_file():
        raise UsageError(f"{backup}: there is no such file. Name a backup that fitledger backup made.")
    try:
        with zipfile.ZipFile(backup) as packed, packed.open(_MANIFEST) as file:
            content: dict[str, Any] = json.loads(file.read(_MANIFEST_BYTES))
        if content["format"] != FORMAT:
            raise KeyError("format")
        newer = content["format_version"] > FORMAT_VERSION or content["warehouse_version"] > WAREHOUSE_VERSION
        manifest = None if newer else TypeAdapter(Manifest).validate_python(content)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError) as fault:
        raise InputUnusableError(
            f"{backup}: this file is no backup of fitledger, or it is cut off or damaged ({fault}). Nothing was changed. Take "
            "another copy of the backup."
        ) from fault
    except (KeyError, TypeError, ValueError) as fault:
        raise InputUnusableError(
            f"{backup}: this file is no backup of fitledger: it holds no manifest of one. Nothing was changed. Name a file "
            "that fitledger backup made."
        ) from fault
    if manifest is None:
        raise WarehouseError(
            f"{backup}: found a backup of warehouse version {content['warehouse_version']}, expected {WAREHOUSE_VERSION} or "
            "older: a newer fitledger made it. Nothing was changed. Update this fitledger and try again."
        )
    return manifest


def unpack(backup: Path, manifest: Manifest, into: Path | None) -> None:
    """Unpacks the warehouse of a backup into a new file (or, without one, reads it only), and holds it to its manifest; the
    logbook likewise, which comes to lie beside it.

    Raises InputUnusableError where size or digest are not those of the manifest, WarehouseKeyError where it is to be unpacked
    and its key is not there.
    """
    if into:
        _require_key(backup, manifest)
    _unpack_part(backup, _WAREHOUSE, (manifest.size, manifest.sha256), into)
    if manifest.logbook_sha256:
        beside_it = Logbook(into).file if into else None
        _unpack_part(backup, _LOGBOOK, (manifest.logbook_size, manifest.logbook_sha256), beside_it)


def _unpack_part(backup: Path, name: str, told: tuple[int, str], into: Path | None) -> None:
    digest, size = hashlib.sha256(), 0
    try:
        with zipfile.ZipFile(backup) as packed, packed.open(name) as source, _sink(into) as sink:
            # Never more than the manifest tells, whatever the archive would unpack to.
            while size <= told[0] and (chunk := source.read(_CHUNK)):
                digest.update(chunk)
                size += len(chunk)
                sink.write(chunk)
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, RuntimeError) as fault:
        raise InputUnusableError(
            f"{backup}: this backup is damaged ({fault}). Nothing was changed. Take another copy of the backup."
        ) from fault
    if (size, digest.hexdigest()) != told:
        raise InputUnusableError(
            f"{backup}: this backup is damaged: its {name.split('.', maxsplit=1)[0]} has another size or digest (SHA-256) "
            "than its manifest tells. Nothing was changed. Take another copy of the backup."
        )


def _require_key(backup: Path, manifest: Manifest) -> None:
    if manifest.key_id is None:
        return
    keys, place = keys_in_force(), place_in_force()
    if keys is None or place is None:
        raise WarehouseKeyError(
            f"{backup}: this backup was made with key {manifest.key_id}, and no key is set. Nothing was changed. Name the "
            "place of that key in fitledger.toml ([encryption] key_file)."
        )
    if manifest.key_id not in {key.id for key in keys.all}:
        raise WarehouseKeyError(
            f"{backup}: this backup was made with key {manifest.key_id}, and the present one is {keys.present.id} "
            f"({place.words}). Nothing was changed. Add that key as a further line there; without it nobody reads this backup."
        )


def _sink(into: Path | None) -> IO[bytes]:
    return Path(os.devnull).open("wb") if into is None else _new(into)


def _new(path: Path) -> IO[bytes]:
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY), "wb")


def _make_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder}: this is a file, expected a folder. Nothing was written. Name another folder.")
    if not folder.exists():
        _require_parent(folder)
        folder.mkdir(OWNER_ONLY | 0o100, exist_ok=True)


def _free_name(warehouse: Path, folder: Path) -> Path:
    """A name that tells the moment; numbered where two backups are made within one second."""
    name = f"{warehouse.stem}-{stamp()}"
    names = (folder / f"{name}{number}{ENDING}" for number in ("", *(f"-{n}" for n in range(2, 1000))))
    return next(path for path in names if not path.exists())


def _require_free(target: Path) -> None:
    if target.exists():
        raise _is_there(target)
    _require_parent(target)


def _require_parent(target: Path) -> None:
    if not target.parent.is_dir():
        raise UsageError(f"{target.parent}: there is no such folder. Nothing was written. Make it, or name another one.")


def _is_there(target: Path) -> UsageError:
    return UsageError(f"{target}: this file is there already. Nothing was written. Name another file, or a folder.")
