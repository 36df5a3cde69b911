"""Commands for a new studio: an empty template to record in, and from its files to the dashboard in one step."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dashboard.cli_options import Host, MappingFile, Port, SettingsFile, Wait, WarehouseFile, progress
from shared.errors import InputUnusableError, UsageError
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE, open_reading

app = typer.Typer()


@app.command()
def template(
    file: Annotated[Path | None, typer.Argument(metavar="FILE.xlsx", help="The workbook to write.", show_default=False)] = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FOLDER", help="CSVs instead, one a table.")] = None,
) -> None:
    """Write an empty workbook, or CSVs, to record fits in by hand; once filled in it loads as it is."""
    from etl.template import write_csvs, write_workbook

    if (file is None) == (csv is None):
        raise UsageError("Name the workbook to write, such as studio.xlsx, or --csv FOLDER for files of text, and not both.")
    if csv is not None:
        typer.echo(f"{csv}: {len(write_csvs(csv)) - 1} tables, a file each; columns.txt says what each column holds.")
        typer.echo(f"Fill in the files that you need, delete the others, then: fitledger start {csv}")
    elif file is not None:
        write_workbook(file)
        typer.echo(f"{file}: a sheet a table. Columns in bold must be filled in; a note on each heading says what it holds.")
        typer.echo(f"Fill in the sheets that you need, leave the others empty, then: fitledger start {file}")


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The studio's exports, or one file.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    mapping: MappingFile = None,
    settings: SettingsFile = None,
    wait: Wait = 3600.0,
    host: Host = "127.0.0.1",
    port: Port = 8050,
    serves: Annotated[bool, typer.Option("--serve/--no-serve", help="Whether to serve the dashboard at the end.")] = True,
) -> None:
    """Check the exports, load them, say what would make the figures better, and serve the dashboard on them."""
    from dashboard.accounts.access import noted
    from dashboard.commands.serving import serve_warehouse
    from dashboard.printing import print_words
    from etl.load import check_files, load

    with progress() as step:
        try:
            checked = check_files([folder], warehouse, step, settings=load_settings(settings), mapping=mapping)
        except InputUnusableError as fault:
            raise InputUnusableError(f"{fault} {_mapping_words(folder, mapping)}".rstrip()) from fault
        report = load(
            [folder], warehouse, step, settings=load_settings(settings), mapping=mapping, wait_seconds=wait,
            checked=checked.checked,
        )  # fmt: skip
    if report.load_id:
        noted(warehouse, "loaded", f"load {report.load_id}")
    # A load of files that are known tells no more than that; what is doubtful of them was asked by the check.
    print_words(replace(report, questions=checked.questions))
    if any(file.refused for file in report.files) and (words := _mapping_words(folder, mapping)):
        typer.echo(words)
    if report.findings:
        typer.echo("Rejected rows, to mend: fitledger rejects --out FOLDER\n")
    _print_better(warehouse)
    if serves:
        serve_warehouse(warehouse, settings, host, port)


def _mapping_words(folder: Path, mapping: Path | None) -> str:
    """How to get a mapping, where there is none."""
    from etl.mapping import MAPPING_FILE

    place = folder if folder.is_dir() else folder.parent
    if mapping is not None or (place / MAPPING_FILE).exists():
        return ""
    return (
        f"What is not in the form of the contract needs a {MAPPING_FILE}, and none is in {place}: fitledger map {place} makes "
        "one, a question at a time. To record by hand: fitledger template studio.xlsx"
    )


def _print_better(warehouse: Path) -> None:
    from etl.better import what_is_better

    reading = open_reading(warehouse)
    try:
        three = what_is_better(reading)
    finally:
        reading.close()
    typer.echo("What would make the figures better:")
    for number, one in enumerate(three, 1):
        typer.echo(f"  {number}. {one.what.capitalize()}: {one.words}")
    typer.echo("")
