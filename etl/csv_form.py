"""CSV files: encoding, separator, header; a plain UTF-8 copy where the set-based reader would lose its place."""

import codecs
import csv
import io
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice, zip_longest
from pathlib import Path

from etl import limits
from etl.mapping import Form
from etl.source import FoundFile, RefusedFileError, SourceFile, require_bytes
from etl.survey import Record, Survey, chunks, count_uneven_lines, survey, too_long, walk_records
from shared.settings_running import Reading

SEPARATORS = (",", ";", "\t")


@dataclass(frozen=True)
class Text:
    """A CSV file ready for the set-based reader."""

    path: Path
    headers: tuple[str, ...]
    encoding: str
    separator: str
    skip_lines: int


def open_csv(file: FoundFile, path: Path, scratch: Path) -> Text:
    """Detects encoding and separator of the file at `path`, or takes those of its mapping.

    Raises RefusedFileError for NUL bytes, endless lines or records, a quote that never closes, no header.
    """
    form = file.text_form
    encoding, facts = _encoding(file, path, form.encoding)
    if facts is None:
        path = _as_utf8(file, path, encoding, scratch)
        facts = survey(path, file.name, file.reading)
    # The reader passes over the upper row of headings too.
    skipped = form.skip_lines + form.heading_rows - 1
    separator, headers = _separator_and_headers(file.name, path, form)
    if needs_walk(facts):
        records = _Records(file.name, path, separator, skipped, len(headers), file.reading)
        path = path if records.are_plain() else records.made_plain(scratch)
    else:
        _require_even(file, path, separator, len(headers), facts)
    return Text(path, headers, encoding, separator, skipped)


def needs_walk(facts: Survey) -> bool:
    """Whether the records must be told apart one by one before the set-based reader may read them.

    That reader stops at a second kind of line end, and makes rows of its own of what follows a misplaced quote.
    """
    return facts.has_mixed_ends or facts.quotes > 0


def write_cells(rows: Iterable[Iterable[str]], name: str, scratch: Path) -> Path:
    """Writes rows of text as a CSV copy that the set-based reader opens."""
    with tempfile.NamedTemporaryFile("w", dir=scratch, suffix=".csv", delete=False, encoding="utf-8", newline="") as copy:
        # All quoted, since the writer alone leaves a lone carriage return bare.
        writer = csv.writer(copy, lineterminator="\n", quoting=csv.QUOTE_ALL)
        for number, row in enumerate(rows, 1):
            cells = list(row)
            if any("\x00" in cell for cell in cells):
                raise RefusedFileError(
                    f"{name}, record {number - 1}: found a NUL character, expected text. Nothing of it was loaded. "
                    "Export it again."
                )
            if 4 * sum(map(len, cells)) > limits.LINE_BYTES and sum(len(c.encode()) for c in cells) > limits.LINE_BYTES:
                raise RefusedFileError(too_long(name, number))
            writer.writerow(cells)
    return Path(copy.name)


def line_starts(source: SourceFile, wanted: set[int], ragged_starts: set[int]) -> dict[int, int]:
    """The line on which each wanted record of a CSV file starts; records at `ragged_starts` are not numbered."""
    lines: dict[int, int] = {}
    last = max(wanted)
    with source.readable_path.open(encoding="utf-8-sig", newline="") as text:
        for _ in range(source.skip_lines):
            text.readline()
        number, start = -1, source.skip_lines + 1
        reader = csv.reader(text, delimiter=source.separator, skipinitialspace=True)
        for cells in reader:
            is_blank = not cells or (len(source.headers) == 1 and not cells[0].strip(" \t"))
            if not is_blank and start not in ragged_starts:
                number += 1
                if number in wanted:
                    lines[number] = start
            start = source.skip_lines + reader.line_num + 1
            if number >= last:
                break
    return lines


def lines_of_bytes(path: Path, positions: Iterable[int]) -> list[int]:
    """The lines on which records start, in one pass, from the positions that the set-based reader tells of ragged ones.

    These count bytes from 1, do not fall, and stand before the blank lines that precede a record.
    """
    lines = []
    with path.open("rb") as file:
        line, at, last = 1, 0, b""
        for position in positions:
            while at < position - 1 or file.peek(1)[:1] in {b"\n", b"\r"}:
                chunk = file.read(max(1, min(limits.CHUNK_BYTES, position - 1 - at)))
                if not chunk:
                    break
                # A line end of two bytes may lie across two chunks.
                line += chunk.count(b"\n") + chunk.count(b"\r") - (last + chunk).count(b"\r\n")
                at += len(chunk)
                last = chunk[-1:]
            lines.append(line)
    return lines


def _encoding(file: FoundFile, path: Path, fixed: str | None) -> tuple[str, Survey | None]:
    """The encoding, and the survey of the file where it can be read as it is."""
    if fixed not in {None, "utf-8"}:
        return str(fixed), None
    facts = Survey(file.name, file.reading)
    for chunk in chunks(path):
        if not fixed and not facts.size:
            if chunk.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
                return "utf-16", None
            if b"\x00" in chunk[:2]:
                return "utf-16-le" if chunk[1:2] == b"\x00" else "utf-16-be", None
        facts.take(chunk)
        if not facts.is_utf8:
            break
    facts.close()
    if facts.is_utf8:
        return "utf-8", facts
    return fixed or "windows-1252", None


