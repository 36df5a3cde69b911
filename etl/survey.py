"""One pass over the bytes of a text file: what would make the set-based reader lose its place is found before it reads."""

import codecs
import csv
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np

from etl import limits
from etl.source import RefusedFileError, require_bytes, require_rows
from shared.settings_running import Reading

csv.field_size_limit(limits.LINE_BYTES * 2)


@dataclass
class Survey:
    """Facts of one file, gathered from chunk to chunk. `is_utf8` becomes false at the first byte that is not."""

    name: str
    reading: Reading
    is_utf8: bool = True
    quotes: int = 0
    line_feeds: int = 0
    returns: int = 0
    pairs: int = 0
    size: int = 0
    _run: int = 0
    _last: bytes = b""
    _decoder: codecs.IncrementalDecoder = field(default_factory=codecs.getincrementaldecoder("utf-8"))

    def take(self, chunk: bytes) -> None:
        """Adds the next bytes. Raises RefusedFileError for a NUL byte, an endless line, or too many lines or bytes."""
        self.size += len(chunk)
        # Also of a file that grows while it is read.
        require_bytes(self.name, self.size, self.reading)
        if b"\x00" in chunk:
            line = self.line_feeds + chunk[: chunk.index(b"\x00")].count(b"\n") + 1
            raise RefusedFileError(
                f"{self.name}, line {line}: found a NUL byte, expected text. Nothing of this file was loaded. The file is "
                "damaged or no text; export it again."
            )
        if self.is_utf8:
            self._decode(chunk)
        self.quotes += chunk.count(b'"')
        self.line_feeds += chunk.count(b"\n")
        seam = self._last + chunk
        if b"\r" in seam:
            self.returns += chunk.count(b"\r")
            self.pairs += seam.count(b"\r\n")
        self._last = chunk[-1:]
        require_rows(self.name, self.line_feeds + self.returns - self.pairs - 1, self.reading)
        self._measure(chunk)

    def close(self) -> None:
        """Tells that the last chunk was taken."""
        if self.is_utf8:
            try:
                self._decoder.decode(b"", final=True)
            except UnicodeDecodeError:
                self.is_utf8 = False

    @property
    def has_mixed_ends(self) -> bool:
        """Whether more than one kind of line end stands somewhere, in quotes or not."""
        kinds = (self.pairs, self.line_feeds - self.pairs, self.returns - self.pairs)
        return sum(bool(kind) for kind in kinds) > 1

    def _decode(self, chunk: bytes) -> None:
        try:
            self._decoder.decode(chunk)
        except UnicodeDecodeError:
            self.is_utf8 = False

    def _measure(self, chunk: bytes) -> None:
        """No line may be longer than the limit; a chunk is not longer than the limit allows two of."""
        first = _first_end(chunk)
        self._run += len(chunk) if first < 0 else first
        if self._run > limits.LINE_BYTES:
            raise RefusedFileError(too_long(self.name, self.line_feeds - chunk.count(b"\n") + 1))
        if first >= 0:
            self._run = len(chunk) - max(chunk.rfind(b"\n"), chunk.rfind(b"\r")) - 1


def _first_end(chunk: bytes) -> int:
    ends = [end for end in (chunk.find(b"\n"), chunk.find(b"\r")) if end >= 0]
    return min(ends, default=-1)


def too_long(name: str, line: int) -> str:
    """The sentence for a record beyond the limit."""
    return (
        f"{name}, line {line}: found a row of more than {limits.LINE_BYTES:,} bytes, expected one record a line. Nothing "
        "of this file was loaded. Check its line ends and quotes and export it again."
    )


def chunks(path: Path) -> Iterator[bytes]:
    """The bytes of a file, piece by piece."""
    size = min(limits.CHUNK_BYTES, limits.LINE_BYTES // 2)
    with path.open("rb") as file:
        yield from iter(lambda: file.read(size), b"")


def survey(path: Path, name: str, reading: Reading) -> Survey:
    """Surveys a whole file."""
    facts = Survey(name, reading)
    for chunk in chunks(path):
        facts.take(chunk)
    facts.close()
    return facts


def count_uneven_lines(path: Path, separator: str, n_separators: int, end: str) -> Iterator[int]:
    """How many filled lines of a file without quotes hold another number of separators, counted up from piece to piece.

    `end` is the one kind of line end in it.
    """
    sign, last = separator.encode(), ord(end[-1])
    n_uneven = open_separators = open_bytes = 0
    for chunk in chunks(path):
        # A sign of several bytes is told by its last one, as long as it is the same sign.
        data = np.frombuffer(chunk.replace(sign, sign[-1:]) if len(sign) > 1 else chunk, dtype=np.uint8)
        ends = np.flatnonzero(data == last)
        counted = np.cumsum(data == sign[-1], dtype=np.int32)
        if ends.size == 0:
            open_separators += int(counted[-1])
            open_bytes += data.size
            continue
        separators = np.diff(counted[ends], prepend=0)
        separators[0] += open_separators
        lengths = np.diff(ends, prepend=-1 - open_bytes) - 1
        is_filled = lengths >= len(end)
        n_uneven += int(np.count_nonzero((separators != n_separators) & is_filled))
        open_separators = int(counted[-1] - counted[ends[-1]])
        open_bytes = data.size - 1 - int(ends[-1])
        yield n_uneven


@dataclass(frozen=True)
class Record:
    """One record as it stands in the file: its first line, its text with its line ends, its cells, and how its quotes stand.

    `is_closed` is false where a quote is open at the end of the file, `is_sound` where text follows a closing quote.
    """

    line: int
    text: str
    is_closed: bool
    is_sound: bool
    n_cells: int = 0


def walk_records(path: Path, separator: str, skip_lines: int) -> Iterator[Record]:
    """Every record of a UTF-8 file, blank lines included, told apart by the quotes; skipped lines one by one."""
    with path.open(encoding="utf-8-sig", newline="") as text:
        taken: list[str] = []

        def lines() -> Iterator[str]:
            for line in text:
                taken.append(line)
                yield line

        for number, line in enumerate(islice(text, skip_lines), 1):
            yield Record(number, line, is_closed=True, is_sound=True)
        reader = csv.reader(lines(), delimiter=separator, strict=True, skipinitialspace=True)
        start = skip_lines + 1
        while True:
            is_closed = is_sound = True
            cells: list[str] = []
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as fault:
                is_closed = "unexpected end of data" not in str(fault)
                is_sound = False
            yield Record(start, "".join(taken), is_closed, is_sound, len(cells))
            start += len(taken)
            taken.clear()
