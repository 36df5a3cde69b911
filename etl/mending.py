"""Files to mend: rejected rows in the columns, units, signs and words of the file that they came from.

A layout is how those rows were read: form, columns and mapping. The warehouse keeps it, a file to mend names it in one
heading, and the loader reads the file by it. No cell is turned into another unit and back.
"""

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, Final

import pandas as pd

from etl import limits
from etl.find import ANNOUNCED, book_name, form_of, own_name
from etl.mapping import Mapping, TableMapping, parse_mapping
from etl.source import FoundFile, Layout, Mended, RefusedFileError, SourceFile
from shared.catalogue import catalogue
from shared.warehouse import Warehouse

SQL = Path(__file__).with_name("sql") / "raw"
# `reject_no` tells the loader which rejects a mended row was; the others are for people.
REJECT_NO: Final = "reject_no"
CHANGE: Final = "change"
BESIDE: Final = ("rule", "column", "words")
CHANGES: Final = "-changes"
_MARK = re.compile(rf"({REJECT_NO}|{CHANGE})(?: \(read by ([0-9a-f]{{12}})\))?", re.IGNORECASE)
_NAME = re.compile(rf"({'|'.join(catalogue())})-rejects(-\d+)?({CHANGES})?(?:[. (]|$)", re.IGNORECASE)
# How a cell that a spreadsheet would run as a formula is written: behind one apostrophe more than it had.
GUARDED: Final = "^'('*[=+@\\t\\r\\n＝＋－＠-])"


def heading(name: str, layout: Layout | None) -> str:
    """The heading of a file to mend that says by which layout its rows are read."""
    return f"{name} (read by {layout.key})" if layout else name


def is_named_like_one(name: str) -> bool:
    """Whether a file or sheet is named as `fitledger rejects` names the files that it writes."""
    return bool(_NAME.match(name.rpartition("/")[2].strip()))


def is_of_changes(name: str) -> bool:
    """Whether it is named like the log of changes beside a file to mend."""
    found = _NAME.match(name.rpartition("/")[2].strip())
    return bool(found and found[3])


def changes_name(name: str) -> str:
    """The name of the log of changes beside a file to mend, without its ending."""
    found = _NAME.match(name.rpartition("/")[2].strip())
    return f"{found[1]}-rejects{found[2] or ''}{CHANGES}".lower() if found else ""


def taken_apart(headers: Sequence[str]) -> tuple[tuple[str, ...], Mended | None]:
    """The file's own columns, and what a file to mend holds beside them; None where it is no such file.

    The columns that stand beside are told by no name: a source may have a column called `words` too, which stands before.
    """
    marks = [(index, found) for index, header in enumerate(headers) if (found := _MARK.fullmatch(header.strip()))]
    if not marks:
        return tuple(headers), None
    index, found = marks[-1]
    own = [re.sub(GUARDED, r"\1", header) for header in headers]
    own[index] = ""
    for name in BESIDE:
        last = next((no for no in reversed(range(len(own))) if own[no].strip().lower() == name), None)
        if last is not None and last > index:
            own[last] = ""
    return tuple(own), Mended(index, (found[2] or "").lower())


def layout_of(source: SourceFile) -> Layout | None:
    """How the rows of a source are read; None where it is in contract form."""
    if source.layout is not None or source.mapping is None or source.table_mapping is None:
        return source.layout
    log = source.log
    return Layout(
        source.table.name,
        source.cell_form or source.form,
        (*source.headers, *source.used_places, *source.made),
        source.mapping.name,
        source.mapping.reading_text,
        log.form if log else "",
        (*log.headers, *log.used_places) if log else (),
    )


def keep_layouts(warehouse: Warehouse, sources: Iterable[tuple[int, SourceFile]]) -> None:
    """Keeps the layout of each source by the number of its file, and makes file_layouts (file_no, layout) of them."""
    layouts = {file_no: layout for file_no, source in sources if (layout := layout_of(source))}
    keys = {layout: layout.key for layout in set(layouts.values())}
    rows = [(file_no, keys[layout]) for file_no, layout in layouts.items()]
    warehouse.put("file_layouts", pd.DataFrame(rows, columns=["file_no", "layout"]).astype({"layout": "object"}))
    for layout, key in keys.items():
        values = {"layout": key, "content": json.dumps(asdict(layout), ensure_ascii=False)}
        warehouse.run(
            "INSERT INTO raw.layouts SELECT $layout, $content WHERE $layout NOT IN (SELECT layout FROM raw.layouts)", values
        )