def _as_utf8(file: FoundFile, path: Path, encoding: str, scratch: Path) -> Path:
    """A UTF-8 copy, since the set-based reader takes that encoding only; bytes that the encoding does not know stay marked."""
    with (
        tempfile.NamedTemporaryFile(dir=scratch, suffix=".csv", delete=False) as copy,
        path.open("rb") as raw,
        io.TextIOWrapper(raw, encoding=encoding, errors="replace", newline="") as text,
    ):
        try:
            for chunk in iter(lambda: text.read(limits.CHUNK_BYTES), ""):
                require_bytes(file.name, raw.tell(), file.reading)
                copy.write(chunk.encode("utf-8", errors="replace"))
        except UnicodeError as fault:
            raise RefusedFileError(
                f"{file.name}: this is no text in {encoding}. Nothing of this file was loaded. Correct the encoding in the "
                "mapping, or export it as UTF-8."
            ) from fault
        return Path(copy.name)


def _separator_and_headers(name: str, path: Path, form: Form) -> tuple[str, tuple[str, ...]]:
    """The separator of the mapping, or the one that stands most often in the last line of the headings; and the headings."""
    n_before = form.heading_rows - 1
    with path.open(encoding="utf-8-sig", newline="") as text:
        first = list(islice(text, form.skip_lines, form.skip_lines + form.heading_rows))
        separator = form.separator or max(SEPARATORS, key=first[-1].count if len(first) > n_before else "".count)
        reader = csv.reader(chain(first, text), delimiter=separator, skipinitialspace=True)
        try:
            rows = [tuple(cell.strip() for cell in row) for row in islice(reader, form.heading_rows)]
        except csv.Error as fault:
            raise RefusedFileError(too_long(name, form.skip_lines + 1)) from fault
    return separator, checked_headers(name, joined_headings(rows))


def joined_headings(rows: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """The names of the columns: of two rows of headings, the upper one and the lower one of each column. An upper one that
    is empty, as where a cell reaches over several columns, is the one to its left."""
    if not rows:
        return ()
    *uppers, lower = rows
    for upper in uppers:
        told, names = "", []
        for above, below in zip_longest(upper, lower, fillvalue=""):
            told = above or (told if below else "")
            names.append(f"{told} {below}".strip())
        lower = tuple(names)
    return lower


def checked_headers(name: str, headers: tuple[str, ...]) -> tuple[str, ...]:
    """The names of the columns, of any form of file. Raises RefusedFileError where there are none or too many."""
    if not any(headers):
        raise RefusedFileError(f"{name}: empty. Expected a first line with the names of the columns. Export it again.")
    if len(headers) > limits.COLUMNS:
        raise RefusedFileError(
            f"{name}: found {len(headers):,} columns, expected {limits.COLUMNS:,} at most. Nothing of this file was "
            "loaded. Check its separators and export it again."
        )
    longest = max(headers, key=len)
    if len(longest) > limits.NAME_CHARACTERS:
        raise RefusedFileError(
            f"{name}: found {longest[:40]!r}… of {len(longest):,} characters as the name of a column, expected "
            f"{limits.NAME_CHARACTERS} at most. Nothing of this file was loaded. Export it again with a first line of names."
        )
    return headers


def _require_even(file: FoundFile, path: Path, separator: str, n_columns: int, facts: Survey) -> None:
    """Refuses a file with too many ragged rows: the set-based reader would hold each of them in memory to tell it."""
    most = file.reading.most_rejected_rows
    if max(facts.line_feeds, facts.returns) > most and n_columns > 1:
        end = "\r\n" if facts.pairs else "\n" if facts.line_feeds else "\r"
        if any(n > most for n in count_uneven_lines(path, separator, n_columns - 1, end)):
            raise RefusedFileError(_too_uneven(file.name, file.reading))


def _too_uneven(name: str, reading: Reading) -> str:
    return (
        f"{name}: more than {reading.most_rejected_rows:,} of its rows hold another number of cells than its first line. "
        "Nothing of this file was loaded. Check its separators and quotes and export it again."
    )


@dataclass(frozen=True)
class _Records:
    """The records of a file that must be told apart one by one."""

    name: str
    path: Path
    separator: str
    skip_lines: int
    n_columns: int
    reading: Reading

    def are_plain(self) -> bool:
        """Whether the set-based reader will tell them apart in the same way. Raises RefusedFileError where nobody can."""
        ends = set()
        is_sound = True
        n_uneven = 0
        for record in self._walk():
            if len(record.text) > limits.LINE_BYTES // 4 and len(record.text.encode()) > limits.LINE_BYTES:
                raise RefusedFileError(too_long(self.name, record.line))
            if not record.is_closed and "\n" in record.text.replace("\r", "\n").rstrip("\n"):
                raise RefusedFileError(
                    f"{self.name}, line {record.line}: a quote opens in this row and never closes, so that the rows after it "
                    "cannot be told apart. Nothing of this file was loaded. Close the quote or take it out and load again."
                )
            n_uneven += record.n_cells != self.n_columns and bool(record.text.strip())
            if n_uneven > self.reading.most_rejected_rows:
                raise RefusedFileError(_too_uneven(self.name, self.reading))
            ends.add(_end(record.text))
            is_sound = is_sound and record.is_sound
        return is_sound and len(ends - {""}) < 2

    def made_plain(self, scratch: Path) -> Path:
        """A copy with one kind of line end, on the same lines, in which an unsound record is one cell too few or too many."""
        with tempfile.NamedTemporaryFile("w", dir=scratch, suffix=".csv", delete=False, encoding="utf-8", newline="") as copy:
            for record in self._walk():
                text = record.text.removesuffix(_end(record.text))
                if not record.is_sound:
                    text = '"' + text.replace('"', '""') + '"' + (self.separator if self.n_columns == 1 else "")
                copy.write(text + "\n")
        return Path(copy.name)

    def _walk(self) -> Iterator[Record]:
        return walk_records(self.path, self.separator, self.skip_lines)


def _end(text: str) -> str:
    return "\r\n" if text.endswith("\r\n") else text[-1:] if text.endswith(("\n", "\r")) else ""
