"""Commands that tend the warehouse: doctor, watch."""

import signal
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from dashboard.cli_options import AsJson, Log, LogForm, SettingsFile, UnsweptWarehouse, Wait, WarehouseFile, log_form
from shared.errors import EXIT_SOME_REJECTED
from shared.settings import Settings, load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE, snapshot_of

app = typer.Typer()
# How often the watch looks whether a letter is due, where nothing was loaded.
LETTERS_SECONDS: Final = 300.0
_NEVER: Final[tuple[Any, float]] = (None, float("-inf"))
_STATES = {"fine": "fine ", "note": "note ", "do": "TO DO"}


@app.command()
def doctor(warehouse: UnsweptWarehouse = DEFAULT_WAREHOUSE, settings: SettingsFile = None, as_json: AsJson = False) -> None:
    """Check warehouse, settings, disk, clock, libraries and rights; say what to do. Exit code 3 where something is to do."""
    from etl.keeping.doctor import examine

    checks = examine(warehouse, settings)
    n_todo = sum(check.state == "do" for check in checks)
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"is_well": n_todo == 0, "checks": checks}, option=orjson.OPT_INDENT_2))
    else:
        for check in checks:
            typer.echo(f"{_STATES[check.state]}  {check.name}: {check.words}" + (f" {check.todo}" if check.todo else ""))
        typer.echo("All is well." if n_todo == 0 else f"{counted(n_todo, 'thing')} to do.")
    raise typer.Exit(EXIT_SOME_REJECTED if n_todo else 0)


@app.command()
def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where exports are dropped.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    settled: Annotated[
        float, typer.Option(metavar="SECONDS", help="A file is complete when unchanged for so long.", min=0)
    ] = 30,
    every: Annotated[float, typer.Option(metavar="SECONDS", help="How often to look.", min=0.1)] = 10,
    once: Annotated[bool, typer.Option("--once", help="Look once and end, for cron or a timer.")] = False,
    wait: Wait = 3600.0,
    log: Log = None,
) -> None:
    """Load exports that are dropped into a folder, once they are complete; one line a load. Ends on SIGTERM or Ctrl+C."""
    from dashboard.accounts.access import noted
    from etl.keeping.watch import Watcher
    from etl.load import load as load_files
    from etl.read import FoundFile
    from etl.report import LoadReport

    known = load_settings(settings)

    def load(files: list[FoundFile]) -> LoadReport:
        report = load_files(files, warehouse, settings=known, wait_seconds=wait)
        if report.load_id:
            noted(warehouse, "loaded", f"load {report.load_id}")
        return report

    stop, tell = threading.Event(), _teller(log_form(log, known))
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    watcher = Watcher(
        folder,
        warehouse,
        load=load,
        clock=time.time,
        pause=lambda seconds: not stop.wait(seconds),
        tell=tell,
        settled_seconds=settled,
        every_seconds=every,
        reading=known.reading,
        between=_letters_due(warehouse, known, stopped=stop.is_set, tell=tell),
    )
    if not once:
        watcher.run()
        return
    report = watcher.turn(once=True)
    watcher.between()
    if watcher.failures:
        raise typer.Exit(5)
    raise typer.Exit(report.exit_code if report else 0)


def _letters_due(
    warehouse: Path, settings: Settings, *, stopped: Callable[[], bool], tell: Callable[[str], None]
) -> Callable[[], None]:
    """Sends the letters that are due: after a load, and else once in LETTERS_SECONDS."""
    if not settings.letters.is_set:
        return lambda: None
    from dashboard.letters.due import send_due_quietly
    from dashboard.questions.door.asking import Asker

    asker, last = Asker(warehouse, settings), [_NEVER]

    def send() -> None:
        state = snapshot_of(warehouse)
        seen, at = last[0]
        if state is None or stopped() or (state == seen and time.monotonic() - at < LETTERS_SECONDS):
            return
        last[0] = (state, time.monotonic())
        send_due_quietly(asker, tell)

    return send


def _teller(form: LogForm) -> Callable[[str], None]:
    if form is LogForm.JSON:
        import logging

        from shared.log_lines import use_json_lines

        use_json_lines()
        return logging.getLogger("fitledger.watch").info
    return lambda line: typer.echo(f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ} {line}")
