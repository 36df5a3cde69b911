"""Writes the section [encryption] into a settings file and takes it out again; every other line stays as it is."""

import json
import re
import stat
from pathlib import Path
from typing import Any

from shared.errors import UsageError
from shared.files import write_in_place
from shared.toml_file import parse_toml, read_bounded

_SECTION = re.compile(r"\n*^\[encryption\][^\n]*\n?(?:[ \t]*(?:key_file|keyring)\b[^\n]*(?:\n|\Z))*", re.MULTILINE)


def set_encryption(path: Path, name: str, value: str) -> None:
    """Adds `[encryption]` with one setting; the file is made where there is none.

    Raises UsageError where the file cannot be written, or has such a section in a form that this does not know.
    """
    path = path.resolve()  # a link stays one
    old = _read(path)
    begun = _SECTION.sub("\n", old).rstrip("\n")
    # A text of JSON is one of TOML.
    section = f"[encryption]\n{name} = {json.dumps(value, ensure_ascii=False)}\n"
    _write(path, old, f"{begun}\n\n{section}" if begun.strip() else section, {name: value})


def drop_encryption(path: Path) -> None:
    """Takes the section out, if there is one. Raises UsageError as `set_encryption` does."""
    path = path.resolve()
    old = _read(path)
    if "encryption" in parse_toml(old.encode(), f"Settings file {path}"):
        _write(path, old, _SECTION.sub("\n", old).lstrip("\n"), None)


def _read(path: Path) -> str:
    return read_bounded(path, f"Settings file {path}").decode() if path.exists() else ""


def _write(path: Path, old: str, new: str, section: dict[str, str] | None) -> None:
    """Writes the new text where it says what the old one did, but for the section."""
    what = f"Settings file {path}"
    wanted = {key: value for key, value in parse_toml(old.encode(), what).items() if key != "encryption"}
    if section:
        wanted["encryption"] = section
    words = f"encryption.{next(iter(section))}" if section else "no section [encryption]"
    try:
        if _content(new, what) != wanted:
            raise UsageError(f"{what}: found a section [encryption] in an unknown form. Give it {words} by hand.")
        mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o644
        write_in_place(path, new.encode())
        path.chmod(mode)
    except OSError as fault:
        raise UsageError(f"{what} could not be written ({fault}). Give it {words} by hand.") from fault


def _content(text: str, what: str) -> dict[str, Any] | None:
    """What the text says; None where it is no TOML."""
    try:
        return parse_toml(text.encode(), what)
    except UsageError:
        return None
