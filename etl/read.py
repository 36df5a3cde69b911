"""Opens each file of an export as a source: form, encoding, separator, columns, mapping.

Nothing is guessed about units or signs; a file that cannot be used is refused with one sentence, and no other file.
"""

import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from etl.archive import unpack_gzip, unpack_zip
from etl.columns import (
    Matched,
    log_sources,
    mapped_columns,
    mapped_sources,
    match_mapped,
    match_native,
    places_of,
    position_of,
)
from etl.csv_form import line_starts, lines_of_bytes, open_csv
from etl.derived import made_columns
from etl.find import (
    ANNOUNCED,
    MAYBE,
    READABLE,
    book_name,
    find_files,
    form_of,
    is_export,
    mapping_texts,
    own_name,
    place_of,
    table_of,
)
from etl.jsonl_form import read_jsonl
from etl.known_words import with_known_words
from etl.mapping import MAPPING_FILE, LogMapping, TableMapping, is_named, load_mapping
from etl.mending import (
    REJECT_NO,
    changes_beside,
    changes_name,
    is_of_changes,
    is_to_mend,
    layout_of,
    mended_log,
    mended_source,
    taken_apart,
)
from etl.parquet_form import check_parquet, parquet_headers
from etl.relation import forget_ragged, gives_other_rows, source_relation
from etl.sheet_form import open_workbook, read_sheet
from etl.source import FoundFile, RefusedFileError, SourceFile
from shared.catalogue import Table, catalogue
from shared.paths import is_sayable, on_one_line
from shared.warehouse import Warehouse

__all__ = [
    "READABLE", "REJECT_NO", "FoundFile", "RefusedFileError", "SourceFile", "expand", "find_files",
    "lines_of", "lines_of_bytes", "mapping_texts", "open_source", "open_unmatched", "physical_lines",
    "source_relation",
]  # fmt: skip


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
    return [part for file in opened for part in _by_table(file, opened)]


# Logs that were opened, by what they are and what they are read for.
Logs = dict[tuple[Path, str, str], SourceFile]


def open_source(file: FoundFile, scratch: Path, warehouse: Warehouse, logs: Logs | None = None) -> SourceFile:
    """Detects form, encoding, separator and columns of one file, or takes them from its mapping.

    `scratch` takes a UTF-8 copy where the file cannot be read as it is; `logs` keeps the log that many files share.
    Raises RefusedFileError with the sentence that tells why the file cannot be used.
    """
    if file.refusal:
        raise RefusedFileError(file.refusal)
    table = file.table or table_of(file.sheet or file.name)
    if table is None:
        raise RefusedFileError(_no_table_words(file))
    try:
        return _matched(_opened(file, table, scratch, warehouse), file, scratch, warehouse, {} if logs is None else logs)
    except OSError as fault:
        raise RefusedFileError(
            f"{file.name}: cannot be read ({fault.strerror or fault}). Check the file and its rights."
        ) from fault


def open_unmatched(file: FoundFile, scratch: Path, warehouse: Warehouse) -> SourceFile:
    """A file of which nobody knows the table yet: its form and headings. Raises RefusedFileError as `open_source` does."""
    if file.refusal:
        raise RefusedFileError(file.refusal)
    return _opened(file, next(iter(catalogue().values())), scratch, warehouse)


def physical_lines(source: SourceFile, records: list[int], ragged_starts: set[int], warehouse: Warehouse) -> dict[int, int]:
    """The line of the file (its header is 1), or the row of the sheet, at which each record (1, 2, …) starts.

    A Parquet file has no lines: its records stand for themselves.

    `ragged_starts` are the lines of records that the reader set aside and did not number.
    """
    given = dict.fromkeys(records, 0)
    own = {record: record for record in given}
    if gives_other_rows(source) and records:
        relation, parameters = source_relation(source, source.table.column_names, numbered=True)
        forget_ragged(warehouse)
        numbers = warehouse.arrays(f"SELECT source_record FROM ({relation})", parameters)["source_record"]
        own = {record: int(numbers[record - 1]) for record in given}
    starts = lines_of(source, set(own.values()), ragged_starts)
    return {record: starts[number] for record, number in own.items() if number in starts}


def lines_of(source: SourceFile, records: set[int], ragged_starts: set[int]) -> dict[int, int]:
    """The same by the file's own records (1, 2, …), of which its mapping may make other rows."""
    if source.form == ".parquet" or not records:
        return {record: record for record in records}
    if source.lines is not None:
        return {record: source.lines[record - 1] for record in records}
    return line_starts(source, records, ragged_starts)


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


def _by_table(file: FoundFile, others: list[FoundFile]) -> Iterator[FoundFile]:
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
        if _is_for(file, name, mapped):
            n_found += 1
            log = _log_of(file, mapped, others)
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


def _is_for(file: FoundFile, name: str, mapped: TableMapping) -> bool:
    if file.sheet and mapped.sheets:
        return is_named(file.sheet, mapped.sheets) and (not mapped.files or is_named(book_name(file), mapped.files))
    if mapped.files:
        return is_named(own_name(file), mapped.files)
    native = table_of(file.sheet or file.name)
    return not mapped.sheets and native is not None and native.name == name


def _log_of(file: FoundFile, mapped: TableMapping, others: list[FoundFile]) -> FoundFile | None:
    """The file of changes of a file of captures: in the same folder or workbook, or else the only one in the export."""
    if not mapped.log or not mapped.log.files:
        return None
    place = book_name(file) if file.sheet else file.name.rpartition("/")[0]
    named = [other for other in others if is_named(own_name(other), mapped.log.files) and other.mapping is file.mapping]
    logs = [other for other in named if (other.name.startswith(place) if place else "/" not in other.name)] or named
    return replace(logs[0], table_mapping=mapped) if len(logs) == 1 else None


