"""The commands that give the studio's figures, and what is due, to other tools."""

from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard.cli_options import SettingsFile, WarehouseFile, progress
from dashboard.questions.selection.selection import Selection
from dashboard.selection_options import takes_selection
from shared.errors import UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
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


@app.command()
@takes_selection
def calendar(
    out: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write it; ends in .ics.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    with_riders: Annotated[
        bool, typer.Option("--with-riders", help="Each event names its rider by the studio's own id.")
    ] = False,
    *,
    selection: Selection,
) -> None:
    """Write the follow-ups that are due as a calendar file (iCalendar), without names and values."""
    from dashboard.accounts.access import noted
    from dashboard.export.calendar import due_calendar
    from dashboard.questions.door.asked_by import named_riders
    from dashboard.questions.door.asking import Asker
    from etl.keeping.leftovers import working_elsewhere
    from shared.files import put_in_place

    if out.suffix.lower() != ".ics":
        raise UsageError(f"FILE: found {out.name!r}, expected a name that ends in .ics.")
    asker = Asker(warehouse, load_settings(settings))
    text = due_calendar(asker, selection, with_riders=with_riders)
    out.parent.mkdir(parents=True, exist_ok=True)
    with working_elsewhere(warehouse, out.parent) as folder:
        written = folder / out.name
        written.write_bytes(text)
        put_in_place(written, out)
    whose = "with riders" if with_riders else "without riders"
    noted(warehouse, "wrote a calendar", whose, riders=named_riders(asker, selection))
    n_events = text.count(b"BEGIN:VEVENT")
    typer.echo(f"{out} holds {counted(n_events, 'follow-up')}, {whose}.")
