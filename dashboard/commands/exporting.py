"""The command that gives the studio's figures to other tools."""

from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard.cli_options import SettingsFile, WarehouseFile, progress
from dashboard.questions.selection.selection import Selection
from dashboard.selection_options import takes_selection
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command()
@takes_selection
def export(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new or empty folder.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    anonymous: Annotated[
        bool,
        typer.Option(
            "--anonymous",
            help="Rows of at least ten riders each, for whole quarters (--from, --to); says what an attacker can do with them.",
        ),
    ] = False,
    *,
    selection: Selection,
) -> None:
    """Write fits, knees, captures and every answer as CSV and Parquet, described by datapackage.json."""
    from dashboard.accounts.access import noted
    from dashboard.export.package import export as write_export
    from dashboard.questions.door.asked_by import named_riders
    from dashboard.questions.door.asking import Asker

    asker = Asker(warehouse, load_settings(settings))
    with progress() as tell_step:
        done = write_export(asker, selection, folder, anonymous=anonymous, progress=tell_step)
    noted(warehouse, "exported", "anonymous" if anonymous else "under the studio's ids", riders=named_riders(asker, selection))
    typer.echo(f"{done.folder}: {len(done.tables)} tables as CSV and Parquet, described by datapackage.json.")
    for refusal in done.refused:
        typer.echo(f"Left out: {refusal}")
    if done.anonymity is None:
        typer.echo("It holds the riders' data under the studio's own ids. For others, write it with --anonymous.")
    else:
        _print_anonymity(done)


def _print_anonymity(done: Any) -> None:
    from dashboard.export.anonymous import CAUTION, TEXT, attacker_lines

    typer.echo(done.anonymity.words)
    for line in ["", *attacker_lines(done.anonymity), ""]:
        typer.echo(line)
    typer.echo(f"{done.rows_held_back} rows of results rest on too few, or would tell such a row, and are held back.")
    typer.echo(f"{CAUTION} {TEXT} in the folder says all this and what the rows tell.")
