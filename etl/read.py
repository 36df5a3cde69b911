"""Opens each file of an export as a source: form, encoding, separator, columns, mapping.

Nothing is guessed about units or signs; a file that cannot be used is refused with one sentence, and no other file.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

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
from etl.csv_form import Text, line_starts, lines_of_bytes, open_csv
from etl.derived import made_columns
from etl.find import (
    ANNOUNCED,
    MAYBE,
    READABLE,
    find_files,
    form_of,
    mapping_texts,
    own_name,
    place_of,
    table_of,
)
from etl.jsonl_form import read_jsonl
from etl.known_words import with_known_words
from etl.mapping import LogMapping, TableMapping
from etl.mending import (
    REJECT_NO,
    changes_name,
    layout_of,
    mended_log,
    mended_source,
    taken_apart,
)
from etl.parquet_form import check_parquet, parquet_headers
from etl.parts import expand, is_for
from etl.relation import forget_ragged, source_relation
from etl.sheet_form import read_sheet
from etl.source import FoundFile, RefusedFileError, SourceFile
from shared.catalogue import Table, catalogue
from shared.warehouse import Warehouse

__all__ = [
    "READABLE", "REJECT_NO", "FoundFile", "RefusedFileError", "Seen", "SourceFile", "expand", "find_files",
    "lines_of", "lines_of_bytes", "mapping_texts", "open_source", "open_unmatched", "source_relation",
]  # fmt: skip


@dataclass
class Seen:
    """What was found of files before, and need not be for the next: logs by what they are and are read for; texts of which
    several tables are made; columns by the headings and what they are matched with."""

    logs: dict[tuple[Path, str, str], SourceFile] = field(default_factory=dict)
    texts: dict[tuple[object, ...], Text] = field(default_factory=dict)
    columns: dict[tuple[str, int, tuple[str, ...]], Matched | str] = field(default_factory=dict)
    named: dict[int, tuple[tuple[str, ...], tuple[str, ...]]] = field(default_factory=dict)

    def text_of(self, file: FoundFile, scratch: Path) -> Text:
        """A CSV file, opened once for all tables that a mapping makes of it."""
        form = file.text_form
        key = (file.content, form.encoding, form.separator, form.skip_lines, form.heading_rows)
        return self.texts.get(key) or self.texts.setdefault(key, open_csv(file, file.content, scratch))

    def named_by(self, mapped: TableMapping) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """What a mapping takes from the places of its files, and what the loader makes of other rows for it."""
        if id(mapped) not in self.named:
            self.named[id(mapped)] = (places_of(mapped), made_columns(mapped))
        return self.named[id(mapped)]

    def columns_of(self, source: SourceFile) -> Matched:
        """The columns of a file, matched or refused once for all with these headings. Raises RefusedFileError where refused."""
        mapped = source.table_mapping
        key = (source.table.name, id(mapped), source.headers)
        if key not in self.columns:
            args = (source.name, source.table, source.headers)
            try:
                self.columns[key] = match_mapped(*args, mapped) if mapped else match_native(*args)
            except RefusedFileError as refusal:
                # Every sentence begins with the name of its file: what follows is the same for all.
                self.columns[key] = str(refusal).removeprefix(source.name)
        found = self.columns[key]
        if isinstance(found, str):
            raise RefusedFileError(source.name + found)
        return found


def open_source(file: FoundFile, scratch: Path, warehouse: Warehouse, seen: Seen | None = None) -> SourceFile:
    """Detects form, encoding, separator and columns of one file, or takes them from its mapping.

    `scratch` takes a UTF-8 copy where the file cannot be read as it is; `seen` keeps what files share.
    Raises RefusedFileError with the sentence that tells why the file cannot be used.
    """
    if file.refusal:
        raise RefusedFileError(file.refusal)
    table = file.table or table_of(file.sheet or file.name)
    if table is None:
        raise RefusedFileError(_no_table_words(file))
    try:
        seen = seen or Seen()
        return _matched(_opened(file, table, scratch, warehouse, seen), file, scratch, warehouse, seen)
    except OSError as fault:
        raise RefusedFileError(
            f"{file.name}: cannot be read ({fault.strerror or fault}). Check the file and its rights."
        ) from fault


def open_unmatched(file: FoundFile, scratch: Path, warehouse: Warehouse) -> SourceFile:
    """A file of which nobody knows the table yet: its form and headings. Raises RefusedFileError as `open_source` does."""
    if file.refusal:
        raise RefusedFileError(file.refusal)
    return _opened(file, next(iter(catalogue().values())), scratch, warehouse, Seen())


def lines_of(source: SourceFile, records: set[int], ragged_starts: set[int]) -> dict[int, int]:
    """The line of the file (its header is 1), or the row of the sheet, at which each of its own records (1, 2, …) starts.

    A Parquet file has no lines: its records stand for themselves. `ragged_starts` are the lines of records that the reader set
    aside and did not number.
    """
    if source.form == ".parquet" or not records:
        return {record: record for record in records}
    if source.lines is not None:
        return {record: source.lines[record - 1] for record in records}
    return line_starts(source, records, ragged_starts)


def _opened(file: FoundFile, table: Table, scratch: Path, warehouse: Warehouse, seen: Seen) -> SourceFile:
    """A source whose columns are not matched yet."""
    base = SourceFile(
        file.path, file.name, table, ".csv", (), {}, (), file.content, mapping=file.mapping, reading=file.reading,
        places=(place_of(file),), hook=file.hook, cell_form=file.cell_form,
    )  # fmt: skip
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
        text = seen.text_of(file, scratch)
        return replace(
            base, headers=text.headers, readable_path=text.path, encoding=text.encoding, separator=text.separator,
            skip_lines=text.skip_lines,
        )  # fmt: skip
    raise RefusedFileError(
        f"{file.name}: this form of file is not read. Expected {', '.join(READABLE)}. Export it in one of these forms."
    )


def _matched(source: SourceFile, file: FoundFile, scratch: Path, warehouse: Warehouse, seen: Seen) -> SourceFile:
    headers, mended = taken_apart(source.headers)
    if mended:
        source = mended_source(replace(source, headers=headers), mended, warehouse)
    elif file.table_mapping:
        source = replace(source, table_mapping=file.table_mapping)
    source = with_known_words(source)
    mapped = source.table_mapping
    matched = seen.columns_of(source)
    if mapped is None:
        source = replace(source, cells=matched.cells, unknown=matched.unknown)
    else:
        log = None
        if mapped.log and mapped.log.files:
            place = (file.log.content, file.log.name, source.table.name) if file.log else (file.path, "", "")
            log = seen.logs.get(place) or _opened_log(file, source, mapped, mapped.log, scratch, warehouse, seen)
            seen.logs[place] = log
        places, made = seen.named_by(mapped)
        made = tuple(name for name in made if name not in source.headers)
        unknown = () if mended else _unknown_to_all(matched, file)
        used_places = _taken(places, source)
        source = replace(source, cells=matched.cells, unknown=unknown, log=log, used_places=used_places, made=made)
    if mended:
        source = replace(source, cells={**source.cells, REJECT_NO: mended.reject_cell})
    if layout := layout_of(source):
        source = replace(source, layout=layout)
    if source.form == ".parquet":
        check_parquet(source, warehouse)
    return source


def _unknown_to_all(matched: Matched, file: FoundFile) -> tuple[str, ...]:
    """The columns that no table of the mapping takes from this file."""
    if not matched.unknown:
        return ()
    mapping = file.mapping
    used: set[str] = set()
    for name, mapped in mapping.tables.items() if mapping else ():
        if is_for(file, name, mapped):
            used |= {
                source.strip().lower() for source in (*mapped_sources(mapped), *(log_sources(mapped.log) if mapped.log else []))
            }
            used |= mapped_columns(mapped)
    return tuple(header for header in matched.unknown if header.lower() not in used)


def _opened_log(
    file: FoundFile,
    source: SourceFile,
    mapped: TableMapping,
    changes: LogMapping,
    scratch: Path,
    warehouse: Warehouse,
    seen: Seen,
) -> SourceFile:
    if file.log is None:
        raise RefusedFileError(
            f"{file.name}: the changes that its rows follow from are not there. Nothing of this file was loaded. Put the file "
            f"{changes_name(own_name(file))} beside it, as it was written with it, and load both."
        )
    if file.log.refusal:
        raise RefusedFileError(file.log.refusal)
    log = _opened(file.log, source.table, scratch, warehouse, seen)
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
