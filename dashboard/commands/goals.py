"""Commands of goals: what the headline figures are to reach, from when on, and whether they do."""

from typing import Annotated, Any

import typer

from dashboard.cli_options import AsJson, SettingsFile, WarehouseFile, day_given
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()
goal = typer.Typer(help="What the headline figures are to reach, from when on, and whether they do.", no_args_is_help=True)
app.add_typer(goal, name="goal")


@goal.command("set")
def set_one(
    figure: Annotated[
        str,
        typer.Argument(
            metavar="FIGURE", help="knees_better, side_difference_left, return_rate, comfort_gained.", show_default=False
        ),
    ],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="As 80% or 0.8; comfort in points of ten.", show_default=False)],
    since: Annotated[str, typer.Option("--from", metavar="DATE", help="From when on it holds; today without one.")] = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
) -> None:
    """Set a goal: it holds until the day of a later one, and all are kept."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.goals import set_goal, value_given

    asked = asked_by_command(warehouse, settings)
    entry = set_goal(asked, figure, value_given(value), day_given(since, "--from"))
    typer.echo(f"{entry.entry_id} is kept. {_told(asked, figure)}".rstrip())


@goal.command("list")
def list_goals(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None, as_json: AsJson = False) -> None:
    """Tell whether each goal is reached, by the figure's own process, and all that were ever set."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.goals import unit_of
    from dashboard.questions.studio.goals import named, written
    from shared.logbook.entries import Entries

    asked, entries = asked_by_command(warehouse, settings), Entries(warehouse).all("goal")
    rows: Any = _rows(asked)
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"goals": rows, "entries": entries}, option=orjson.OPT_INDENT_2))
        return
    for row in rows:
        typer.echo(named(row))
    for one in entries:
        value = written(one.value or 0.0, unit_of(one.key))
        typer.echo(
            f"{one.entry_id}, {one.key} {value} from {one.day}, set by {one.opened_by} on {one.opened_at[:10]}, {one.state}"
        )
    typer.echo(f"{counted(len(entries), 'goal')} in the logbook.")


@goal.command("drop")
def drop_one(
    entry: Annotated[str, typer.Argument(metavar="ENTRY", help="As list names it.", show_default=False)],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
) -> None:
    """Take a goal back, so that the one before it holds; it stays in the logbook."""
    from dashboard.commands.asked import asked_by_command
    from dashboard.questions.door.goals import drop_goal

    asked = asked_by_command(warehouse, settings)
    dropped = drop_goal(asked, entry)
    typer.echo(f"{entry} is dropped. {_told(asked, dropped.key)}".rstrip())


def _told(asked: Any, figure: str) -> str:
    from dashboard.questions.studio.goals import named

    return " ".join(named(row) for row in _rows(asked) if row.figure == figure)


def _rows(asked: Any) -> Any:
    """What the pages tell of the goals; nothing where no fit is loaded."""
    from dashboard.questions.selection.selection import Selection
    from shared.errors import StatisticsError

    try:
        return asked.ask("trends", Selection()).goals
    except StatisticsError:
        return ()
