"""Puts the warehouse of a backup in place: checked before, in one step, and the one it replaces is kept beside it."""

import os
import shutil
from dataclasses import dataclass
from itertools import chain, count
from pathlib import Path
from typing import Literal

from etl.keeping.backup import Manifest, describe, n_forgotten, read_manifest, refuse_unfinished, unpack
from etl.keeping.copies import note_copy, stamp
from etl.keeping.encrypt import bring_under_key
from etl.keeping.forget import take_out_marked
from etl.keeping.logbook import fits_in, forget_fits, is_readable
from etl.keeping.marks import carry_marks, marks_of
from etl.keeping.migrate import bring_up_to_date
from shared.errors import InputUnusableError, UsageError, WarehouseDamagedError, WarehouseError
from shared.files import beside, held, put_in_place
from shared.lakes.places import refuse_lake
from shared.logbook.store import Logbook
from shared.settings import Settings
from shared.warehouse import open_loading, open_reading
from shared.working import working


@dataclass(frozen=True)
class Restored:
    """`kept` is the warehouse that was replaced, under its new name; None where there was none.

    `n_forgotten` riders were forgotten since the backup was made, and taken out of it again; None where the replaced
    warehouse was so damaged that it could not tell whom. `logbook`: what became of the logbook: `restored` from the backup,
    `kept`, since the present one is whole and no load replaces it, or `none`.
    """

    manifest: Manifest
    kept: Path | None
    n_forgotten: int | None
    logbook: Literal["restored", "kept", "none"] = "none"


def restore(
    backup: Path, warehouse: Path, *, replace: bool = False, settings: Settings | None = None, wait_seconds: float = 0
) -> Restored:
    """Makes `warehouse` what it was when the backup was made, brought up to date where an earlier fitledger made it.

    Raises UsageError where there is a warehouse and `replace` is false, InputUnusableError where the backup is damaged or
    none, WarehouseError where a newer fitledger made it or the disk refuses. Nothing is changed then.
    """
    refuse_lake(warehouse, "a backup is not put into", "Bring the backup back into a file (--warehouse FILE.duckdb).")
    manifest = read_manifest(backup)
    try:
        warehouse.parent.mkdir(parents=True, exist_ok=True)
        with held(warehouse, wait_seconds):
            if warehouse.exists() and not replace:
                raise UsageError(
                    f"{warehouse}: there is a warehouse here. Nothing was changed. Add --replace to put the backup in its "
                    "place (the present one is kept beside it), or name another file with --warehouse."
                )
            refuse_unfinished(warehouse)
            with working(warehouse.parent) as folder:
                return _put_back(backup, manifest, warehouse, folder, settings or Settings())
    except OSError as fault:
        raise WarehouseError(
            f"{warehouse}: the disk refused ({fault.strerror or fault}). The warehouse is as it was. Check space and rights of "
            f"{warehouse.parent} and try again."
        ) from fault


def _put_back(backup: Path, manifest: Manifest, warehouse: Path, folder: Path, settings: Settings) -> Restored:
    staged = folder / "restored.duckdb"
    unpack(backup, manifest, staged)
    content = describe(staged)
    if (content.warehouse_version, content.rows, content.loads) != (manifest.warehouse_version, manifest.rows, manifest.loads):
        raise InputUnusableError(
            f"{backup}: the warehouse in this backup does not hold what its manifest tells. Nothing was changed. Take another "
            "copy of the backup."
        )
    bring_under_key(staged, folder)
    bring_up_to_date(staged, settings)
    n_again = _forget_again(staged, warehouse, settings)
    kept = None
    if warehouse.exists():
        shutil.copymode(warehouse, staged)
        kept = _keep(warehouse)
    put_in_place(staged, warehouse)
    return Restored(manifest, kept, n_again, _restore_logbook(staged, warehouse))


def _restore_logbook(staged: Path, warehouse: Path) -> Literal["restored", "kept", "none"]:
    """The logbook of the backup takes its place where none stands that can be read; a damaged one is kept beside."""
    own, present = Logbook(staged).file, Logbook(warehouse).file
    if is_readable(warehouse):
        return "kept"
    if not own.exists():
        return "none"
    if present.exists():
        present.rename(_free(present))
    put_in_place(own, present)
    return "restored"


def _forget_again(staged: Path, warehouse: Path, settings: Settings) -> int | None:
    """Takes out whom the present warehouse has forgotten: a backup that forgetting could not reach brings nobody back."""
    try:
        if not warehouse.exists() or not n_forgotten(warehouse):
            return 0
        present = open_reading(warehouse, may_be_older=True, may_be_plain=True)
    except WarehouseError:
        return None  # damaged, without its key, or no warehouse, which is why it is replaced
    try:
        marks = marks_of(present, warehouse)
        if marks is None:
            return 0
        with open_loading(staged) as opened:
            carry_marks(present, opened)
            forget_fits(staged, marks.known(fits_in(staged)))
            return take_out_marked(opened, marks, settings)
    except WarehouseDamagedError:
        return None
    finally:
        present.close()


def _keep(warehouse: Path) -> Path:
    """Gives the present file a second name, which stays when the restored one takes the first."""
    kept = _free(warehouse)
    note_copy(warehouse, kept, "replaced")
    try:
        os.link(warehouse, kept)
    except OSError:  # a file system without links
        shutil.copy2(warehouse, kept)
    return kept


def _free(path: Path) -> Path:
    """A name beside the file that says when it was put away, and which one it is of those put away within one second."""
    name = f".before-{stamp()}"
    names = chain([name], (f"{name}-{n}" for n in count(2)))
    return next(free for one in names if not (free := beside(path, one)).exists())
