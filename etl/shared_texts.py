"""Texts that the cells of a workbook share: each cell that names one is laid out with a copy of it, so that a text of a page,
named by a million cells, takes no room in the file and gigabytes in memory. Weighed on the cleaned copy, before it is read.
"""

import re
import zipfile
from array import array
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from etl import limits
from etl.source import RefusedFileError

PART = "sharedstrings.xml"
_START = re.compile(rb"<(?:\w+:)?si[\s/>]")
_NAMED = re.compile(rb"""\bt\s*=\s*["']s["']""")
_NUMBERED = re.compile(rb"""\bt\s*=\s*["']s["'][^<>]*>\s*<(?:\w+:)?v>\s*(\d{1,9})\s*<""")
_LEAST_BYTES = 18  # of a cell that names a text: <c t="s"><v>0</v>


def weigh_shared_texts(path: Path, name: str) -> None:
    """Raises RefusedFileError where a workbook shares too many texts, or its cells would hold too much text together."""
    with zipfile.ZipFile(path) as archive:
        sizes = {part.filename: part.file_size for part in archive.infolist()}
        texts = [part for part in sizes if part.lower().endswith(PART)]
        if not texts:
            return
        lengths = _lengths(archive, texts[0], name)
        longest = int(lengths.max(initial=0))
        sheets = [part for part in sizes if part not in texts]
        if sum(sizes[part] for part in sheets) // _LEAST_BYTES * longest <= limits.WORKBOOK_BYTES:
            return
        whole = 0
        for part in sheets:
            for piece in _pieces(archive, part, b"</"):
                numbers = np.array(_NUMBERED.findall(piece), dtype=np.int64)
                known = numbers[numbers < len(lengths)]
                # A cell that names its text in an odd way counts as the longest.
                whole += int(lengths[known].sum()) + longest * (len(_NAMED.findall(piece)) - len(numbers))
                if whole > limits.WORKBOOK_BYTES:
                    raise RefusedFileError(
                        f"{name}: its cells name long texts again and again, more than {limits.WORKBOOK_BYTES:,} bytes in all. "
                        "Nothing of it was loaded. Shorten the texts, or export it as CSV."
                    )


def _lengths(archive: zipfile.ZipFile, part: str, name: str) -> npt.NDArray[np.int64]:
    """The length of each shared text in bytes, its markup included."""
    starts: array[int] = array("q")
    at = 0
    for piece in _pieces(archive, part, b"<"):
        starts.extend(at + start.start() for start in _START.finditer(piece))
        at += len(piece)
        if len(starts) > limits.SHARED_TEXTS:
            raise RefusedFileError(
                f"{name}: its cells share more than {limits.SHARED_TEXTS:,} texts. Nothing of it was loaded. Split it, or "
                "export it as CSV."
            )
    starts.append(at)
    ends = np.frombuffer(starts, dtype=np.int64)
    return ends[1:] - ends[:-1]


def _pieces(archive: zipfile.ZipFile, part: str, before: bytes) -> Iterator[bytes]:
    """The bytes of a part, cut before a tag, so that no element's start is cut in two."""
    held = b""
    with archive.open(part) as opened:
        for chunk in iter(lambda: opened.read(limits.CHUNK_BYTES), b""):
            held += chunk
            cut = held.rfind(before)
            if cut > 0:
                yield held[:cut]
                held = held[cut:]
            elif len(held) > 8 * limits.CHUNK_BYTES:
                yield held
                held = b""
    yield held
