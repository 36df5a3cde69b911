"""Options and arguments that several commands share, and the progress that they print."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from shared.errors import UsageError
from shared.lakes.places import PREFIX, located
from shared.settings import Settings, load_settings, settings_file, use_settings_file


def _in_force(path: Path | None) -> Path | None:
    """Every command that takes a settings file makes it the one of the run, so that keys are looked up in it."""
    use_settings_file(path)
    return path


def _located(warehouse: Path) -> Path:
    """The file that a warehouse's name stands for: itself, or the catalogue of the lake that the settings name."""
    given = str(warehouse)
    if not given.startswith(PREFIX):
        return warehouse
    return located(given.removeprefix(PREFIX), load_settings().lakes.named, settings_file())


def _swept(warehouse: Path) -> Path:
    """At the start of every command: what programs left that were killed goes, with the riders' data in it."""
    from etl.keeping.leftovers import sweep_all

    warehouse = _located(warehouse)
    sweep_all(warehouse)
    return warehouse


Paths = Annotated[list[Path], typer.Argument(metavar="PATH…", help="Folders or files of exports.", show_default=False)]
WarehouseFile = Annotated[
    Path, typer.Option("--warehouse", callback=_swept, metavar="FILE", help="The warehouse file, or lake:NAME.")
]
# For a command that changes nothing, not even that.
UnsweptWarehouse = Annotated[
    Path, typer.Option("--warehouse", callback=_located, metavar="FILE", help="The warehouse file, or lake:NAME.")
]
SettingsFile = Annotated[
    Path | None,
    typer.Option(
        "--settings",
        metavar="FILE",
        help="Settings (TOML); fitledger.toml is found by itself.",
        callback=_in_force,
        is_eager=True,
    ),
]
MappingFile = Annotated[
    Path | None,
    typer.Option(
        "--mapping", metavar="FILE", help="Mapping of a foreign export (TOML); a folder's mapping.toml is found by itself."
    ),
]
HookFile = Annotated[
    Path | None,
    typer.Option("--hook", metavar="FILE", help="A Python file with one function from tables to tables, run on the exports."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
AsCsv = Annotated[bool, typer.Option("--csv", help="Print comma-separated rows.")]
Wait = Annotated[float, typer.Option(metavar="SECONDS", help="How long to wait in line for other loads to end.", min=0)]


def day_given(given: str, option: str) -> date | None:
    """The day of an option; None where it was not given. Raises UsageError where it is none."""
    try:
        return date.fromisoformat(given) if given else None
    except ValueError as fault:
        raise UsageError(f"{option}: found {given!r}, expected a date as 2027-06-30.") from fault


class LogForm(StrEnum):
    """text: what the program says of itself. json: a JSON object a line, also for each request, load and fault."""

    TEXT = "text"
    JSON = "json"


Log = Annotated[
    LogForm | None,
    typer.Option("--log", help="json: a JSON object a line, each request and load with an id. [logs] form says it for all."),
]
Host = Annotated[str, typer.Option(help="Address to serve on.")]
Port = Annotated[int, typer.Option(help="Port to serve on; 0 takes a free one.", min=0, max=65535)]


def log_form(given: LogForm | None, settings: Settings) -> LogForm:
    """The form of a command's log: its own, or that of the settings."""
    return given or LogForm(settings.logs.form)


@contextmanager
def progress() -> Iterator[Callable[[int, int, str], None]]:
    """A bar on a terminal, plain lines in a pipe; both on standard error, so that --json stays clean."""
    if not sys.stderr.isatty():
        yield lambda done, total, words: typer.echo(f"[{done + 1}/{total}] {words}", err=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("")
        yield lambda done, total, words: bar.update(task, completed=done, total=total, description=words)
