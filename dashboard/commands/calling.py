"""Commands of the front desk: whom to call today, and what came of a call."""

from typing import Annotated

import typer

from dashboard.cli_options import AsJson, SettingsFile, WarehouseFile, day_given
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()
call = typer.Typer(help="Whom to call today, and what came of a call: list, mark.", no_args_is_help=True)
app.add_typer(call, name="call")


@call.command("list")
def list_calls(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None, as_json: AsJson = False) -> None:
    """Tell whom to call today, longest over first, and who was marked."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.returns.answers_calls import Calls
    from dashboard.questions.selection.selection import Selection

    answer = asked_by_command(warehouse, settings).ask("calls", Selection())
    assert isinstance(answer, Calls)
    if as_json:
        typer.echo(answer.to_json())
        return
    typer.echo(answer.headline)
    for row in answer.calls:
        before = f" {row.marked[:1].upper()}{row.marked[1:]}." if row.marked else ""
        typer.echo(f"{row.session_id}, rider {row.rider_id}, {row.studio_id}, {row.fitter_id}: {row.words}{before}")
    for marked in answer.marked:
        typer.echo(f"{marked.session_id}, rider {marked.rider_id}, {marked.studio_id}, {marked.fitter_id}: {marked.words}.")


@call.command("mark")
def mark_call(
    fit: Annotated[str, typer.Argument(metavar="FIT", help="The session_id, as call list tells it.", show_default=False)],
    mark: Annotated[str, typer.Argument(metavar="MARK", help="called, booked, declined, again, or waiting to take it back.")],
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="booked: for which day; again: when.")] = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
) -> None:
    """Say what came of a call; the next load that brings the visit or the booking closes it by itself."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.entering import mark_call as marked

    entry = marked(asked_by_command(warehouse, settings), fit, mark, day_given(on, "--on"))
    typer.echo(f"{fit}: {mark}{f' {entry.last.day}' if on else ''}, as {entry.entry_id}.")