def kept_layout(warehouse: Warehouse, key: str) -> Layout | None:
    """The layout that the warehouse keeps under a key."""
    known = "SELECT count(*) FROM duckdb_tables() WHERE schema_name = 'raw' AND table_name = 'layouts'"
    if not warehouse.value(known):
        return None
    content = warehouse.value("SELECT content FROM raw.layouts WHERE layout = $layout", {"layout": key})
    if content is None:
        return None
    found: dict[str, Any] = json.loads(content)
    return Layout(**{**found, "headers": tuple(found["headers"]), "log_headers": tuple(found["log_headers"])})


def mapping_of(layout: Layout) -> tuple[Mapping, TableMapping]:
    """The mapping that a layout's rows were read by, and what it says of their table."""
    mapping = parse_mapping(layout.mapping.encode("utf-8"), layout.mapping_name)
    return mapping, mapping.tables[layout.table]


def mended_source(source: SourceFile, mended: Mended, warehouse: Warehouse) -> SourceFile:
    """A file to mend as its rows are read: by the layout that its heading names.

    Raises RefusedFileError where this warehouse does not know that layout, or the file is one of another table.
    """
    source = replace(source, mended=mended)
    if not mended.layout:
        return source
    layout = kept_layout(warehouse, mended.layout)
    if layout is None or layout.table != source.table.name:
        raise RefusedFileError(
            f"{source.name}: its rows were read by a mapping that this warehouse does not keep for {source.table.name} "
            f"({mended.layout}), so that their units and signs are not known here. Nothing of this file was loaded. Load it "
            "into the warehouse that wrote it, under the name that it was given, or load the export itself again."
        )
    mapping, table_mapping = mapping_of(layout)
    return replace(
        source, mapping=mapping, table_mapping=table_mapping, layout=layout, cell_form=_cell_form(source, layout.form)
    )


def mended_log(log: SourceFile, source: SourceFile) -> SourceFile:
    """The log of changes beside a file to mend. Raises RefusedFileError where it belongs to another one."""
    headers, mended = taken_apart(log.headers)
    if source.layout is None or mended is None or source.mended is None or mended.layout != source.mended.layout:
        raise RefusedFileError(
            f"{source.name}: the changes beside it, {log.name}, were written with another file. Nothing of this file was "
            "loaded. Load the two as they were written together."
        )
    return replace(
        log, headers=headers, mended=mended, mapping=source.mapping, cell_form=_cell_form(log, source.layout.log_form)
    )


def _cell_form(source: SourceFile, form: str) -> str:
    # A spreadsheet keeps numbers as such, so that a point in one is none that parts thousands, whatever it was written from.
    return form if source.form == ".csv" else source.form


def is_to_mend(file: FoundFile) -> bool:
    """Whether a file is one that `fitledger rejects` wrote: it names its own mapping, whatever another one says."""
    if not is_named_like_one(own_name(file)):
        return False
    if form_of(file.name, ANNOUNCED) != ".csv":
        return True
    try:
        with file.content.open("rb") as opened:
            return REJECT_NO.encode() in opened.readline(limits.LINE_BYTES).lower().replace(b"\x00", b"") or is_of_changes(
                own_name(file)
            )
    except OSError:
        return False


def changes_beside(file: FoundFile, others: list[FoundFile]) -> FoundFile | None:
    """The log of changes that was written beside a file to mend."""
    place = book_name(file) if file.sheet else file.name.rpartition("/")[0]
    wanted = changes_name(own_name(file))
    beside = [
        other
        for other in others
        if changes_name(own_name(other)) == wanted
        and is_of_changes(own_name(other))
        and place == (book_name(other) if other.sheet else other.name.rpartition("/")[0])
    ]
    return replace(beside[0], mapping=None) if len(beside) == 1 else None
