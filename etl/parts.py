"""Takes files apart: archives, the sheets of workbooks, and each file once for every table that its mapping makes of it."""

import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from etl.archive import unpack_gzip, unpack_zip
from etl.find import ANNOUNCED, book_name, form_of, is_export, own_name, table_of
from etl.mapping import MAPPING_FILE, TableMapping, is_named, load_mapping
from etl.mending import changes_beside, is_of_changes, is_to_mend
from etl.sheet_form import open_workbook
from etl.source import FoundFile, RefusedFileError
from shared.catalogue import catalogue
from shared.paths import is_sayable, on_one_line

# The files that a mapping of a table names as its logs, by that mapping: looked for once, and not for every file.
_Named = dict[int, list[FoundFile]]


def expand(
    files: Iterable[FoundFile], scratch: Path, between: Callable[[list[FoundFile]], list[FoundFile]] | None = None
) -> list[FoundFile]:
    """Each table of each file on its own: archives unpacked, workbooks by their sheets, mapped files by their tables.

    What cannot be taken apart stands in the list with the sentence that refuses it. `between` is given files and sheets before
    the mapping makes tables of them.
    """
    opened = [part for file in files for part in _unpacked(file, scratch)]
    if between:
        opened = between(opened)
    named: _Named = {}
    return [part for file in opened for part in _by_table(file, opened, named)]


def _unpacked(file: FoundFile, scratch: Path) -> Iterator[FoundFile]:
    """A file, or what it holds: the files of an archive, the sheets of a workbook."""
    form = form_of(file.name, ANNOUNCED)
    if file.refusal:
        yield file
        return
    try:
        if form == ".zip":
            yield from _members(file, scratch)
        elif form == ".xlsx":
            yield from _sheets(file, scratch)
        elif form in {".csv.gz", ".jsonl.gz"}:
            yield replace(file, unpacked=unpack_gzip(file.content, file.name, scratch, file.reading))
        elif is_sayable(file.content):
            yield file
        else:
            yield replace(file, unpacked=_linked(file.content, scratch))
    except RefusedFileError as refusal:
        yield replace(file, refusal=str(refusal))
    except OSError as fault:
        words = f"{file.name}: cannot be read ({fault.strerror or fault}). Check the file and its rights."
        yield replace(file, refusal=words)


def _linked(path: Path, scratch: Path) -> Path:
    """The same file under a name of ours, where its own cannot be told to the set-based reader."""
    link = Path(tempfile.mkdtemp(dir=scratch)) / "linked"
    link.symlink_to(path.absolute())
    return link


def _members(file: FoundFile, scratch: Path) -> Iterator[FoundFile]:
    members = unpack_zip(file.content, file.name, scratch, file.reading)
    if not any(is_export(member, file.mapping) for member, _ in members):
        raise RefusedFileError(
            f"{file.name}: holds no file of exports. Expected files named like the tables ({', '.join(catalogue())}). "
            "Pack those and load again."
        )
    mapping = file.mapping
    for member, path in members:
        if mapping is None and member == MAPPING_FILE:
            mapping = load_mapping(path, f"{file.name}/{MAPPING_FILE}")
    for member, path in members:
        if is_export(member, mapping):
            name = f"{file.name}/{on_one_line(member)}"
            yield from _unpacked(replace(file, name=name, unpacked=path, mapping=mapping), scratch)


def _sheets(file: FoundFile, scratch: Path) -> Iterator[FoundFile]:
    book = open_workbook(file.content, file.name, scratch)
    for sheet in book.sheets:
        if not (file.mapping and file.mapping.is_ignored(sheet)):
            yield replace(file, name=f"{file.name}, sheet {on_one_line(sheet)}", workbook=book, sheet=sheet)


def _by_table(file: FoundFile, others: list[FoundFile], named: _Named) -> Iterator[FoundFile]:
    """A file once for each table that its mapping makes of it; not at all where it only serves as another's log."""
    if not file.refusal and is_to_mend(file):
        if not is_of_changes(own_name(file)):
            yield replace(file, mapping=None, log=changes_beside(file, others))
        return
    if file.refusal or file.mapping is None:
        yield file
        return
    n_found = 0
    for name, mapped in file.mapping.tables.items():
        if is_for(file, name, mapped):
            n_found += 1
            log = _log_of(file, mapped, others, named)
            refusal = ""
            if mapped.log and mapped.log.files and log is None:
                refusal = (
                    f"{file.name}: the log of changes that the mapping names ({', '.join(mapped.log.files)}) is not there. "
                    "Nothing of this file was loaded. Put the log beside it and load again."
                )
            yield replace(file, table=catalogue()[name], table_mapping=mapped, log=log, refusal=refusal)
    is_log = any(t.log and is_named(own_name(file), t.log.files) for t in file.mapping.tables.values())
    if not n_found and not is_log:
        yield file


def is_for(file: FoundFile, name: str, mapped: TableMapping) -> bool:
    if file.sheet and mapped.sheets:
        return is_named(file.sheet, mapped.sheets) and (not mapped.files or is_named(book_name(file), mapped.files))
    if mapped.files:
        return is_named(own_name(file), mapped.files)
    native = table_of(file.sheet or file.name)
    return not mapped.sheets and native is not None and native.name == name


def _log_of(file: FoundFile, mapped: TableMapping, others: list[FoundFile], named: _Named) -> FoundFile | None:
    """The file of changes of a file of captures: in the same folder or workbook, or else the only one in the export."""
    if not mapped.log or not mapped.log.files:
        return None
    if id(mapped) not in named:
        named[id(mapped)] = [o for o in others if o.mapping is file.mapping and is_named(own_name(o), mapped.log.files)]
    place = book_name(file) if file.sheet else file.name.rpartition("/")[0]
    found = named[id(mapped)]
    logs = [other for other in found if (other.name.startswith(place) if place else "/" not in other.name)] or found
    return replace(logs[0], table_mapping=mapped) if len(logs) == 1 else None
