"""Finds the files of an export: by their names, in the order of their names, each with its mapping and its bounds."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from os import scandir
from pathlib import Path

from etl.mapping import MAPPING_FILE, Mapping, is_named, load_mapping
from etl.source import FoundFile, RefusedFileError, require_bytes
from shared.catalogue import Table, catalogue
from shared.errors import UsageError
from shared.paths import on_one_line
from shared.settings_running import Reading
from shared.working import PLACE

READABLE = (".csv", ".csv.gz", ".parquet", ".xlsx", ".jsonl", ".zip")
# Known data forms that are told rather than passed over.
ANNOUNCED = (*READABLE, ".xls", ".xlsm", ".ods", ".json", ".jsonl.gz")
# Told only where the name is a table's or a mapping's: such files are often notes.
MAYBE = (".tsv", ".txt", ".dat", ".asc")


def find_files(
    paths: Iterable[Path | FoundFile], mapping: Path | None = None, reading: Reading | None = None
) -> list[FoundFile]:
    """Every data file named or in a named folder, in the order of their names.

    `mapping` holds for all of them; without, a folder's own mapping.toml holds for its files. A FoundFile stands for itself.
    `reading` bounds each of them, and how many a folder may hold.
    Raises UsageError where a path does not exist, a folder holds too many or a mapping is wrong.
    """
    common = load_mapping(mapping) if mapping else None
    reading = reading or Reading()
    files: list[FoundFile] = []
    for path in paths:
        if isinstance(path, FoundFile):
            files.append(path)
        elif path.is_dir():
            own = common or _mapping_of(path)
            for file in sorted(_exports_within(path, own, reading)):
                name = on_one_line(file.relative_to(path).as_posix())
                files.append(FoundFile(file, name, mapping=own, reading=reading))
        elif path.is_file():
            files.append(FoundFile(path, on_one_line(path.name), mapping=common))
        elif path.exists():
            raise UsageError(f"{path}: this is no file and no folder. Name a folder of exports, or files of it.")
        else:
            raise UsageError(f"{path}: no such file or folder. Name a folder of exports, or files of it.")
    return [_bounded(file, reading) for file in files]


def _exports_within(folder: Path, mapping: Mapping | None, reading: Reading) -> Iterator[Path]:
    """The files of exports in a folder and those below it, links to folders left out.

    Looks at one entry after the other, so that a folder of a million is refused before it is held.
    Raises UsageError where there are more files, or folders, than the settings admit.
    """
    n_found, folders = 0, [folder]
    for inner in folders:
        try:
            with scandir(inner) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        # Where the warehouse lies among the exports, the files of programs at work do too.
                        if entry.name != PLACE:
                            folders.append(inner / entry.name)
                    elif is_export(entry.name, mapping) and (inner / entry.name).is_file():
                        n_found += 1
                        yield inner / entry.name
                    if max(n_found, len(folders)) > reading.most_files:
                        raise UsageError(
                            f"{folder}: holds more than {reading.most_files:,} files of exports, or as many folders. Name a "
                            "folder of fewer, pack them as .zip, or raise [reading] most_files in the settings."
                        )
        except (PermissionError, FileNotFoundError):
            if inner == folder:
                raise


def _bounded(file: FoundFile, reading: Reading) -> FoundFile:
    """The file with the bounds that hold for it; refused where it is larger, before anything of it is read."""
    if file.reading is not reading:
        file = replace(file, reading=reading)
    try:
        require_bytes(file.name, file.path.stat().st_size, reading)
    except RefusedFileError as refusal:
        return replace(file, refusal=str(refusal))
    except OSError:
        pass  # gone since; whoever opens it says so
    return file


def mapping_texts(files: Iterable[FoundFile]) -> list[bytes]:
    """The text of each mapping that holds for some of the files, for what knows a load again."""
    return list(dict.fromkeys(file.mapping.text for file in files if file.mapping))


def _mapping_of(folder: Path) -> Mapping | None:
    path = folder / MAPPING_FILE
    return load_mapping(path) if path.exists() or path.is_symlink() else None


def is_export(name: str, mapping: Mapping | None) -> bool:
    """Whether a file of this name is taken for an export, or told to be none that can be read."""
    if mapping and mapping.is_ignored(name):
        return False
    return bool(form_of(name, ANNOUNCED) or (form_of(name, MAYBE) and (table_of(name) or _is_mapped(name, mapping))))


def _is_mapped(name: str, mapping: Mapping | None) -> bool:
    return mapping is not None and any(
        is_named(name, [*table.files, *(table.log.files if table.log else [])]) for table in mapping.tables.values()
    )


def form_of(name: str, forms: tuple[str, ...]) -> str | None:
    """The longest of the forms' endings that the name has."""
    lower = name.lower()
    return next((form for form in sorted(forms, key=len, reverse=True) if lower.endswith(form)), None)


def table_of(name: str) -> Table | None:
    """The table that a file or sheet is named like."""
    stem = name.rpartition("/")[2].strip().lower()
    for table in catalogue().values():
        if re.match(rf"{table.name}(?:[-_.]|$)", stem):
            return table
    return None


def own_name(file: FoundFile) -> str:
    """The name of a file without its folders, or of a sheet."""
    return file.sheet or file.name.rpartition("/")[2]


def book_name(file: FoundFile) -> str:
    """The name of the workbook that a sheet is of, as it was found."""
    return file.name.removesuffix(f", sheet {on_one_line(file.sheet)}")


def place_of(file: FoundFile) -> dict[str, str]:
    """What the place of a file tells, by the names that a mapping gives it."""
    path = book_name(file) if file.sheet else file.name
    folder, _, own = path.rpartition("/")
    form = form_of(own, (*ANNOUNCED, *MAYBE)) or ""
    return {"@path": path, "@file": own[: len(own) - len(form)], "@folder": folder.rpartition("/")[2], "@sheet": file.sheet}
