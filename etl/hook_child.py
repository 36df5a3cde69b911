"""Runs a hook in a process of its own, which can write into one folder only: `python -I hook_child.py HOOK FOLDER`.

FOLDER holds given.json (the names of the tables, in order), headers.json and each table as N.csv; beside them the hook's tables
are written as oN.csv with made.json, or fault.json with the kind of what went wrong, its line in the hook, and its traceback
without the messages, which may hold cells.
"""

import json
import os
import runpy
import sys
import traceback
from pathlib import Path

import pandas as pd

# What changes files, starts programs or reaches another machine.
_NEVER = (
    "os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.chmod", "os.chown", "os.truncate",
    "os.utime", "os.system", "os.exec", "os.fork", "os.forkpty", "os.posix_spawn", "os.spawn", "os.startfile", "os.kill",
    "os.putenv", "subprocess.Popen", "socket.connect", "socket.bind", "socket.sendto", "socket.getaddrinfo", "shutil.",
    "ctypes.", "pty.spawn", "webbrowser.open", "urllib.Request", "tempfile.mkdtemp", "sqlite3.connect",
)  # fmt: skip
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


class OutsideError(Exception):
    """The hook did what a hook may not do; the message names it."""


def guard() -> None:
    """Refuses from now on all that is done outside of this process, but for reading files. It cannot be taken off again."""
    state = {"is_on": True}

    def look(event: str, args: tuple[object, ...]) -> None:
        if not state["is_on"]:
            return
        if event == "open" and isinstance(args[2], int) and args[2] & _WRITES and args[0] != os.devnull:
            raise OutsideError("write a file")
        if event.startswith(_NEVER):
            raise OutsideError(event)

    sys.addaudithook(look)
    guard.off = lambda: state.update(is_on=False)  # type: ignore[attr-defined]


def main(hook: Path, folder: Path) -> None:
    """Runs the hook on the tables of the folder."""
    names = json.loads((folder / "given.json").read_text(encoding="utf-8"))
    given = {name: pd.read_csv(folder / f"{no}.csv", dtype=str, keep_default_na=False) for no, name in enumerate(names)}
    for name, headers in zip(names, json.loads((folder / "headers.json").read_text(encoding="utf-8")), strict=True):
        given[name].columns = pd.Index(headers)
    guard()
    try:
        made = runpy.run_path(str(hook))["tables"](given)
        kept = {str(name): _as_text(frame) for name, frame in made.items()}
    except BaseException as fault:
        guard.off()  # type: ignore[attr-defined]
        frames = traceback.extract_tb(fault.__traceback__)
        own = [frame.lineno for frame in frames if Path(frame.filename) == hook]
        trace = "".join(traceback.format_list(frames)) + type(fault).__name__
        what = str(fault) if isinstance(fault, OutsideError) else ""
        line = own[-1] if own else getattr(fault, "lineno", None)
        told = {"kind": type(fault).__name__, "line": line, "trace": trace, "outside": what}
        (folder / "fault.json").write_text(json.dumps(told), encoding="utf-8")
        return
    guard.off()  # type: ignore[attr-defined]
    for no, frame in enumerate(kept.values()):
        frame.to_csv(folder / f"o{no}.csv", index=False, quoting=1, lineterminator="\n", encoding="utf-8")
    (folder / "made.json").write_text(json.dumps(list(kept)), encoding="utf-8")


def _as_text(frame: object) -> pd.DataFrame:
    """A table of text cells. Raises TypeError where it is none."""
    if not isinstance(frame, pd.DataFrame):
        raise TypeError("no table")
    text = frame.astype(object).where(frame.notna(), "")
    return text.map(lambda cell: cell if isinstance(cell, str) else str(cell))


if __name__ == "__main__":
    sys.dont_write_bytecode = True
    main(Path(sys.argv[1]), Path(sys.argv[2]))
