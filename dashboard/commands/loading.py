"""Commands that read exports: load, check, and what became of their rows."""

import sys
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard.cli_options import (
    AsCsv,
    AsJson,
    HookFile,
    LogForm,
    MappingFile,
    Paths,
    SettingsFile,
    Wait,
    WarehouseFile,
    log_form,
    progress,
)
from shared.log_lines import use_json_lines
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command()
def load(
    paths: Paths,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    mapping: MappingFile = None,
    hook: HookFile = None,
    settings: SettingsFile = None,
    wait: Wait = 3600.0,
    as_json: AsJson = False,
) -> None:
    """Load exports into the warehouse, all or nothing; every rejected row is kept and told."""
    from dashboard.accounts.access import noted
    from dashboard.printing import print_report
    from etl.load import load as load_exports

    known = load_settings(settings)
    is_json = log_form(None, known) is LogForm.JSON
    if is_json:
        use_json_lines(sys.stderr)
    with nullcontext(None) if is_json else progress() as step:
        report = load_exports(paths, warehouse, step, settings=known, mapping=mapping, hook=hook, wait_seconds=wait)
    if report.load_id:
        noted(warehouse, "loaded", f"load {report.load_id}")
    send_letters_due(warehouse, settings)
    print_report(report, as_json)


def send_letters_due(warehouse: Path, settings: Path | None) -> None:
    """Sends what is due now that rows have come, where letters are set; what goes wrong is told and changes nothing here."""
    known = load_settings(settings)
    if known.letters.is_set:
        from dashboard.letters.due import send_due_quietly
        from dashboard.questions.door.asking import Asker

        send_due_quietly(Asker(warehouse, known), lambda words: typer.echo(words, err=True))


@app.command()
def check(
    paths: Paths,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    mapping: MappingFile = None,
    hook: HookFile = None,
    settings: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Tell what a load would do and find; write nothing."""
    from dashboard.printing import print_report
    from etl.load import check_files

    with progress() as step:
        report = check_files(paths, warehouse, step, settings=load_settings(settings), mapping=mapping, hook=hook)
    print_report(report, as_json)


@app.command()
def rejects(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    table: Annotated[str, typer.Option(metavar="NAME", help="One table's rejected rows as CSV, to mend and load.")] = "",
    out: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="The same, in the columns, units and signs of your own files.")
    ] = None,
    as_csv: AsCsv = False,
    as_json: AsJson = False,
) -> None:
    """List the rejected rows and cells left out, with the reason; or write them so that they can be mended and loaded again."""
    from dashboard.accounts.access import noted
    from dashboard.questions.selection.answers import rows_to_csv

    if table or out:
        from dashboard.printing import write_rejects

        write_rejects(warehouse, table, out)
        noted(warehouse, "opened", f"rejected rows of {table}" if table else "rejected rows")
        return
    from dashboard.questions.door.asking import Asker
    from dashboard.questions.selection.selection import Selection

    answer: Any = Asker(warehouse, load_settings()).ask("data", Selection())
    rows = answer.rows("rejects")
    noted(warehouse, "opened", "rejected rows")
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"as_of": answer.as_of, "rejects": rows}, option=orjson.OPT_INDENT_2))
    elif as_csv:
        typer.echo(rows_to_csv(rows), nl=False)
    else:
        for row in rows:
            typer.echo(f"{row['file']}, line {row['line']}: {row['words']}")
        n_cells = sum(row["is_cell"] for row in rows)
        cells = f", {n_cells} of them of a cell alone, left out of a row that is in" if n_cells else ""
        typer.echo(f"{len(rows)} findings{cells}. Print the rows whole with --csv.")


@app.command()
def history(
    table: Annotated[str, typer.Argument(help="The table.", show_default=False)],
    key: Annotated[str, typer.Argument(help="The row's key, its parts parted by commas.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    as_json: AsJson = False,
) -> None:
    """Print every version of a row with the load, time, file and line that brought it."""
    from dashboard.accounts.access import noted
    from etl.history import history as versions_of
    from etl.keeping.owned import named_by

    rows = versions_of(warehouse, table, key)
    riders, sessions = named_by(table, key)
    noted(warehouse, "opened", f"history of {table}", riders=riders, sessions=sessions)
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"table": table, "key": key, "versions": rows}, option=orjson.OPT_INDENT_2))
        return
    for row in rows:
        place = {name: row.pop(name) for name in ("load_id", "loaded_at", "file", "line", "superseded_by")}
        state = f"replaced by load {place['superseded_by']}" if place["superseded_by"] else "current"
        typer.echo(f"load {place['load_id']}, {place['loaded_at']}, {place['file']}, line {place['line']} ({state})")
        typer.echo("  " + ", ".join(f"{name} {value}" for name, value in row.items() if value is not None))


@app.command()
def undo(
    load_id: Annotated[int, typer.Argument(metavar="LOAD", help="The number of the load.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    wait: Wait = 10.0,
) -> None:
    """Take a load back whole, as if it had never been; loads that came later stay."""
    from dashboard.accounts.access import noted
    from etl.history import undo as take_back

    undone = take_back(warehouse, load_id, settings=load_settings(settings), wait_seconds=wait)
    noted(warehouse, "took back", f"load {load_id}")
    versions = counted(undone.versions, "version of a row", "versions of rows")
    told = f"Load {load_id} is undone: {counted(undone.files, 'file')}, {versions} taken back. {undone.calls}"
    typer.echo(told.rstrip())
