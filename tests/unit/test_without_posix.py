"""Nothing that only POSIX has is imported by our own modules: on Windows each must come in, and waitress serves there."""

import os
import subprocess
import sys
from pathlib import Path, PureWindowsPath
from typing import cast

import pytest

from etl.find import own_name, place_of
from etl.source import FoundFile
from shared.paths import is_sayable, pattern_of, quoted_path

ROOT = Path(__file__).parents[2]
# Imports every module with what Windows lacks refused to our own code; other libraries know where they are.
IMPORTS = """
import builtins, importlib, pkgutil, sys
OURS = ("shared", "etl", "dashboard", "warehouse_demo")
LACKING = {"fcntl", "pwd", "grp", "resource", "termios", "posix", "tty", "pty", "syslog"}
plain = builtins.__import__

def guarded(name, globals=None, locals=None, fromlist=(), level=0):
    asker = (globals or {}).get("__name__", "")
    if level == 0 and name.partition(".")[0] in LACKING and asker.partition(".")[0] in OURS:
        raise ImportError(f"{asker} imports {name}, which Windows lacks", name=name)
    return plain(name, globals, locals, fromlist, level)

builtins.__import__ = guarded
n = 0
for package in OURS:
    for module in pkgutil.walk_packages(importlib.import_module(package).__path__, package + "."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
            n += 1
assert "waitress" in sys.modules
print(n)
"""


def test_every_module_comes_in_without_what_windows_lacks() -> None:
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", IMPORTS], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout) > 400


class WindowsPath(PureWindowsPath):
    """A path as Windows takes it, of no file; `absolute` as that of the system would be."""

    def absolute(self) -> "WindowsPath":
        return self


def test_paths_of_windows_are_told_and_taken_apart_like_others(monkeypatch: pytest.MonkeyPatch) -> None:
    folder = WindowsPath(r"C:\Studio\export [new]")
    file = folder / "2026-03" / "S1_left.csv"
    name = file.relative_to(folder).as_posix()
    found = FoundFile(cast("Path", file), name)
    assert place_of(found) == {"@path": "2026-03/S1_left.csv", "@file": "S1_left", "@folder": "2026-03", "@sheet": ""}
    assert own_name(found) == "S1_left.csv"
    with monkeypatch.context() as patch:
        patch.setattr("shared.paths.os.sep", "\\")
        assert is_sayable(cast("Path", file))
        # A backslash parts folders, and a bracket of a name stands for itself.
        assert pattern_of(cast("Path", file)) == r"C:\Studio\export [[]new]\2026-03\S1_left.csv"
        assert quoted_path(cast("Path", folder / "Anne's.duckdb")) == r"'C:\Studio\export [new]\Anne''s.duckdb'"
    # As on this system a backslash is a plain sign of a name, it can be said only without a pattern's.
    assert is_sayable(cast("Path", file)) is (os.sep == "\\")
