"""What DuckDB's faults mean to a reader: by their type first, and where one type means several things by DuckDB's own words.

The types are known by their names, since only shared/warehouse.py imports DuckDB.
"""

import re
from pathlib import Path
from typing import Final

from shared.errors import NoMemoryError, WarehouseBusyError, WarehouseDamagedError, WarehouseError
from shared.lakes.places import is_lake
from shared.memory import MB, Bound

# A fault of reading and writing is told in words alone: these are DuckDB 1.5's.
_LOCKED: Final = ("Could not set lock on file",)
_ALTERED: Final = ("AES tag",)  # of a block that is encrypted
_DAMAGE: Final = ("Corrupt database file", "Could not read enough bytes", "Could not read all")
# A file of a lake's folder that is not there.
_GONE: Final = re.compile(
    r"([\w.-]+\.parquet)(?=.*(?:No such file|does not exist|No files found))|No files found.*?([\w.-]+\.parquet)", re.S
)
_FULL: Final = ("Could not write", "No space")
_SPILT: Final = ("max_temp_directory_size", "temp_directory")


def fault_of_running(fault: Exception, path: Path | None, memory: Bound | None = None) -> WarehouseError | None:
    """The sentence for a fault of memory, disk or file; None where the statement itself is at fault. `memory`: what a load
    may hold, and of what that is a part."""
    where = path or "The warehouse"
    if _is(fault, "OutOfMemoryException", "MemoryError"):
        return NoMemoryError(f"{where}: {_memory_words(fault, memory)}")
    if _is_damage(fault):
        return _damaged(where, fault)
    if is_lake(path) and (gone := _GONE.search(str(fault))):
        return WarehouseDamagedError(
            f"{where}: a data file of this lake is missing ({gone.group(1) or gone.group(2)}). Nothing was changed. Put it "
            "back from a backup of the lake's folder; where somebody was forgotten at this very moment, ask again. fitledger "
            "never removes a file that the catalogue names."
        )
    # A commit that the disk refuses is reported as a transaction's fault, and what follows it as a fatal one.
    if _is(fault, "IOException", "FatalException") or _says(fault, _FULL):
        return WarehouseError(
            f"{where}: the disk refused ({_first_line(fault)}). Nothing was changed. Check space and rights of the "
            "folder and try again."
        )
    return None


def _memory_words(fault: Exception, memory: Bound | None) -> str:
    if _says(fault, _SPILT):
        return (
            "what did not fit into memory found no room on the disk either. Nothing was changed. Free some space in the folder "
            "of the warehouse and try again."
        )
    if memory is None:
        return "no memory is left for this step. Nothing was changed. End other programs and try again."
    return (
        f"this step needs more than the {memory.n_bytes // MB:,} MB of memory that a load may take here ({memory.of}). Nothing "
        "was changed. End other programs, give the container or service more, or set [reading] loading_memory_mb in the "
        "settings to more than that; or load fewer files at a time."
    )


def fault_of_opening(fault: Exception, path: Path, duckdb_version: str) -> WarehouseError:
    """The sentence for a file that cannot be opened: damaged, held by another program, of another version, or no warehouse."""
    if _is_damage(fault):
        return _damaged(path, fault)
    if _is(fault, "IOException") and _says(fault, _LOCKED):
        return WarehouseBusyError(f"{path}: another program holds this file for writing. Close it there, then try again.")
    if "version" in str(fault).lower() and not _says(fault, ("valid DuckDB",)):
        return WarehouseError(
            f"{path}: written by another version of DuckDB ({_first_line(fault)}). Expected one that "
            f"DuckDB {duckdb_version} reads. Use the fitledger that wrote it, or load the exports into a new file."
        )
    return WarehouseError(
        f"{path}: this file is no fitledger warehouse, or its beginning is damaged ({_first_line(fault)}). Name another file "
        "with --warehouse, bring a backup back with fitledger restore, or load the exports into a new file."
    )


def _is_damage(fault: Exception) -> bool:
    """Whether the bytes of the file are not those that were written: a checksum does not match, or the file is cut off."""
    is_altered = _is(fault, "SerializationException") or _says(fault, _ALTERED)
    # DuckDB 2 tells damage as a fault of no kind of its own.
    is_of_files = _is(fault, "IOException") or type(fault).__name__ == "Error"
    return is_altered or (is_of_files and _says(fault, _DAMAGE))


def _damaged(where: Path | str, fault: Exception) -> WarehouseDamagedError:
    what = "an encrypted block is not as it was written" if _says(fault, _ALTERED) else _first_line(fault)
    return WarehouseDamagedError(
        f"{where}: this file is damaged ({what}). Nothing was changed. Bring a backup back with fitledger "
        "restore FILE --replace, which keeps the damaged file beside it; fitledger doctor names the newest backup. Have the "
        "disk looked at."
    )


def _is(fault: Exception, *kinds: str) -> bool:
    return any(kind.__name__ in kinds for kind in type(fault).__mro__)


def _says(fault: Exception, words: tuple[str, ...]) -> bool:
    return any(word in str(fault) for word in words)


def _first_line(fault: BaseException) -> str:
    return str(fault).splitlines()[0]
