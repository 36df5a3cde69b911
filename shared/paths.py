"""Paths as DuckDB takes them, so that a file is named by its own name alone, whatever signs stand in it.

DuckDB's readers (read_csv, read_parquet) take a path for a pattern, in which `*`, `?` and `[` stand for other names; a word
and a colon at a path's start (`md:`, `http:`) name another place, for which an extension would be fetched. Tried on 1.5.5 and
2.0.1: an absolute path means a file of this machine, and each such sign in brackets of its own means itself. A backslash
parts folders in a pattern, also where it is a plain sign of a name; such a name together with a pattern's sign, and bytes that
are no text, cannot be said at all (`is_sayable`), and the file is opened under a link with a name of ours.
"""

import os
import re
from pathlib import Path

from shared.errors import UsageError

_OF_PATTERNS = re.compile(r"[*?\[]")


def is_sayable(path: Path) -> bool:
    """Whether DuckDB's readers can be told to open this very file."""
    text = str(path.absolute())
    return _is_text(text) and not (os.sep == "/" and "\\" in text and _OF_PATTERNS.search(text))


def literal(path: Path) -> str:
    """The path for what takes it as it stands: connect, temp_directory. Raises UsageError where it holds what is no text."""
    text = str(path.absolute())
    if not _is_text(text):
        raise _unsayable(path)
    return text


def quoted_path(path: Path) -> str:
    """The path as a quoted text of SQL, for ATTACH and COPY."""
    return "'" + literal(path).replace("'", "''") + "'"


def pattern_of(path: Path) -> str:
    """The pattern that this file alone fits, for read_csv and read_parquet. Raises UsageError where there is none."""
    if not is_sayable(path):
        raise _unsayable(path)
    return _OF_PATTERNS.sub(lambda sign: f"[{sign.group()}]", literal(path))


def on_one_line(name: str) -> str:
    """A name from outside on one line, in which what cannot be printed stands as its code."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in name)


def _is_text(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return "\x00" not in text


def _unsayable(path: Path) -> UsageError:
    return UsageError(
        f"{on_one_line(str(path))}: this path holds bytes that are no UTF-8, or a backslash beside one of * ? [, and cannot be "
        "opened. Rename its folders or the file."
    )
