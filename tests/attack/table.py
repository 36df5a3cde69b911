"""Every attack as a table: `python -m tests.attack.table [NAME ...]` (`make attack`). Ends with 1 where one did not hold."""

import contextlib
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

from typer.testing import CliRunner

from dashboard.cli import app
from etl.load import load
from tests.attack.rows import Row, as_markdown, row
from warehouse_demo import EXPORTS

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
FITTER, DAYS = "F2", 365


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
    """How an attack is called: by `rows()`, but three are tables of their own."""
    if name == "hostile_files":
        return lambda: [_of_a_file(one) for one in module.rows()]
    if name == "anonymous":
        return lambda: _on_an_export(module)
    return (lambda: _differences(module)) if name == "differencing" else module.rows


@contextlib.contextmanager
def _demo() -> Iterator[Path]:
    with TemporaryDirectory() as folder:
        load([EXPORTS], Path(folder) / "demo.duckdb")
        yield Path(folder) / "demo.duckdb"


def _on_an_export(module: ModuleType) -> list[Row]:
    """One row an attacker, by what they know beyond the export."""
    with _demo() as warehouse:
        folder = warehouse.with_name("out")
        done = CliRunner().invoke(app, ["export", str(folder), "--anonymous", "--warehouse", str(warehouse)])
        assert done.exit_code == 0, done.output
        return [
            row(
                f"anonymous export: {one['knows']}",
                f"{one['riders']} riders",
                [f"{_numbers(one)}"] if one["share_below_ten"] else [],
                _numbers(one),
            )
            for one in module.rows(folder)
        ]


def _numbers(one: dict[str, Any]) -> str:
    below, right = one["share_below_ten"], one["mean_right_guesses"]
    return f"{below:.0%} with fewer than ten alike, {right:.0%} of guesses right on average"


def _of_a_file(one: dict[str, Any]) -> Row:
    seen = f"{one['outcome']}; {one['processor_seconds']:.1f} s of processor time, {one['peak_mb']:,.0f} MB"
    return row(f"hostile file: {one['attack']}", "1 check in bounded memory and time", [] if one["ok"] else [seen], seen)


def _differences(module: ModuleType) -> list[Row]:
    """One row a question: answers of a year of days subtracted from one another, as a fitter."""
    with _demo() as warehouse:
        return [
            row(
                f"differencing: {one.question}",
                f"{one.asked} selections, {one.pairs} pairs",
                [
                    f"{one.small_rows} rows and {one.small_differences} differences of too few riders, {one.recovered} values "
                    f"of single riders"
                ]
                if one.told
                else [],
                f"{one.answered} answers, none tells of fewer riders than are shown",
            )
            for one in module.replay(warehouse, FITTER, days=DAYS)
        ]


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