def _opened(file: FoundFile, table: Table, scratch: Path, warehouse: Warehouse) -> SourceFile:
    """A source whose columns are not matched yet."""
    base = SourceFile(file.path, file.name, table, ".csv", (), {}, (), file.content, mapping=file.mapping, reading=file.reading)
    base = replace(base, places=(place_of(file),), hook=file.hook, cell_form=file.cell_form)
    form = ".csv" if file.hook else ".xlsx" if file.sheet else form_of(file.name, (*ANNOUNCED, *MAYBE))
    if file.workbook:
        path, headers, lines = read_sheet(file.workbook, file.sheet, file.name, scratch, file.text_form)
        return replace(base, form=".xlsx", headers=headers, readable_path=path, lines=lines)
    if form in {".jsonl", ".jsonl.gz"}:
        path, headers, lines = read_jsonl(file.content, file.name, scratch, file.reading)
        return replace(base, form=".jsonl", headers=headers, readable_path=path, lines=lines)
    if form == ".parquet":
        return replace(base, form=".parquet", headers=parquet_headers(file, warehouse))
    if form in {".csv", ".csv.gz"} or (form in MAYBE and file.table_mapping):
        text = open_csv(file, file.content, scratch)
        return replace(
            base, headers=text.headers, readable_path=text.path, encoding=text.encoding, separator=text.separator,
            skip_lines=text.skip_lines,
        )  # fmt: skip
    raise RefusedFileError(
        f"{file.name}: this form of file is not read. Expected {', '.join(READABLE)}. Export it in one of these forms."
    )


def _matched(source: SourceFile, file: FoundFile, scratch: Path, warehouse: Warehouse, logs: Logs) -> SourceFile:
    headers, mended = taken_apart(source.headers)
    if mended:
        source = mended_source(replace(source, headers=headers), mended, warehouse)
    elif file.table_mapping:
        source = replace(source, table_mapping=file.table_mapping)
    source = with_known_words(source)
    mapped = source.table_mapping
    if mapped is None:
        matched = match_native(source.name, source.table, source.headers)
        source = replace(source, cells=matched.cells, unknown=matched.unknown)
    else:
        matched = match_mapped(source.name, source.table, source.headers, mapped)
        made = tuple(name for name in made_columns(mapped) if name not in source.headers)
        source = replace(source, used_places=_taken(places_of(mapped), source), made=made)
        log = None
        if mapped.log and mapped.log.files:
            place = (file.log.content, file.log.name, source.table.name) if file.log else (file.path, "", "")
            log = logs.get(place) or logs.setdefault(place, _opened_log(file, source, mapped, mapped.log, scratch, warehouse))
        source = replace(source, cells=matched.cells, unknown=() if mended else _unknown_to_all(matched, file), log=log)
    if mended:
        source = replace(source, cells={**source.cells, REJECT_NO: mended.reject_cell})
    source = replace(source, layout=layout_of(source))
    if source.form == ".parquet":
        check_parquet(source, warehouse)
    return source


def _unknown_to_all(matched: Matched, file: FoundFile) -> tuple[str, ...]:
    """The columns that no table of the mapping takes from this file."""
    mapping = file.mapping
    used: set[str] = set()
    for name, mapped in mapping.tables.items() if mapping else ():
        if _is_for(file, name, mapped):
            used |= {
                source.strip().lower() for source in (*mapped_sources(mapped), *(log_sources(mapped.log) if mapped.log else []))
            }
            used |= mapped_columns(mapped)
    return tuple(header for header in matched.unknown if header.lower() not in used)


def _opened_log(
    file: FoundFile, source: SourceFile, mapped: TableMapping, changes: LogMapping, scratch: Path, warehouse: Warehouse
) -> SourceFile:
    if file.log is None:
        raise RefusedFileError(
            f"{file.name}: the changes that its rows follow from are not there. Nothing of this file was loaded. Put the file "
            f"{changes_name(own_name(file))} beside it, as it was written with it, and load both."
        )
    if file.log.refusal:
        raise RefusedFileError(file.log.refusal)
    log = _opened(file.log, source.table, scratch, warehouse)
    if source.mended:
        log = mended_log(log, source)
    position_of(log.name, log.headers, log_sources(changes))
    relation, parameters = source_relation(log, source.table.column_names)
    forget_ragged(warehouse)
    warehouse.rows(f"SELECT count(*) FROM ({relation})", parameters)
    if log.form != ".parquet" and warehouse.value("SELECT count(*) FROM ragged_rows"):
        raise RefusedFileError(
            f"{file.name}: its log of changes {log.name} holds rows whose cells cannot be told apart. Nothing of this file "
            "was loaded. Check the separators and quotes of the log and load again."
        )
    return replace(log, table_mapping=mapped, used_places=_taken(places_of(changes), log))


def _taken(places: tuple[str, ...], source: SourceFile) -> tuple[str, ...]:
    """The places that are not columns of the file itself, as they are of a file to mend, which lies elsewhere."""
    missing = tuple(place for place in places if place not in source.headers)
    if missing and source.mended:
        raise RefusedFileError(
            f"{source.name}: the column {missing[0]} is missing, which tells where its rows came from. Nothing of this file "
            "was loaded. Put it back as it was written."
        )
    return missing


def _no_table_words(file: FoundFile) -> str:
    names = ", ".join(catalogue())
    if file.sheet:
        return (
            f"{file.name}: the name of the sheet is none of the tables'. Expected one of {names}. Rename the sheet, or name "
            "it in a mapping, and load again."
        )
    return (
        f"{file.name}: its name is none of the tables'. Expected one of {names}, alone or followed by -, _ or . "
        "and anything. Rename the file, or name it in a mapping, and load again."
    )
