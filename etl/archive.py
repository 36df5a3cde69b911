"""Packed files: gzip, zip and the zip inside a workbook, unpacked with bounded size and ratio, under names of our own."""

import gzip
import lzma
import re
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from etl import limits
from etl.source import RefusedFileError
from shared.settings_running import Reading

# RuntimeError: an encrypted member or an unknown kind of compression.
_BROKEN = (
    zipfile.BadZipFile,
    gzip.BadGzipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    RuntimeError,
    ValueError,
    KeyError,
    struct.error,
)
_NESTED = (".zip", ".gz.gz", ".7z", ".rar", ".tar", ".tgz")
_MEMBER = re.compile(r"^[^\x00\\:]+$")


class _Readable(Protocol):
    def read(self, size: int, /) -> bytes: ...


class Budget:
    """How much may still be unpacked from one file of `packed` bytes."""

    def __init__(self, name: str, packed: int, most: int) -> None:
        self.name = name
        self.left = min(most, limits.UNPACKED_FREE_BYTES + limits.UNPACKED_RATIO * packed)
        self.allowed = self.left

    def spend(self, size: int) -> None:
        """Takes off what was unpacked. Raises RefusedFileError where it was more than is left."""
        self.left -= size
        if self.left < 0:
            raise RefusedFileError(
                f"{self.name}: unpacks to more than {self.allowed:,} bytes, more than any export of its size. Nothing of it "
                "was loaded. Unpack it yourself, look at what it holds, and load the tables."
            )


def unpack_gzip(path: Path, name: str, scratch: Path, reading: Reading) -> Path:
    """The content of a gzip file as a file in `scratch`."""
    budget = Budget(name, path.stat().st_size, reading.most_bytes_per_file)
    with _unpacking(name, "gzip"), gzip.open(path, "rb") as packed:
        return _copied(packed, budget, scratch, Path(name.removesuffix(".gz")).suffix)


def unpack_zip(path: Path, name: str, scratch: Path, reading: Reading) -> list[tuple[str, Path]]:
    """Every file of a zip archive as (its name there, a file in `scratch`), in the order of names.

    Raises RefusedFileError for the whole archive where a member lies outside it, is packed again, is a link or
    encrypted, stands twice, or where the archive is broken or unpacks to too much.
    """
    with _unpacking(name, "zip"), zipfile.ZipFile(path) as archive:
        _check_members(name, archive.infolist())
        members = [member for member in archive.infolist() if not member.is_dir() and not _is_clutter(member.filename)]
        budget = Budget(name, path.stat().st_size, reading.most_bytes_per_file)
        unpacked = []
        for member in sorted(members, key=lambda member: member.filename):
            with archive.open(member) as packed:
                unpacked.append((member.filename, _copied(packed, budget, scratch, _suffix(member.filename))))
    return unpacked


def copy_xml(path: Path, name: str, scratch: Path, look: Callable[[str, Iterator[bytes]], Iterator[bytes]]) -> Path:
    """A copy of a workbook with nothing in it but its XML parts, unpacked, each as `look(part, chunks)` gives it back.

    The reader of sheets opens the copy, so that it meets no more bytes than were counted here.
    """
    with tempfile.NamedTemporaryFile(dir=scratch, suffix=".xlsx", delete=False) as file:
        clean = Path(file.name)
    with _unpacking(name, "XLSX"), zipfile.ZipFile(path) as archive, zipfile.ZipFile(clean, "w") as copy:
        members = [member for member in archive.infolist() if member.filename.lower().endswith((".xml", ".rels"))]
        _check_members(name, members)
        budget = Budget(name, path.stat().st_size, limits.WORKBOOK_BYTES)
        for member in members:
            with archive.open(member) as packed, copy.open(member.filename, "w", force_zip64=True) as part:
                for chunk in look(member.filename, _bounded(packed, budget)):
                    part.write(chunk)
    return clean


def _check_members(name: str, members: list[zipfile.ZipInfo]) -> None:
    if len(members) > limits.MEMBERS:
        raise RefusedFileError(
            f"{name}: holds {len(members):,} files, expected {limits.MEMBERS:,} at most. Unpack it and load the tables."
        )
    seen: set[str] = set()
    for member in members:
        fault = _fault(member, seen)
        if fault:
            raise RefusedFileError(
                f"{name}: {member.filename[:80]!r} inside it {fault}. Nothing of this archive was loaded. "
                "Pack the plain tables again."
            )
        seen.add(member.filename.lower())


def _fault(member: zipfile.ZipInfo, seen: set[str]) -> str | None:
    parts = member.filename.split("/")
    if not _MEMBER.match(member.filename) or member.filename.startswith("/") or ".." in parts:
        return "names a place outside of the archive"
    if member.filename.lower() in seen:
        return "stands twice"
    if member.flag_bits & 0x1:
        return "is encrypted"
    if (member.external_attr >> 16) & 0o170000 == 0o120000:
        return "is a link"
    if member.filename.lower().endswith(_NESTED):
        return "is an archive again"
    return None


def _is_clutter(member: str) -> bool:
    """What operating systems add of their own."""
    return member.startswith("__MACOSX/") or member.rpartition("/")[2].startswith(".")


def _suffix(member: str) -> str:
    """Only the ending of a name is taken over, and only a plain one."""
    suffix = re.search(r"(\.[a-z]{1,8}){1,2}$", member.lower())
    return suffix.group() if suffix else ""


def _copied(packed: _Readable, budget: Budget, scratch: Path, suffix: str) -> Path:
    with tempfile.NamedTemporaryFile(dir=scratch, suffix=suffix, delete=False) as copy:
        copy.writelines(_bounded(packed, budget))
    return Path(copy.name)


def _bounded(packed: _Readable, budget: Budget) -> Iterator[bytes]:
    for chunk in iter(lambda: packed.read(limits.CHUNK_BYTES), b""):
        budget.spend(len(chunk))
        yield chunk


@contextmanager
def _unpacking(name: str, kind: str) -> Iterator[None]:
    try:
        yield
    except _BROKEN as fault:
        raise RefusedFileError(
            f"{name}: this is no {kind} file, or it is broken. Nothing of it was loaded. Export it again."
        ) from fault
