"""The command: joins the commands of dashboard/commands, and is the last to see a fault."""

import logging
import secrets
import signal
from pathlib import Path
from types import FrameType

import typer

from dashboard.commands import (
    access,
    accounts,
    asking,
    calling,
    drawing,
    encrypting,
    entering,
    exporting,
    foreseeing,
    forgetting,
    goals,
    keeping,
    lettering,
    loading,
    mapping,
    reporting,
    serving,
    starting,
    tending,
    tracing,
)
from shared.errors import FitledgerError

LOG = Path("fitledger.log")
app = typer.Typer(
    name="fitledger",
    help="What each support did to the knees of a studio's riders: exported fit sessions in, effects out.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)
for topic in (
    starting,
    serving,
    accounts,
    access,
    loading,
    mapping,
    asking,
    foreseeing,
    drawing,
    calling,
    entering,
    goals,
    reporting,
    lettering,
    exporting,
    keeping,
    encrypting,
    forgetting,
    tending,
    tracing,
):
    app.add_typer(topic.app)


def main() -> None:
    """The entry point: a reader sees a sentence and an exit code; a fault of the program keeps its traceback in the log."""
    signal.signal(signal.SIGTERM, _end)
    try:
        app()
    except FitledgerError as error:
        if trace := getattr(error, "trace", ""):
            logging.basicConfig(filename=LOG, format="%(asctime)s %(levelname)s %(message)s")
            logging.getLogger("fitledger").error("hook\n%s", trace)
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


def _end(number: int, _frame: FrameType | None) -> None:
    """Ends as Ctrl-C does, so that working copies go with the program; a second signal ends it at once."""
    signal.signal(number, signal.SIG_DFL)
    raise SystemExit(128 + number)


def _log_fault(reference: str) -> None:
    logging.basicConfig(filename=LOG, format="%(asctime)s %(levelname)s %(message)s")
    logging.getLogger("fitledger").exception("fault %s", reference)
