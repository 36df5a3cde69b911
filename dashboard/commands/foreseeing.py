"""The command that looks ahead: what tended to follow for feet like these."""

from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard.cli_options import AsCsv, AsJson, MappingFile, SettingsFile, WarehouseFile
from dashboard.printing import print_answer
from shared.errors import UsageError
from shared.settings import Settings, load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command("next")
def next_rider(
    rider: Annotated[str, typer.Option("--rider", metavar="ID", help="A rider who is loaded: the last fit's feet.")] = "",
    form: Annotated[
        Path | None, typer.Option("--form", metavar="FILE", help="Both feet as JSON; nothing of it is kept.")
    ] = None,
    fits: Annotated[
        Path | None,
        typer.Option(
            "--fits",
            metavar="FOLDER",
            help="Tables of riders who are not loaded: every capture after the first is foreseen.",
        ),
    ] = None,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    mapping: MappingFile = None,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
) -> None:
    """Say what tended to follow for feet like these, with a band. Describes this studio's riders; prescribes nothing."""
    if sum(bool(one) for one in (rider, form, fits)) != 1:
        raise UsageError("next: expected one of --rider ID, --form FILE and --fits FOLDER.")
    chosen = load_settings(settings)
    if rider:
        answer = _of_rider(warehouse, rider, chosen)
    elif form:
        answer = _of_form(warehouse, form, chosen)
    else:
        assert fits is not None
        answer = _of_fits(warehouse, fits, chosen, mapping)
    if as_json:
        typer.echo(answer.to_json())
    elif as_csv:
        typer.echo(answer.to_csv(), nl=False)
    else:
        print_answer(answer)
        for caution in getattr(answer, "cautions", ()):
            typer.echo(caution)


def _of_rider(warehouse: Path, rider: str, settings: Settings) -> Any:
    from dashboard.accounts.access import noted
    from dashboard.questions.door.asking import Asker
    from dashboard.questions.selection.selection import Selection

    answer = Asker(warehouse, settings).ask("next", Selection(rider=(rider,)))
    noted(warehouse, "opened", "next", riders=[rider])
    return answer


def _of_form(warehouse: Path, path: Path, settings: Settings) -> Any:
    from dashboard.questions.foresight.knees import read_form
    from dashboard.questions.foresight.next_rider import foreseen_next
    from shared.warehouse import open_reading

    return foreseen_next(open_reading(warehouse), read_form(path), settings)


def _of_fits(warehouse: Path, folder: Path, settings: Settings, mapping: Path | None) -> Any:
    from dashboard.questions.foresight.foreseen_fits import foreseen_fits
    from etl.given import given_fits
    from shared.warehouse import open_reading

    with given_fits(folder, warehouse, settings, mapping) as given:
        for file in given.report.files:
            if file.refused:
                typer.echo(f"{file.file}: {file.words}", err=True)
        for finding in given.report.findings:
            typer.echo(f"{finding.file}, line {finding.line}: {finding.words}", err=True)
        return foreseen_fits(open_reading(warehouse), given.warehouse, settings)
