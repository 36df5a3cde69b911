"""Reads the columns of a foreign folder with the loader's own readers, and what mapped cells of them would become."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from etl.columns import match_native
from etl.find import MAYBE, book_name, find_files, form_of, own_name, table_of
from etl.mapping import ColumnMapping, Mapping, TableMapping
from etl.mapping_assistant.headings import Opened, opened_at_headings
from etl.mapping_assistant.names import in_names
from etl.mapping_assistant.shapes import SourceColumn
from etl.read import FoundFile, RefusedFileError, SourceFile, expand
from etl.relation import source_relation
from shared.catalogue import Table
from shared.errors import InputUnusableError
from shared.paths import on_one_line
from shared.settings_running import Reading
from shared.warehouse import Warehouse, in_memory
from shared.working import working

# So many rows of a file are looked at.
MOST_ROWS: Final = 20_000
_SHOWN: Final = 5


@dataclass(frozen=True)
class FileGroup:
    """A file or sheet, or several files with the same headings: how a mapping names them, and the columns."""

    name: str
    files: tuple[str, ...]
    sheet: str
    source: SourceFile = field(repr=False)
    columns: tuple[SourceColumn, ...]
    form: dict[str, int] = field(default_factory=dict)


@dataclass
class Folder:
    """What was read of a folder: its files in groups, the sentences of those that cannot be used, and which tables stand
    there in contract form already."""

    groups: dict[str, FileGroup]
    refused: list[str]
    native: list[str]
    warehouse: Warehouse = field(repr=False)

    @property
    def columns(self) -> dict[str, list[SourceColumn]]:
        return {name: list(group.columns) for name, group in self.groups.items()}

    def becomes(
        self, table: Table, column: str, source: SourceColumn, specs: dict[str, ColumnMapping], wanted: int = _SHOWN
    ) -> list[tuple[str, str]]:
        """Different cells of a source column beside what a mapping would make of them, by the loader's own steps."""
        if source.origin:
            return [(on_one_line(cell), on_one_line(cell)) for cell in source.sample[:wanted]]
        opened = self.groups[source.file].source
        raw = self._texts(replace(opened, cells={"raw": source.position}), "raw")
        mapped = replace(
            opened, table=table, mapping=Mapping.model_validate({}), table_mapping=TableMapping(columns=specs), cells={}
        )
        made = self._texts(mapped, column)
        shown: dict[str, str] = {}
        for cell, text in zip(raw, made, strict=True):
            if cell and len(shown) < wanted:
                shown.setdefault(on_one_line(cell), on_one_line(text or ""))
        return list(shown.items())

    def _texts(self, source: SourceFile, name: str) -> list[str | None]:
        relation, parameters = source_relation(source, (name,))
        rows = self.warehouse.rows(f"SELECT * FROM ({relation}) LIMIT 500", parameters)
        return [next(iter(row.values())) for row in rows]


@contextmanager
def opened_folder(path: Path, reading: Reading | None = None) -> Iterator[Folder]:
    """The files of a folder, opened and read; what was unpacked goes at the end. A mapping beside them is not applied.

    Raises UsageError where the folder does not exist, InputUnusableError where nothing in it can be read.
    """
    found = [replace(file, mapping=None) for file in find_files([path], reading=reading)]
    if path.is_dir():
        found += [
            FoundFile(file, file.name, reading=reading or Reading())
            for file in sorted(path.iterdir())
            if form_of(file.name, MAYBE) and file.is_file() and all(file != one.path for one in found)
        ]
    warehouse = in_memory()
    try:
        with working(path if path.is_dir() else path.parent, elsewhere=True) as scratch:
            yield _read(expand(found, scratch), scratch, warehouse, path)
    finally:
        warehouse.close()


def _read(files: list[FoundFile], scratch: Path, warehouse: Warehouse, path: Path) -> Folder:
    alike: dict[tuple[str, ...], list[tuple[FoundFile, Opened]]] = {}
    refused, native = [], []
    for file in files:
        try:
            opened = opened_at_headings(file, scratch, warehouse)
            source = opened.source
            if (table := table_of(file.sheet or file.name)) and _is_native(source, table):
                native.append(table.name)
                continue
        except RefusedFileError as refusal:
            refused.append(str(refusal))
            continue
        one = (file.sheet and file.name) or ""
        alike.setdefault((one, source.form, *source.headers), []).append((file, opened))
    if not alike and not native:
        raise InputUnusableError(
            f"{path}: no table was found. Nothing was written. Name the folder with the exported files. " + " ".join(refused)
        )
    groups = {}
    for same in alike.values():
        names = tuple(dict.fromkeys(book_name(file).rpartition("/")[2] if file.sheet else own_name(file) for file, _ in same))
        first, opened = same[0]
        name = own_name(first) if not first.sheet else f"{names[0]}, sheet {first.sheet}"
        # Two of one name with other columns, as in folders of their own, stay apart.
        name = first.name if name in groups else name
        columns = tuple(_columns(name, [one.source for _, one in same], warehouse, opened.two_rows))
        groups[name] = FileGroup(name, names, first.sheet, opened.source, columns, opened.form)
    return Folder(groups, refused, list(dict.fromkeys(native)), warehouse)


def _is_native(source: SourceFile, table: Table) -> bool:
    """Whether a file has the contract's own columns: it is loaded as it is, and needs no line of a mapping."""
    try:
        match_native(source.name, table, source.headers)
    except RefusedFileError:
        return False
    return True


def _columns(
    name: str, sources: list[SourceFile], warehouse: Warehouse, two_rows: tuple[str, ...] = ()
) -> Iterator[SourceColumn]:
    headers = sources[0].headers
    names = [f"h{index}" for index in range(len(headers))]
    cells: list[list[str | None]] = [[] for _ in headers]
    places: list[dict[str, str]] = []
    for source in sources:
        if len(cells[0]) >= MOST_ROWS:
            break
        given = replace(source, cells={name: index for index, name in enumerate(names)}, mapping=None, table_mapping=None)
        relation, parameters = source_relation(given, names)
        for row in warehouse.rows(f"SELECT * FROM ({relation}) LIMIT {MOST_ROWS:d}", parameters):
            places.append(source.places[0])
            for column, cell in zip(cells, row.values(), strict=True):
                column.append(None if cell is None else str(cell))
    for position, (heading, own) in enumerate(zip(headers, cells, strict=True)):
        # A mapping names columns by their headings, so that one without, or one of two alike, cannot be taken.
        if heading and [header.lower() for header in headers].count(heading.lower()) == 1:
            yield SourceColumn(name, heading, tuple(own), position, two_rows=two_rows[position] if two_rows else "")
    yield from in_names(name, places)
