"""The command that sends the letters that come by themselves."""

from datetime import UTC, datetime
from enum import StrEnum
from typing import Annotated

import typer

from dashboard.cli_options import SettingsFile, WarehouseFile
from shared.errors import UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()


class To(StrEnum):
    """The roles that letters go to."""

    OWNER = "owner"
    HEAD_FITTER = "head_fitter"
    DESK = "desk"


@app.command()
def letter(
    to: Annotated[To | None, typer.Option("--to", help="Whose letter.", show_default=False)] = None,
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    settings: SettingsFile = None,
    due: Annotated[bool, typer.Option("--due", help="Send what is due, for cron or a timer.")] = False,
    as_text: Annotated[bool, typer.Option("--print", help="Print its text; send nothing.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Also where the same letter went before.")] = False,
    stop: Annotated[str, typer.Option(metavar="ADDRESS", help="Send this letter there no more.")] = "",
    start: Annotated[str, typer.Option(metavar="ADDRESS", help="Send it there again.")] = "",
) -> None:
    """Send the letter of a role: what is better, what is worse, what to do, on one page."""
    from dashboard.accounts.access import noted
    from dashboard.letters.content import letter_to
    from dashboard.letters.due import Post
    from dashboard.letters.written import text_of
    from dashboard.questions.door.asking import Asker
    from shared.logbook.letters import Letters

    known = load_settings(settings)
    if due == (to is not None):
        raise UsageError("Found no one thing to do, expected --due, or --to owner, head_fitter or desk.")
    asker = Asker(warehouse, known)
    if to is None:
        n_sent = Post(asker, lambda: datetime.now().astimezone(), typer.echo).send_due()
        typer.echo(f"{counted(n_sent, 'letter')} sent.")
        return
    if as_text:
        typer.echo(text_of(letter_to(to.value, asker, known.letters.address)), nl=False)
        return
    if address := stop or start:
        book = Letters(warehouse)
        book.set_stopped(book.reader(to.value, address), datetime.now(UTC), stopped=bool(stop))
        noted(warehouse, "stopped letters" if stop else "started letters", to.value)
        typer.echo(f"{address} is sent {'no more letters' if stop else 'letters'} as {to.value}.")
        return
    n_sent = Post(asker, lambda: datetime.now().astimezone(), typer.echo).send_now(to.value, again=again)
    typer.echo(f"{counted(n_sent, 'letter')} sent.")
