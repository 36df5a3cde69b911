"""The command that writes the owner's report."""

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
    with_fitters: Annotated[
        bool, typer.Option("--with-fitters", help="For the head fitter: each fitter's outcomes and flagged fits too.")
    ] = False,
    *,
    selection: Selection,
) -> None:
    """Write the owner's report: the answers and charts of the screens on paper."""
    from dashboard.accounts.access import noted
    from dashboard.questions.door.asked_by import named_riders
    from dashboard.questions.door.asking import Asker
    from dashboard.report.write import write_report

    asker = Asker(warehouse, load_settings(settings))
    with progress() as tell_step:
        write_report(asker, selection, out, with_fitters=with_fitters, progress=tell_step)
    noted(warehouse, "wrote a report", "with fitters" if with_fitters else "", riders=named_riders(asker, selection))
    typer.echo(f"{out} is written. It holds the studio's figures and ids of riders: keep it like the warehouse.")
