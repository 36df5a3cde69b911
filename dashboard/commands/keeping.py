"""Commands that keep the warehouse: migrate, backup, restore."""

import os
from pathlib import Path
from typing import Annotated

import typer

from dashboard.cli_options import SettingsFile, Wait, WarehouseFile
from shared.errors import UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE, open_reading

app = typer.Typer()


@app.command()
def migrate(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None, wait: Wait = 10.0) -> None:
    """Bring the warehouse of an earlier fitledger up to this one; every row, load and reject is kept."""
    from dashboard.accounts.access import noted
    from etl.keeping.migrate import bring_up_to_date

    open_reading(warehouse, may_be_older=True).close()
    done = bring_up_to_date(warehouse, load_settings(settings), wait_seconds=wait)
    if done.earlier == done.present:
        typer.echo(f"{warehouse} is of version {done.present} already: nothing was to do.")
    else:
        noted(warehouse, "brought up to date", f"version {done.present}")
        typer.echo(f"{warehouse} was brought from version {done.earlier} to {done.present}.")


@app.command()
def backup(
    target: Annotated[
        str, typer.Argument(metavar="FILE|FOLDER/", help="Where to write it; a folder is made.", show_default=False)
    ],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    keep: Annotated[
        int | None,
        typer.Option(metavar="N", help="Of the backups in that folder keep the newest N.", min=1, show_default=False),
    ] = None,
) -> None:
    """Write a checked copy of the warehouse, also while a load runs; in a folder it gets a name of its own."""
    from dashboard.accounts.access import noted
    from etl.keeping.backup import back_up, keep_newest

    # Not a Path, which would lose the stroke that says that a folder is meant.
    into_folder = target.endswith(("/", os.sep))
    if keep and not (into_folder or Path(target).is_dir()):
        raise UsageError(f"--keep: found the file {target}, expected a folder. End its name with a stroke: {target}/.")
    made, manifest = back_up(warehouse, Path(target), into_folder=into_folder)
    noted(warehouse, "backed up")
    typer.echo(f"{made}: {manifest.words}.")
    if keep and (older := keep_newest(warehouse, made.parent, keep)):
        typer.echo(f"{counted(len(older), 'older backup')} removed; the newest {keep} are kept.")
    typer.echo("It holds the riders' data: keep it like the warehouse. fitledger restore puts it back.")


@app.command()
def restore(
    backup: Annotated[Path, typer.Argument(metavar="BACKUP", help="A file that backup wrote.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    replace: Annotated[bool, typer.Option("--replace", help="Replace a warehouse that is there; it is kept beside.")] = False,
    settings: SettingsFile = None,
    wait: Wait = 10.0,
) -> None:
    """Put a backup in place, once its digest and version have been checked; all of it or none."""
    from dashboard.accounts.access import noted
    from etl.keeping.restore import restore as put_back

    done = put_back(backup, warehouse, replace=replace, settings=load_settings(settings), wait_seconds=wait)
    noted(warehouse, "restored")
    typer.echo(f"{warehouse} is the backup now: {done.manifest.words}.")
    if done.n_forgotten is None:
        typer.echo(
            "The warehouse that was there could not be read, so that it could not tell who was forgotten since the backup was "
            "made: forget those riders again."
        )
    elif done.n_forgotten:
        riders = counted(done.n_forgotten, "rider was", "riders were")
        typer.echo(f"{riders} forgotten since the backup was made, and taken out of it again.")
    if done.logbook != "none":
        told = "is that of the backup" if done.logbook == "restored" else "stays as it is, since no load replaces it"
        typer.echo(f"The logbook {told}.")
    if done.kept:
        typer.echo(f"The warehouse that was there is kept as {done.kept}; delete it when you no longer need it.")
