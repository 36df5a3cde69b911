"""The command that answers a question: the same object that the pages print."""

from typing import Annotated

import typer

from dashboard.cli_options import AsCsv, AsJson, SettingsFile, WarehouseFile
from dashboard.printing import not_recorded_json, print_answer
from dashboard.questions.selection.selection import Selection
from dashboard.selection_options import takes_selection
from shared.errors import NotRecordedError
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


@app.command()
@takes_selection
def show(
    question: Annotated[str, typer.Argument(help="effects, studio, returns …; the README lists them.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    every: Annotated[str, typer.Option(metavar="PERIOD", help="week, month or quarter, for trends.")] = "",
    *,
    selection: Selection,
) -> None:
    """Answer a question: the same object that the pages and the report print."""
    from dashboard.accounts.access import noted
    from dashboard.questions.door.asked_by import holds_cases, named_riders
    from dashboard.questions.door.asking import Asker
    from dashboard.questions.door.registry import by_period

    asker = Asker(warehouse, load_settings(settings))
    try:
        answer, age = asker.ask(question, selection, **by_period(question, every)), asker.freshness()
    except NotRecordedError as refusal:
        if as_csv:
            raise
        typer.echo(not_recorded_json(question, refusal) if as_json else str(refusal))
        return
    riders = named_riders(asker, selection)
    if riders or holds_cases(answer):
        noted(warehouse, "opened", question, riders=riders)
    if as_json:
        typer.echo(answer.to_json(**age.as_dict()))
    elif as_csv:
        typer.echo(answer.to_csv(), nl=False)
    else:
        if age.told:
            typer.echo(f"{age.told}\n")
        print_answer(answer)
