"""The command that answers a question: the same object that the pages print."""

from typing import Annotated, Any

import typer

from dashboard.cli_options import AsCsv, AsJson, SettingsFile, WarehouseFile
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


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
    rider: Annotated[str, typer.Option(help="Riders, by the studio's own ids.")] = "",
    split: Annotated[str, typer.Option(help="Column by which the figures are split, such as foot_type.")] = "",
) -> None:
    """Answer a question: the same object that the pages and the report print."""
    from dashboard.questions.asking import Asker
    from dashboard.questions.selection import parse_selection

    words = {
        "from": date_from, "to": date_to, "studio": studio, "fitter": fitter, "visit_kind": visit_kind,
        "bike_kind": bike_kind, "riding": riding, "arch_height": arch_height, "forefoot": forefoot,
        "side": side, "rider": rider, "split": split,
    }  # fmt: skip
    answer = Asker(warehouse, load_settings(settings)).ask(question, parse_selection(words))
    if as_json:
        typer.echo(answer.to_json())
    elif as_csv:
        typer.echo(answer.to_csv(), nl=False)
    else:
        _print_answer(answer)


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
