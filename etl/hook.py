"""A studio's own step between its files and the mapping: one Python function from tables to tables, for what a mapping cannot
say.

It is named on the command line of the machine alone, never by a mapping, an upload or a watched folder, and runs in a process
of its own that cannot write (hook_child.py). That keeps accidents out, not an attacker: whoever may name a hook may run
programs here.
"""

import csv
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from etl.mending import is_to_mend
from etl.read import open_unmatched
from etl.relation import cells_relation, forget_ragged
from etl.source import FoundFile, RefusedFileError
from shared.errors import HookError
from shared.warehouse import Warehouse

_CHILD = Path(__file__).with_name("hook_child.py")
# Nothing else of this machine is told to the hook: keys may stand in the environment.
_ENVIRONMENT = ("PATH", "SYSTEMROOT", "LANG", "LC_ALL", "TZ")


@dataclass(frozen=True)
class Hook:
    """A hook file with the text that it had when the load began."""

    path: Path
    text: bytes

    @property
    def words(self) -> str:
        """How it is told in the report and in the ledger: its name and the start of its SHA-256."""
        return f"hook: {self.path.name} ({hashlib.sha256(self.text).hexdigest()[:12]})"


def load_hook(path: Path) -> Hook:
    """The hook in a file. Raises HookError where it cannot be read."""
    try:
        return Hook(path, path.read_bytes())
    except OSError as fault:
        raise HookError(
            f"Hook {path}: cannot be read ({fault.strerror or fault}). Nothing was loaded. Name a Python file with one "
            "function, tables(tables)."
        ) from fault


def hooked(hook: Hook, files: list[FoundFile], scratch: Path, warehouse: Warehouse) -> list[FoundFile]:
    """The files as the hook gives them: one that it returns as it was stands as it is, one that it leaves out is told so.

    Files to mend are not given to it: their rows are those that it gave. Raises HookError where the hook fails.
    """
    folder = Path(tempfile.mkdtemp(dir=scratch)).absolute()
    given: list[FoundFile] = []
    rest, headers, forms = [], [], {}
    for file in files:
        if file.refusal or is_to_mend(file):
            rest.append(file)
            continue
        try:
            names, cells, forms[file.name] = _cells_of(file, scratch, warehouse)
        except RefusedFileError as refusal:
            rest.append(replace(file, refusal=str(refusal)))
            continue
        cells.replace(folder / f"{len(given)}.csv")
        given.append(file)
        headers.append(names)
    (folder / "given.json").write_text(json.dumps([file.name for file in given]), encoding="utf-8")
    (folder / "headers.json").write_text(json.dumps(headers), encoding="utf-8")
    own = folder / "hook.py"
    own.write_bytes(hook.text)
    made = _run(hook, own, folder)
    by_name = {file.name: (no, file) for no, file in enumerate(given)}
    for name in by_name.keys() - set(made):
        words = f"{name}: left out by the {hook.words}."
        rest.append(replace(by_name[name][1], refusal=words))
    mappings = list({id(file.mapping): file.mapping for file in given}.values())
    for no, name in enumerate(made):
        cells = folder / f"o{no}.csv"
        if name in by_name:
            number, file = by_name[name]
            is_as_it_was = _digest(cells) == _digest(folder / f"{number}.csv")
            changed = replace(file, unpacked=cells, workbook=None, hook=hook.words, cell_form=forms[name])
            rest.append(file if is_as_it_was else changed)
        else:
            mapping = mappings[0] if len(mappings) == 1 else None
            reading = given[0].reading if given else files[0].reading
            rest.append(FoundFile(hook.path, name, unpacked=cells, mapping=mapping, reading=reading, hook=hook.words))
    return sorted(rest, key=lambda file: file.name)


def _cells_of(file: FoundFile, scratch: Path, warehouse: Warehouse) -> tuple[tuple[str, ...], Path, str]:
    """A file's headings, its rows of text as CSV in `scratch`, and its form. Raises RefusedFileError where there are none."""
    source = open_unmatched(file, scratch, warehouse)
    relation, parameters = cells_relation(source)
    forget_ragged(warehouse)
    frame = warehouse.frame(relation, parameters)
    if source.form != ".parquet" and warehouse.value("SELECT count(*) FROM ragged_rows"):
        raise RefusedFileError(
            f"{file.name}: holds rows whose cells cannot be told apart, and no hook can be given it. Nothing was loaded. "
            "Check its separators and quotes and load again."
        )
    return source.headers, _write_frame(frame.set_axis(list(source.headers), axis=1), scratch), source.form


def _write_frame(frame: pd.DataFrame, scratch: Path) -> Path:
    """A frame of text cells as CSV, an empty cell where there is none."""
    with tempfile.NamedTemporaryFile(dir=scratch, suffix=".csv", delete=False) as copy:
        frame.fillna("").to_csv(copy, index=False, quoting=csv.QUOTE_ALL, lineterminator="\n", encoding="utf-8")
    return Path(copy.name)


def _run(hook: Hook, own: Path, folder: Path) -> list[str]:
    """Runs the hook; returns the names of its tables."""
    environment = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
    command = [sys.executable, "-I", str(_CHILD), str(own), str(folder)]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, check=False)
    fault = folder / "fault.json"
    if fault.exists():
        told = json.loads(fault.read_text(encoding="utf-8"))
        raise HookError(_fault_words(hook, told), trace=told["trace"].replace(str(own), str(hook.path)))
    made = folder / "made.json"
    if done.returncode or not made.exists():
        raise HookError(f"Hook {hook.path}: ended without an answer (code {done.returncode}). Nothing was loaded. Correct it.")
    names: list[str] = json.loads(made.read_text(encoding="utf-8"))
    return names


def _fault_words(hook: Hook, told: dict[str, str | int | None]) -> str:
    place = f"Hook {hook.path}" + (f", line {told['line']}" if told["line"] else "")
    if told["outside"]:
        return (
            f"{place}: a hook may read what it is given and return tables, and nothing else (it tried to: {told['outside']}). "
            "Nothing was loaded. Take that out of it."
        )
    if told["kind"] == "KeyError" and not told["line"]:
        return f"{place}: has no function tables(tables). Nothing was loaded. Write one that takes and returns tables by name."
    return (
        f"{place}: stopped with {told['kind']}. Nothing was loaded. Correct it: it takes a dict of tables by name, and returns "
        "one; every cell is text."
    )


def _digest(path: Path) -> bytes:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()
