"""The commands that write the owner's report and the meeting sheet."""

from pathlib import Path
from typing import Annotated

import typer

from dashboard.cli_options import SettingsFile, WarehouseFile, progress
from dashboard.questions.selection.selection import Selection
from dashboard.selection_options import takes_selection
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command()
@takes_selection
def report(
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where to write it; ends in .html or .pdf.")],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    short: Annotated[
        bool, typer.Option("--short", help="Its first two sheets alone: sentences, four charts, what to do.")
    ] = False,
    with_fitters: Annotated[
        bool, typer.Option("--with-fitters", help="For the head fitter: each fitter's outcomes and flagged fits too.")
    ] = False,
    with_riders: Annotated[
        bool, typer.Option("--with-riders", help="Lists of single riders and fits too, by the studio's own ids.")
    ] = False,
    *,
    selection: Selection,
) -> None:
    """Write the owner's report: a short one of two sheets, and behind it what the screens show."""
    from dashboard.accounts.access import noted
    from dashboard.chromium import missing
    from dashboard.questions.door.asked_by import named_riders
    from dashboard.questions.door.asking import Asker
    from dashboard.report.write import Wanted, form_of, whom_it_names, write_report

    wanted = Wanted(form_of(out.name), short, with_fitters, with_riders)
    asker = Asker(warehouse, load_settings(settings))
    with progress() as tell_step:
        write_report(asker, selection, out, wanted, tell_step)
    what = ("short" if short else "", "with fitters" if with_fitters else "", "with riders" if with_riders else "")
    noted(warehouse, "wrote a report", ", ".join(filter(None, what)), riders=named_riders(asker, selection))
    typer.echo(f"{out} is written. {whom_it_names(selection, wanted)}")
    if wanted.form == "html" and (why := missing()):
        typer.echo(f"Its charts are told in words. {why}", err=True)


@app.command()
@takes_selection
def meeting(
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where to write it; ends in .html or .pdf.")],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    with_ids: Annotated[
        bool, typer.Option("--with-ids", help="Fits and fitters by their ids, and what became of the three fits.")
    ] = False,
    *,
    selection: Selection,
) -> None:
    """Write the sheet of the monthly talk: one A4 on the last full month, or on the dates that are chosen."""
    from dashboard.accounts.access import noted
    from dashboard.chromium import missing
    from dashboard.questions.door.asked_by import named_riders
    from dashboard.questions.door.asking import Asker
    from dashboard.report.write import form_of, write_meeting

    form, asker = form_of(out.name), Asker(warehouse, load_settings(settings))
    names = write_meeting(asker, selection, out, with_ids=with_ids)
    noted(warehouse, "wrote a meeting sheet", "with ids" if with_ids else "", riders=named_riders(asker, selection))
    typer.echo(f"{out} is written. {names}")
    if form == "html" and (why := missing()):
        typer.echo(f"Its chart is told in words. {why}", err=True)
