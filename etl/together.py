"""Small files of one form as one: what a statement costs is paid once, and not for every file.

A rig writes a file a session, so that a studio hands over thousands. The rows of files that are read alike are joined in one
file, each after the number of its own; a file alone is read as it is.
"""

import tempfile
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

from etl.source import SourceFile
from etl.survey import walk_records

# Larger files gain nothing, and a row with its number before it stays within the longest line.
_MOST_BYTES = 500_000
_MOST_FILES = 2_000
_BOM = b"\xef\xbb\xbf"

Group = dict[int, SourceFile]


@dataclass(frozen=True)
class Files:
    """The files of a group as one source: `starts` are the lines of it on which the rows of each begin, `first_lines` those
    of the files themselves, `n_lines` how many each has from there on. Of a file alone all three are empty."""

    group: Group
    source: SourceFile
    starts: tuple[int, ...] = ()
    first_lines: tuple[int, ...] = ()
    n_lines: tuple[int, ...] = ()

    @property
    def numbers(self) -> list[int]:
        """The numbers of the files, in their order."""
        return list(self.group)

    def place_of(self, line: int) -> tuple[int, int]:
        """The number of the file that stands on a line of the source, and the line of the file itself."""
        if not self.starts:
            return self.numbers[0], line
        position = bisect_right(self.starts, line) - 1
        return self.numbers[position], line - self.starts[position] + self.first_lines[position]

    def stands_line_by_line(self, n_rows: Mapping[int, int]) -> set[int]:
        """The numbers of the files in which so many records stand on lines of their own, after one line of headings."""
        if self.source.form != ".csv":
            return set()
        if self.starts:
            told = zip(self.numbers, self.first_lines, self.n_lines, strict=True)
            return {no for no, first, n in told if first == 2 and n == n_rows.get(no, 0)}
        ((file_no, source),) = self.group.items()
        return {file_no} if _count_lines(source.readable_path) == n_rows.get(file_no, 0) + 1 else set()


def groups_of(sources: Mapping[int, SourceFile]) -> list[Group]:
    """The sources of one table by their numbers, those together that are read alike, in the order of their first file."""
    groups: dict[Any, list[Group]] = {}
    for file_no, source in sources.items():
        alike = groups.setdefault(_form_of(file_no, source), [{}])
        if len(alike[-1]) == _MOST_FILES:
            alike.append({})
        alike[-1][file_no] = source
    return [group for alike in groups.values() for group in alike]


def halves_of(group: Group) -> tuple[Group, Group]:
    """A group in two, in its order: where something is wrong with one of its files, the other half need not be read alone."""
    files, middle = list(group.items()), len(group) // 2
    return dict(files[:middle]), dict(files[middle:])


def _form_of(file_no: int, source: SourceFile) -> Any:
    """What is the same for files that are read alike; a file that must be read alone has its own."""
    mapped = source.table_mapping
    alone = source.form == ".parquet" or source.mended or (mapped and mapped.log and not mapped.log.files)
    try:
        if alone or source.separator.isdigit() or source.readable_path.stat().st_size > _MOST_BYTES:
            return file_no
    except OSError:
        return file_no  # gone since; whoever reads it says so
    cells = tuple(source.cells.items())
    return (source.form, source.separator, source.skip_lines, source.headers, id(mapped), id(source.log), cells)


@contextmanager
def as_one(group: Group, scratch: Path) -> Iterator[Files]:
    """The files of a group as one source, for as long as the block runs."""
    first = next(iter(group.values()))
    if len(group) == 1:
        yield Files(group, first)
        return
    starts, first_lines, n_lines, line = [], [], [], 1
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        path = Path(folder) / "joined.csv"
        with path.open("wb") as joined:
            for position, source in enumerate(group.values()):
                first_line, rows = _rows_of(source)
                number = f"{position}{source.separator}".encode()
                joined.writelines((number + row if row else b"") + b"\n" for row in rows)
                starts.append(line)
                first_lines.append(first_line)
                n_lines.append(sum(1 + _breaks(row) for row in rows))
                line += n_lines[-1]
        places = tuple(place for source in group.values() for place in source.places)
        one = replace(first, readable_path=path, is_joined=True, places=places)
        yield Files(group, one, tuple(starts), tuple(first_lines), tuple(n_lines))


def _rows_of(source: SourceFile) -> tuple[int, list[bytes]]:
    """The line on which the rows of a file begin, and its rows without their ends, blank lines among them."""
    text = source.readable_path.read_bytes()
    if b'"' in text:
        records = list(
            islice(walk_records(source.readable_path, source.separator, source.skip_lines), source.skip_lines + 1, None)
        )
        return (records[0].line if records else 2), [record.text.rstrip("\r\n").encode() for record in records]
    end = b"\r\n" if b"\r\n" in text else b"\n" if b"\n" in text else b"\r"
    rows = text.removeprefix(_BOM).removesuffix(end).split(end)
    return source.skip_lines + 2, rows[source.skip_lines + 1 :]


def _breaks(row: bytes) -> int:
    """How many ends of lines stand within a row, in quotes."""
    if b'"' not in row:
        return 0
    return row.count(b"\n") + row.count(b"\r") - row.count(b"\r\n")


def _count_lines(path: Path) -> int:
    """How many lines a file has; the last may be without its end."""
    breaks, last = 0, b"\n"
    with path.open("rb") as file:
        for chunk in iter(lambda: file.read(1 << 22), b""):
            breaks += chunk.count(b"\n")
            last = chunk[-1:]
    return breaks + (last != b"\n")
