"""Writes the section [encryption] into a settings file and takes it out again; every other line stays as it is."""

import json
import re
import stat
import tomllib
from pathlib import Path

from shared.errors import UsageError
from shared.files import write_in_place

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
    if "encryption" in tomllib.loads(old):
        _write(path, old, _SECTION.sub("\n", old).lstrip("\n"), None)


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.exists() else ""


def _write(path: Path, old: str, new: str, section: dict[str, str] | None) -> None:
    """Writes the new text where it says what the old one did, but for the section."""
    wanted = {key: value for key, value in tomllib.loads(old).items() if key != "encryption"}
    if section:
        wanted["encryption"] = section
    words = f"encryption.{next(iter(section))}" if section else "no section [encryption]"
    try:
        if tomllib.loads(new) != wanted:
            raise UsageError(f"Settings file {path}: found a section [encryption] in an unknown form. Give it {words} by hand.")
        mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o644
        write_in_place(path, new.encode())
        path.chmod(mode)
    except (OSError, tomllib.TOMLDecodeError) as fault:
        raise UsageError(f"Settings file {path} could not be written ({fault}). Give it {words} by hand.") from fault
