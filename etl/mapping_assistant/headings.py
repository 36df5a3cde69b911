"""Finds where the headings of a file stand: in its first line, in a later one, or in two rows above one another."""

import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from etl.mapping import Form, Mapping, TableMapping
from etl.read import FoundFile, RefusedFileError, SourceFile, open_unmatched
from etl.relation import source_relation
from etl.words import number_in, plain
from shared.warehouse import Warehouse

_MOST_LINES_BEFORE: Final = 8
_FILLED_HEADINGS: Final = 0.6
_FEWEST: Final = 2
_A_DAY: Final = re.compile(r"\d+[./-]\d+[./-]\d+.*")


@dataclass(frozen=True)
class Opened:
    """A file from its headings on: what a mapping says of its form, and both rows of each heading where there are two."""

    source: SourceFile
    form: dict[str, int] = field(default_factory=dict)
    two_rows: tuple[str, ...] = ()


def opened_at_headings(file: FoundFile, scratch: Path, warehouse: Warehouse) -> Opened:
    """The file from its first line that may be its headings on. Raises RefusedFileError where there is none."""
    best: Opened | None = None
    for lines in range(_MOST_LINES_BEFORE + 1):
        try:
            source = _read(file, Form(skip_lines=lines), scratch, warehouse)
        except RefusedFileError:
            if lines == _MOST_LINES_BEFORE and best is None:
                raise
            continue
        form = {"skip_lines": lines} if lines else {}
        if best is None or _n_headings(source) > _n_headings(best.source):
            best = Opened(source, form)
        if source.form in {".jsonl", ".parquet"} or len(set(source.headers) - {""}) == len(source.headers):
            break
        if two := _of_two_rows(file, source, lines, scratch, warehouse):
            return replace(two, form={**form, "heading_rows": 2})
        if _n_headings(source) >= max(_FEWEST, _FILLED_HEADINGS * len(source.headers)):
            break
    if best is None:
        raise RefusedFileError(f"{file.name}: no line of headings was found in its first lines.")
    return best


def _read(file: FoundFile, form: Form, scratch: Path, warehouse: Warehouse) -> SourceFile:
    formed = replace(file, mapping=Mapping.model_validate({"form": form}), table_mapping=TableMapping())
    return open_unmatched(formed, scratch, warehouse)


def _of_two_rows(file: FoundFile, upper: SourceFile, lines: int, scratch: Path, warehouse: Warehouse) -> Opened | None:
    """The file by two rows of headings: the upper one names few columns, the lower one only words, and both together all."""
    if len({header for header in upper.headers if header}) < _FEWEST:
        return None
    names = [f"h{index}" for index in range(len(upper.headers))]
    given = replace(upper, cells={name: no for no, name in enumerate(names)}, mapping=None, table_mapping=None)
    relation, parameters = source_relation(given, names)
    first = warehouse.rows(f"SELECT * FROM ({relation}) LIMIT 1", parameters)
    lower = ["" if cell is None else str(cell) for cell in first[0].values()] if first else []
    filled = [cell for cell in lower if cell]
    if len(filled) < _FEWEST or any(number_in(cell) is not None or _A_DAY.fullmatch(cell) for cell in filled):
        return None
    # A cell below each that has none above it.
    if not all(above or below for above, below in zip(upper.headers, lower, strict=True)):
        return None
    try:
        both = _read(file, Form(skip_lines=lines, heading_rows=2), scratch, warehouse)
    except RefusedFileError:
        return None
    if len(set(both.headers)) < len(both.headers) or _n_headings(both) <= _n_headings(upper):
        return None
    told = tuple(f"{above or '(empty)'} above {below or '(empty)'}" for above, below in zip(upper.headers, lower, strict=True))
    return Opened(both, two_rows=told)


def _n_headings(source: SourceFile) -> int:
    return len({header for header in source.headers if plain(header) and not plain(header).replace(" ", "").isdigit()})
