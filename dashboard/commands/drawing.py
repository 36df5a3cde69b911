"""Commands of drawn order: open a comparison, draw before a capture, list, check, close."""

from datetime import date
from typing import Annotated

import typer

from dashboard.cli_options import SettingsFile, WarehouseFile, day_given
from shared.errors import UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()
draw = typer.Typer(
    help="Draw which of two steps comes first, where the exam leaves both equally right: open, next, list, check, close.",
    no_args_is_help=True,
)
app.add_typer(draw, name="draw")
Comparison = Annotated[str, typer.Argument(metavar="COMPARISON", help="As draw list names it.", show_default=False)]


@draw.command("open")
def open_comparison(
    first: Annotated[str, typer.Option("--first", metavar="STEP", help="insole_low, shim_more, stance_narrower …")],
    second: Annotated[str, typer.Option("--second", metavar="STEP", help="The other step.")],
    stop_after: Annotated[int, typer.Option("--stop-after", metavar="N", help="The stop rule: after so many draws.")],
    stop_on: Annotated[str, typer.Option("--stop-on", metavar="DATE", help="And on this day at the latest.")],
    arch: Annotated[str, typer.Option(metavar="LEVEL", help="The feet it is for: low, medium, high, any.")] = "any",
    forefoot: Annotated[str, typer.Option(metavar="CLASS", help="valgus, neutral, mild_varus, marked_varus, any.")] = "any",
    insole: Annotated[str, typer.Option(metavar="LEVEL", help="Insole before the step: none, low, medium, high.")] = "none",
    shims: Annotated[int, typer.Option(metavar="N", help="Shims before the step, varus +.")] = 0,
    knee: Annotated[str, typer.Option(metavar="WAY", help="Where the knee arrived: inward, neutral, outward, any.")] = "any",
    outcome: Annotated[str, typer.Option(metavar="OUTCOME", help="off_neutral, tilt or sway.")] = "off_neutral",
    confirm: Annotated[str, typer.Option(metavar="SENTENCE", help="The sentence that the fitter may always overrule.")] = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
) -> None:
    """Open a comparison of two steps, both in agreement with the exam; tells the seal of its seed."""
    from dashboard.accounts.access import noted, user_of_command
    from dashboard.questions.drawn.opening import open_drawn
    from shared.logbook.drawing import Feet

    opened = open_drawn(
        warehouse,
        load_settings(settings),
        (first, second),
        Feet(arch, forefoot, insole, shims, knee),
        outcome,
        stop_after=stop_after,
        stop_on=day_given(stop_on, "--stop-on") or date.max,
        by=user_of_command(),
        confirmed=confirm,
    )
    noted(warehouse, "opened a comparison", opened.comparison_id)
    typer.echo(f"{opened.comparison_id} is open. Seal of its seed (SHA-256), to be kept: {opened.commitment}")
    typer.echo(f"Before the capture after a step: fitledger draw next {opened.comparison_id} --fit ID --side left --after 1")
    typer.echo(opened.confirmed)


@draw.command("next")
def next_draw(
    comparison: Comparison,
    fit: Annotated[str, typer.Option("--fit", metavar="ID", help="The session_id of the fit.")],
    side: Annotated[str, typer.Option("--side", help="left or right.")],
    after: Annotated[
        int, typer.Option("--after", metavar="N", help="Number of the last capture before the step.", min=1, max=99)
    ],
    fitter: Annotated[str, typer.Option("--fitter", metavar="ID", help="Who fits: it is drawn fitter by fitter.")],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
) -> None:
    """Draw which step comes first for a knee of a fit, before its next capture; a fit is drawn once."""
    from dashboard.accounts.access import noted, user_of_command
    from dashboard.questions.drawn.opening import draw_next

    drawn = draw_next(warehouse, comparison, fit, side, after=after, fitter=fitter, by=user_of_command())
    noted(warehouse, "drew", drawn.comparison_id, sessions=[fit])
    typer.echo(drawn.words)


@draw.command("list")
def list_comparisons(warehouse: WarehouseFile = DEFAULT_WAREHOUSE) -> None:
    """Tell the comparisons that were opened here: what is compared, how many are drawn, whether they are open."""
    from dashboard.questions.drawn.opening import comparison_words
    from shared.logbook.drawing import Drawing

    drawing = Drawing(warehouse)
    comparisons, draws = drawing.comparisons(), drawing.draws()
    for one in comparisons:
        typer.echo(comparison_words(one, sum(drawn.comparison_id == one.comparison_id for drawn in draws)))
    typer.echo(f"{counted(len(comparisons), 'comparison')}. What they say: fitledger show drawn.")


@draw.command()
def check(comparison: Comparison, warehouse: WarehouseFile = DEFAULT_WAREHOUSE) -> None:
    """Draw a closed comparison again from its seed, and tell whether all came out as it was kept."""
    from shared.logbook.drawing import Drawing, differing, found

    drawing = Drawing(warehouse)
    one = found(drawing.comparisons(), comparison)
    if one.is_open:
        raise UsageError(f"{comparison} is open: its seed is told when it is closed. The seal is {one.commitment}.")
    draws = tuple(drawn for drawn in drawing.draws() if drawn.comparison_id == comparison)
    wrong = differing(draws, one.seed, one.commitment)
    typer.echo(f"Seed {one.seed}, sealed as {one.commitment}.")
    if wrong:
        numbers = ", ".join(str(drawn.draw_no) for drawn in wrong)
        raise UsageError(f"{comparison}: of {counted(len(draws), 'draw')}, number {numbers} is not what the seed gives.")
    typer.echo(f"{counted(len(draws), 'draw')}: all as the seed gives them.")


@draw.command()
def close(
    comparison: Comparison,
    why: Annotated[str, typer.Option("--why", metavar="REASON", help="rule, clear, harm or other.")],
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
) -> None:
    """Close a comparison, which reveals its seed; nothing more is drawn in it."""
    from dashboard.accounts.access import noted, user_of_command
    from shared.logbook.drawing import Drawing

    closed = Drawing(warehouse).close(comparison, why=why, by=user_of_command())
    noted(warehouse, "closed a comparison", comparison)
    typer.echo(f"{comparison} is closed. Its seed: {closed.seed}. fitledger draw check {comparison} draws it again.")
