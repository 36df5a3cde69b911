"""Reads TOML that somebody else may have written: size and shape are bounded before it is parsed, faults are told in sentences.

The standard library's parser takes the square of a key's dots in time and memory, and goes down a frame a bracket. Newer
ones of the same code (tomli 2.5) allow 1,000 parts a key, with which 100 kB still take 211 MB and two seconds; so that the
bounds are needed with any of them, and with these bounds the library's own is enough: 55 MB and a tenth of a second at most.
"""

import difflib
import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterable
from itertools import islice
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from shared.errors import UsageError

MOST_BYTES = 100_000
MOST_KEY_PARTS = 16
MOST_DEPTH = 16
MOST_FAULTS = 20
_SHOWN_CHARACTERS = 80

# What may hold dots and brackets that mean nothing. Possessive, so that no text makes the pattern go back.
_TEXT = re.compile(
    r'"""(?:[^"\\]++|\\(?s:.)|"(?!""))*+"""(?:"{0,2})'
    r"|'''(?:[^']++|'(?!''))*+'''(?:'{0,2})"
    r'|"(?:[^"\\\n]++|\\.)*+"'
    r"|'[^'\n]*+'"
    r"|#[^\n]*+"
)
_LONG_KEY = re.compile(rf"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){{{MOST_KEY_PARTS},}}")
_BRACKET = re.compile(r"[\[\]{}]")


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """The content of a TOML file; `what` names it in messages ("Settings file fitledger.toml").

    Raises UsageError where it is missing, no plain file, too large or too deep, or no TOML.
    """
    return parse_toml(read_bounded(path, what), what)


def read_bounded(path: Path, what: str) -> bytes:
    """The bytes of a plain file, at most one more than MOST_BYTES. Raises UsageError where it is missing or no plain file."""
    try:
        # Without waiting, since a pipe in its place would hold the reader up for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        try:
            is_plain = stat.S_ISREG(os.fstat(handle).st_mode)
            pieces = iter(lambda: os.read(handle, MOST_BYTES + 1), b"") if is_plain else iter(())
            text = b""
            while len(text) <= MOST_BYTES and (piece := next(pieces, b"")):
                text += piece
        finally:
            os.close(handle)
    except FileNotFoundError as fault:
        raise UsageError(f"{what} was not found. Name a file that exists, or leave the option out.") from fault
    except OSError as fault:
        raise UsageError(f"{what} cannot be read ({fault.strerror}). Check the file and its rights.") from fault
    if not is_plain:
        raise UsageError(f"{what} is no plain file but a folder, a pipe or a device. Name a file of TOML.")
    return text[: MOST_BYTES + 1]


def parse_toml(text: bytes, what: str) -> dict[str, Any]:
    """The content of TOML text. Raises UsageError where it is too large or too deep, or no TOML."""
    if len(text) > MOST_BYTES:
        raise UsageError(f"{what} is larger than {MOST_BYTES:,} bytes. Expected a few hundred lines of TOML.")
    try:
        words = text.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise UsageError(f"{what} is not TOML: {fault}. Save it as UTF-8.") from fault
    _require_shallow(words.replace("\r\n", "\n"), what)
    try:
        return tomllib.loads(words)
    except tomllib.TOMLDecodeError as fault:
        raise UsageError(f"{what} is not TOML: {shortened(str(fault))}. Correct that place.") from fault
    except (RecursionError, ValueError) as fault:
        raise UsageError(f"{what} is not TOML that can be read. Expected plain tables and values.") from fault


def _require_shallow(words: str, what: str) -> None:
    bare = _TEXT.sub(lambda match: "" if match.group().startswith("#") else "s", words)
    if match := _LONG_KEY.search(bare):
        line = bare.count("\n", 0, match.start()) + 1
        raise UsageError(
            f"{what} is not TOML that can be read: about line {line}, found a key of more than {MOST_KEY_PARTS} parts with "
            "dots between them. Expected plain tables and values."
        )
    depth = 0
    for bracket in _BRACKET.finditer(bare):
        depth = max(0, depth + (1 if bracket.group() in "[{" else -1))
        if depth > MOST_DEPTH:
            line = bare.count("\n", 0, bracket.start()) + 1
            raise UsageError(
                f"{what} is not TOML that can be read: about line {line}, found more than {MOST_DEPTH} brackets within one "
                "another. Expected plain tables and values."
            )


def fault_sentences(fault: ValidationError, unknown: Callable[[list[str]], str]) -> str:
    """What a model has against its content, a sentence a fault, the first MOST_FAULTS of them.

    `unknown` makes the sentence of a key that is not known, from its place.
    """

    def sentences() -> Iterable[str]:
        for error in fault.errors(include_url=False, include_context=False):
            # pydantic counts from 0; the reader counts from 1.
            place = [str(part + 1) if isinstance(part, int) else shortened(part) for part in error["loc"]]
            if error["type"] == "extra_forbidden":
                yield unknown(place)
            elif error["type"] == "missing":
                yield f"{'.'.join(place)} is missing; give it a value."
            else:
                words = error["msg"].removeprefix("Value error, ")
                yield f"{'.'.join(place)}: found {shortened(repr(error['input']))}, {words[:1].lower()}{words[1:]}."

    return first_of(sentences())


def first_of(sentences: Iterable[str]) -> str:
    """The first MOST_FAULTS sentences as one text; nobody mends more at once."""
    rest = iter(sentences)
    words = " ".join(islice(rest, MOST_FAULTS))
    return words + (" There is more of this kind; correct these first." if next(rest, None) else "")


def nearest(wrong: str, valid: Iterable[str]) -> str | None:
    """The valid word that is most like a wrong one."""
    near = difflib.get_close_matches(shortened(wrong).lower(), list(valid), n=1, cutoff=0.0)
    return near[0] if near else None


def shortened(words: str) -> str:
    """Words from outside as a message shows them."""
    return words if len(words) <= _SHOWN_CHARACTERS else words[:_SHOWN_CHARACTERS] + "…"
