"""The command: parse, call, print, exit code."""

import logging
import secrets
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from shared.errors import FitledgerError, StatisticsError
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

LOG = Path("fitledger.log")
app = typer.Typer(
    name="fitledger",
    help="What each support did to the knees of a studio's riders: exported fit sessions in, effects out.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)

Paths = Annotated[list[Path], typer.Argument(metavar="PATH…", help="Folders or files of exports.", show_default=False)]
WarehouseFile = Annotated[Path, typer.Option("--warehouse", metavar="FILE", help="The warehouse file.")]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", metavar="FILE", help="Settings (TOML); fitledger.toml is found by itself.")
]
MappingFile = Annotated[
    Path | None,
    typer.Option(
        "--mapping", metavar="FILE", help="Mapping of a foreign export (TOML); a folder's mapping.toml is found by itself."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
AsCsv = Annotated[bool, typer.Option("--csv", help="Print comma-separated rows.")]
Wait = Annotated[float, typer.Option(metavar="SECONDS", help="How long to wait for another load to end.", min=0)]
Host = Annotated[str, typer.Option(help="Address to serve on.")]
Port = Annotated[int, typer.Option(help="Port to serve on; 0 takes a free one.", min=0, max=65535)]


def main() -> None:
    """The entry point: a reader sees a sentence and an exit code; a fault of the program keeps its traceback in the log."""
    try:
        app()
    except FitledgerError as error:
        typer.echo(f"fitledger: {error}", err=True)
        raise SystemExit(error.exit_code) from None
    except Exception:
        reference = secrets.token_hex(4)
        _log_fault(reference)
        typer.echo(
            f"fitledger: something went wrong inside the program. Nothing more was written. The details are in {LOG}, "
            f"reference {reference}; please send them to whoever looks after fitledger.",
            err=True,
        )
        raise SystemExit(1) from None


@app.command()
def demo(host: Host = "127.0.0.1", port: Port = 8050) -> None:
    """Build the demo warehouse from its exports where it is missing or older, and serve it."""
    from warehouse_demo import EXPORTS, WAREHOUSE, is_current

    if not is_current():
        from dashboard.printing import total_words
        from etl.load import load as load_exports

        WAREHOUSE.unlink(missing_ok=True)
        with _progress() as progress:
            report = load_exports([EXPORTS], WAREHOUSE, progress)
        typer.echo(f"Demo warehouse: {total_words(report)}.")
    _serve(WAREHOUSE, None, host, port)


@app.command()
def load(
    paths: Paths,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    mapping: MappingFile = None,
    settings: SettingsFile = None,
    wait: Wait = 10.0,
    as_json: AsJson = False,
) -> None:
    """Load exports into the warehouse, all or nothing; every rejected row is kept and told."""
    from dashboard.printing import print_report
    from etl.load import load as load_exports

    with _progress() as progress:
        report = load_exports(paths, warehouse, progress, settings=load_settings(settings), mapping=mapping, wait_seconds=wait)
    print_report(report, as_json)


@app.command()
def check(
    paths: Paths,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    mapping: MappingFile = None,
    settings: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Tell what a load would do and find; write nothing."""
    from dashboard.printing import print_report
    from etl.load import check_files

    with _progress() as progress:
        report = check_files(paths, warehouse, progress, settings=load_settings(settings), mapping=mapping)
    print_report(report, as_json)


@app.command()
def rejects(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    table: Annotated[str, typer.Option(metavar="NAME", help="One table's rejected rows as CSV, to mend and load.")] = "",
    out: Annotated[Path | None, typer.Option(metavar="FOLDER", help="The same, one file a table.")] = None,
    as_csv: AsCsv = False,
    as_json: AsJson = False,
) -> None:
    """List the rejected rows, whole, with the reason; or write them so that they can be mended and loaded again."""
    from dashboard.questions.answers import rows_to_csv

    if table or out:
        from dashboard.printing import write_rejects

        write_rejects(warehouse, table, out)
        return
    from dashboard.questions.asking import Asker
    from dashboard.questions.selection import Selection

    answer: Any = Asker(warehouse, load_settings()).ask("data", Selection())
    rows = answer.rows("rejects")
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"as_of": answer.as_of, "rejects": rows}, option=orjson.OPT_INDENT_2))
    elif as_csv:
        typer.echo(rows_to_csv(rows), nl=False)
    else:
        for row in rows:
            typer.echo(f"{row['file']}, line {row['line']}: {row['words']}")
        typer.echo(f"{len(rows)} findings. Print the rows whole with --csv.")


@app.command()
def history(
    table: Annotated[str, typer.Argument(help="The table.", show_default=False)],
    key: Annotated[str, typer.Argument(help="The row's key, its parts parted by commas.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    as_json: AsJson = False,
) -> None:
    """Print every version of a row with the load, time, file and line that brought it."""
    from etl.history import history as versions_of

    rows = versions_of(warehouse, table, key)
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
    from etl.history import undo as take_back

    undone = take_back(warehouse, load_id, settings=load_settings(settings), wait_seconds=wait)
    files = f"{undone.files} file{'s' if undone.files != 1 else ''}"
    versions = "1 version of a row" if undone.versions == 1 else f"{undone.versions} versions of rows"
    typer.echo(f"Load {load_id} is undone: {files}, {versions} taken back.")


@app.command()
def show(
    question: Annotated[str, typer.Argument(help="effects, studio, returns …; the README lists them.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    date_from: Annotated[str, typer.Option("--from", metavar="DATE", help="First day of the fits.")] = "",
    date_to: Annotated[str, typer.Option("--to", metavar="DATE", help="Last day of the fits.")] = "",
    studio: Annotated[str, typer.Option(help="Studios, comma-separated, as all that follow.")] = "",
    fitter: Annotated[str, typer.Option(help="Fitters.")] = "",
    visit_kind: Annotated[str, typer.Option("--visit-kind", "--visit_kind", help="Kinds of visit.")] = "",
    bike_kind: Annotated[str, typer.Option("--bike-kind", "--bike_kind", help="Kinds of bicycle.")] = "",
    riding: Annotated[str, typer.Option(help="Kinds of riding.")] = "",
    arch_height: Annotated[str, typer.Option("--arch-height", "--arch_height", help="Arch heights.")] = "",
    forefoot: Annotated[str, typer.Option(help="Forefoot classes.")] = "",
    side: Annotated[str, typer.Option(help="left or right.")] = "",
    split: Annotated[str, typer.Option(help="Column by which the figures are split, such as foot_type.")] = "",
) -> None:
    """Answer a question: the same object that the pages and the report print."""
    from dashboard.questions.asking import Asker
    from dashboard.questions.selection import parse_selection

    words = {
        "from": date_from, "to": date_to, "studio": studio, "fitter": fitter, "visit_kind": visit_kind,
        "bike_kind": bike_kind, "riding": riding, "arch_height": arch_height, "forefoot": forefoot,
        "side": side, "split": split,
    }  # fmt: skip
    answer = Asker(warehouse, load_settings(settings)).ask(question, parse_selection(words))
    if as_json:
        typer.echo(answer.to_json())
    elif as_csv:
        typer.echo(answer.to_csv(), nl=False)
    else:
        _print_answer(answer)


@app.command()
def serve(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    host: Host = "127.0.0.1",
    port: Port = 8050,
) -> None:
    """Serve the dashboard on a warehouse."""
    _serve(warehouse, settings, host, port)


def _serve(warehouse: Path, settings: Path | None, host: str, port: int) -> None:
    from dashboard.app import create_app
    from dashboard.questions.asking import Asker
    from dashboard.questions.selection import Selection
    from dashboard.serving import free_port, serve_forever
    from shared.warehouse import open_reading

    open_reading(warehouse).close()
    port = port or free_port(host)
    asker = Asker(warehouse, load_settings(settings))
    # Computed before the first reader asks, and the same answer that the pages print.
    try:
        answer: Any = asker.ask("effects", Selection())
        asker.ask("effects", Selection(split="foot_type"))
        typer.echo(f"{answer.selection_words}: {answer.headline}")
    except StatisticsError as refusal:
        typer.echo(str(refusal))
    asker.release()
    application = create_app(asker)
    typer.echo(f"The dashboard of {warehouse.name} is at http://{host}:{port}/ (stop it with Ctrl+C).")
    serve_forever(application, host, port)


def _print_answer(answer: Any) -> None:
    typer.echo(answer.headline)
    typer.echo(f"{answer.selection_words}; data up to {answer.as_of}.\n")
    rows = [{key: _cell(value) for key, value in row.items()} for row in answer.rows()]
    if not rows:
        return
    words = [row.pop("words", "") for row in rows]
    widths = {key: max(len(key), *(len(row[key]) for row in rows)) for key in rows[0]}
    for row, sentence in zip([{key: key for key in rows[0]}, *rows], ["", *words], strict=True):
        typer.echo("  ".join(row[key].ljust(width) for key, width in widths.items()) + f"  {sentence}".rstrip())


def _cell(value: Any) -> str:
    return f"{value:.3f}" if isinstance(value, float) else "" if value is None else str(value)


@contextmanager
def _progress() -> Iterator[Callable[[int, int, str], None]]:
    """A bar on a terminal, plain lines in a pipe; both on standard error, so that --json stays clean."""
    if not sys.stderr.isatty():
        yield lambda done, total, words: typer.echo(f"[{done + 1}/{total}] {words}", err=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("")
        yield lambda done, total, words: bar.update(task, completed=done, total=total, description=words)


def _log_fault(reference: str) -> None:
    logging.basicConfig(filename=LOG, format="%(asctime)s %(levelname)s %(message)s")
    logging.getLogger("fitledger").exception("fault %s", reference)
