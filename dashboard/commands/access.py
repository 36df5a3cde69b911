"""The command that reads the log of access."""

from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dashboard.cli_options import AsCsv, AsJson, SettingsFile, WarehouseFile
from shared.errors import UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

if TYPE_CHECKING:
    from etl.keeping.access_log import Entry

app = typer.Typer()


@app.command()
def access(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    date_from: Annotated[str, typer.Option("--from", metavar="DATE", help="YYYY-MM-DD, by UTC.")] = "",
    date_to: Annotated[str, typer.Option("--to", metavar="DATE", help="YYYY-MM-DD, by UTC; this day too.")] = "",
    who: Annotated[str, typer.Option(metavar="NAME", help="Of this account or user only.")] = "",
    rider: Annotated[str, typer.Option(metavar="ID", help="Only what named this rider.")] = "",
    as_json: AsJson = False,
    as_csv: AsCsv = False,
) -> None:
    """Tell who signed in, opened, downloaded, loaded, took back, forgot or restored what; no measure and no note stands
    there."""
    from etl.keeping.access_log import AccessLog

    log = AccessLog(warehouse, kept_days=load_settings(settings).access.kept_days)
    log.drop_old()
    begin, end = _day("--from", date_from), _day("--to", date_to)
    entries = [
        entry
        for entry in log.entries()
        if (not begin or entry.at[:10] >= begin)
        and (not end or entry.at[:10] <= end)
        and (not who or entry.who == who)
        and (not rider or rider.casefold() in (one.casefold() for one in entry.riders))
    ]
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"entries": entries}, option=orjson.OPT_INDENT_2))
    elif as_csv:
        from dashboard.questions.selection.answers import rows_to_csv

        typer.echo(rows_to_csv([_entry_cells(entry) for entry in entries]), nl=False)
    else:
        for entry in entries:
            row = _entry_cells(entry)
            typer.echo("  ".join(str(cell) for cell in row.values() if cell))
        typer.echo(f"{counted(len(entries), 'entry', 'entries')}.")


def _entry_cells(entry: "Entry") -> dict[str, Any]:
    """An entry as flat cells."""
    return {name: " ".join(value) if isinstance(value, tuple) else value for name, value in asdict(entry).items()}


def _day(option: str, given: str) -> str:
    """A day as the entries write it. Raises UsageError for anything else."""
    try:
        return date.fromisoformat(given).isoformat() if given else ""
    except ValueError as fault:
        raise UsageError(f"{option}: found {given!r}, expected a date as 2026-03-31.") from fault
