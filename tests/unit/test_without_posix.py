"""Nothing that only POSIX has is imported by our own modules: on Windows each must come in, and waitress serves there."""

import subprocess
import sys
from pathlib import Path

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
