"""The command that looks ahead: what tended to follow for feet like these."""

from pathlib import Path
from typing import Annotated

import typer

from dashboard.cli_options import AsCsv, AsJson, MappingFile, SettingsFile, WarehouseFile
from dashboard.printing import print_answer
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command("next")
def next_rider(
    fits: Annotated[
        Path,
        typer.Option(
            "--fits",
            metavar="FOLDER",
            help="Tables of riders who are not loaded: every capture after the first is foreseen.",
            show_default=False,
        ),
    ],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    mapping: MappingFile = None,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
) -> None:
    """Say what tended to follow for feet like these, with a band. Describes this studio's riders; prescribes nothing."""
    from dashboard.questions.foresight.foreseen_fits import foreseen_fits
    from etl.given import given_fits
    from shared.warehouse import open_reading

    chosen = load_settings(settings)
    with given_fits(fits, warehouse, chosen, mapping) as given:
        for finding in given.report.findings:
            typer.echo(f"{finding.file}, line {finding.line}: {finding.words}", err=True)
        answer = foreseen_fits(open_reading(warehouse), given.warehouse, chosen)
    if as_json:
        typer.echo(answer.to_json())
    elif as_csv:
        typer.echo(answer.to_csv(), nl=False)
    else:
        print_answer(answer)
