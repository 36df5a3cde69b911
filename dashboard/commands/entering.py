"""Commands of tasks and notes: what is to be done about a finding, and what changed when."""

from typing import Annotated, Any

import typer

from dashboard.cli_options import AsJson, SettingsFile, WarehouseFile, day_given
from shared.errors import UsageError
from shared.logbook.entries import KINDS, Entry, Sort
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()
task = typer.Typer(help="What is to be done about a finding, by whom, and what came of it.", no_args_is_help=True)
note = typer.Typer(help="What changed when: dated notes that stand on the charts over time.", no_args_is_help=True)
app.add_typer(task, name="task")
app.add_typer(note, name="note")

Text = Annotated[str, typer.Argument(metavar="TEXT", help="In a sentence, of no rider.", show_default=False)]
Named = Annotated[str, typer.Argument(metavar="ENTRY", help="As list names it.", show_default=False)]
All = Annotated[bool, typer.Option("--all", help="Those that are done or dropped too.")]
Came = Annotated[str, typer.Option("--came", metavar="TEXT", help="What came of it.")]


@task.command("add")
def add_task(
    text: Text,
    about: Annotated[str, typer.Option("--about", metavar="KIND", help=", ".join(KINDS))],
    key: Annotated[str, typer.Option("--key", metavar="KEY", help="Which: return_rate, a session_id, a load's number …")],
    who: Annotated[str, typer.Option("--who", metavar="NAME", help="Who does it.")] = "",
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="Until when.")] = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
) -> None:
    """Give a task on a finding."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.entering import enter_as

    if about not in KINDS:
        raise UsageError(f"--about: found {about!r}, expected one of {', '.join(KINDS)}.")
    asked = asked_by_command(warehouse, settings)
    entry = enter_as(asked, "task", about, key, text=text, who=who, day=day_given(until, "--until"))
    typer.echo(f"{entry.entry_id} is kept.")


@task.command("list")
def list_tasks(every: All = False, warehouse: WarehouseFile = DEFAULT_WAREHOUSE, as_json: AsJson = False) -> None:
    """Tell the tasks that are open, and what they are about."""
    _list("task", warehouse, as_json, lambda one: every or one.is_open)


@task.command("done")
def do_task(entry: Named, came: Came = "", warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None) -> None:
    """Say that a task is done, and what came of it; of one on a figure, what its chart did since is told too."""
    _say("task", entry, "done", came, warehouse, settings)


@task.command("drop")
def drop_task(
    entry: Named, came: Came = "", warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None
) -> None:
    """Say that a task is not done any more; it stays in the logbook."""
    _say("task", entry, "dropped", came, warehouse, settings)


@note.command("add")
def add_note(
    text: Text,
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="When it changed.")],
    freeze: Annotated[bool, typer.Option("--freeze-limits", help="Freeze the limits of the charts anew from then on.")] = False,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
) -> None:
    """Write down what changed on a day; it stands on every chart over time."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.entering import CHARTS, enter_as
    from dashboard.questions.studio.trends_fits import LIMITS

    asked = asked_by_command(warehouse, settings)
    entry = enter_as(asked, "note", "period", LIMITS if freeze else CHARTS, text=text, day=day_given(on, "--on"))
    typer.echo(f"{entry.entry_id} is kept.")


@note.command("list")
def list_notes(every: All = False, warehouse: WarehouseFile = DEFAULT_WAREHOUSE, as_json: AsJson = False) -> None:
    """Tell the notes that stand on the charts."""
    _list("note", warehouse, as_json, lambda one: every or one.is_open)


@note.command("drop")
def drop_note(entry: Named, warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None) -> None:
    """Take a note off the charts; it stays in the logbook."""
    _say("note", entry, "dropped", "", warehouse, settings)


def _list(sort: Sort, warehouse: Any, as_json: bool, is_wanted: Any) -> None:
    from shared.logbook.entries import Entries

    entries = [one for one in Entries(warehouse).all(sort) if is_wanted(one)]
    if as_json:
        import orjson

        typer.echo(orjson.dumps({f"{sort}s": entries}, option=orjson.OPT_INDENT_2))
        return
    for one in entries:
        typer.echo(_words(one))
    typer.echo(f"{counted(len(entries), sort)}.")


def _words(one: Entry) -> str:
    who = f", {one.who}" if one.who else ""
    day = f", {'on' if one.sort == 'note' else 'until'} {one.day}" if one.day else ""
    said = f" {one.said}" if one.said else ""
    return f"{one.entry_id}, {one.kind} {one.key}{who}{day}, by {one.opened_by}, {one.state}: {one.text}{said}"


def _say(sort: Sort, entry: str, state: str, came: str, warehouse: Any, settings: Any) -> None:
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.entering import say_as

    said = say_as(asked_by_command(warehouse, settings), sort, entry, state, text=came)
    typer.echo(f"{entry} is {state}.{f' {said.said}' if said.said else ''}")
