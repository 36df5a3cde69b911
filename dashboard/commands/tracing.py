"""The command that tells where a figure comes from."""

from collections.abc import Iterator
from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING, Annotated, Final

import typer

from dashboard.cli_options import AsJson, SettingsFile, WarehouseFile
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

if TYPE_CHECKING:
    from dashboard.lineage.trace import Lineage, LoadedFile

app = typer.Typer()
_TOLD: Final = 3
_FLOORS: Final = ("mart", "core", "raw", "demo")


@app.command()
def trace(
    figure: Annotated[str, typer.Argument(help="A figure as effects.shim.tilt, or a question.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Tell where a figure comes from: the question, the SQL that ran, the tables, their loads and files."""
    from dashboard.lineage.trace import trace as trace_figure
    from dashboard.questions.door.asking import Asker

    found = trace_figure(Asker(warehouse, load_settings(settings)), figure)
    if as_json:
        import orjson

        typer.echo(orjson.dumps(asdict(found), option=orjson.OPT_INDENT_2))
        return
    for line in _lines(found):
        typer.echo(line)


def _lines(found: "Lineage") -> Iterator[str]:
    """The lineage as a tree, each branch further in."""
    yield found.asked
    yield from (f"  {words}" for words in found.told)
    leans = f"; leans on {', '.join(found.leans_on)}" if found.leans_on else ""
    yield f"question {found.question}: {found.module}{leans}"
    for source in found.sources:
        if not source.of_every_question:
            yield f"  {source.file} reads {', '.join(source.tables) or 'no table'}"
    of_all = ", ".join(source.file.rsplit("/", 1)[-1] for source in found.sources if source.of_every_question)
    yield f"  which fits, and what is recorded of them: {of_all}"
    yield "tables"
    own = {name: list(files) for name, files in groupby(found.files, key=lambda file: file.table)}
    for table in sorted(found.tables, key=lambda one: _FLOORS.index(one.table.split(".")[0])):
        if table.made_by:
            yield f"  {table.table} from {', '.join(table.made_from)} ({table.made_by})"
        elif table.table.removeprefix("raw.") in own:
            yield f"  {table.table}"
            yield from (f"    {line}" for line in _load_lines(own[table.table.removeprefix("raw.")]))
        else:
            yield f"  {table.table}, of no file of its own"


def _load_lines(files: "list[LoadedFile]") -> Iterator[str]:
    """The last loads that brought rows of a table, and from which files."""
    loads = [(load_id, [*own]) for load_id, own in groupby(files, key=lambda file: file.load_id)]
    if len(loads) > _TOLD:
        yield f"{counted(len(loads) - _TOLD, 'earlier load')}: told with --json"
    for load_id, own in loads[-_TOLD:]:
        names = ", ".join(file.file for file in own[:_TOLD]) + (f" and {len(own) - _TOLD} more" if len(own) > _TOLD else "")
        rows = sum(file.stored + file.replaced for file in own)
        yield f"load {load_id} of {own[0].loaded_at}: {counted(rows, 'row')} from {names}"
