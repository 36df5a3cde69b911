"""Commands that keep the warehouse: migrate, backup, restore."""

import typer

from dashboard.cli_options import SettingsFile, Wait, WarehouseFile
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE, open_reading

app = typer.Typer()


@app.command()
def migrate(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None, wait: Wait = 10.0) -> None:
    """Bring the warehouse of an earlier fitledger up to this one; every row, load and reject is kept."""
    from etl.keeping.migrate import bring_up_to_date

    open_reading(warehouse, may_be_older=True).close()
    done = bring_up_to_date(warehouse, load_settings(settings), wait_seconds=wait)
    if done.earlier == done.present:
        typer.echo(f"{warehouse} is of version {done.present} already: nothing was to do.")
    else:
        typer.echo(f"{warehouse} was brought from version {done.earlier} to {done.present}.")
