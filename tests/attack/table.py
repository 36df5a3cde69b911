"""Every attack as a table: `python -m tests.attack.table [NAME ...]` (`make attack`). Ends with 1 where one did not hold."""

import contextlib
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType

from typer.testing import CliRunner

from tests.attack.rows import Row, as_markdown, row

# Each a module with `rows()`; in the order of the issue that asked for them, the walk first.
ATTACKS = (
    "walking",
    "drips",
    "differencing",
    "hostile_files",
    "anonymous",
    "forgetting",
    "leftovers",
    "names",
    "sign_in",
    "stale",
)


def rows_of(name: str) -> list[Row]:
    """The rows of one attack; an attack that cannot be made has not held."""
    try:
        module = import_module(f"tests.attack.{name}")
    except ModuleNotFoundError as missing:
        if missing.name != f"tests.attack.{name}":
            raise
        return [row(name, "nothing", ["module missing"], "")]
    try:
        return _given(name, module)()
    except Exception as fault:
        return [row(name, "stopped", [f"{type(fault).__name__}: {str(fault)[:200]}"], "")]


def _given(name: str, module: ModuleType) -> Callable[[], list[Row]]:
    """How the attack is called; the one on an anonymous export gets an export of the demo."""
    if name != "anonymous":
        return module.rows

    def on_an_export() -> list[Row]:
        from dashboard.cli import app
        from etl.load import load
        from warehouse_demo import EXPORTS

        with TemporaryDirectory() as given:
            warehouse, folder = Path(given) / "demo.duckdb", Path(given) / "out"
            load([EXPORTS], warehouse)
            done = CliRunner().invoke(app, ["export", str(folder), "--anonymous", "--warehouse", str(warehouse)])
            assert done.exit_code == 0, done.output
            return module.rows(folder)

    return on_an_export


def main(names: list[str]) -> int:
    found: list[Row] = []
    for name in names or ATTACKS:
        sys.stderr.write(f"{name} …\n")
        # What a command under attack prints is no part of the table.
        with contextlib.redirect_stdout(sys.stderr):
            found += rows_of(name)
    sys.stdout.write(as_markdown(found) + "\n")
    return 0 if all(one["held"] for one in found) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
