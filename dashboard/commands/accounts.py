"""Commands that say who may read a dashboard on a network."""

import sys
from typing import Annotated

import typer

from dashboard.cli_options import AsJson, WarehouseFile
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()
user = typer.Typer(
    help="Accounts for a dashboard that is served on a network: add, list, remove, reset.",
    no_args_is_help=True,
)
app.add_typer(user, name="user")

Name = Annotated[str, typer.Argument(metavar="NAME", help="The name to sign in with.", show_default=False)]
FromStdin = Annotated[bool, typer.Option("--password-stdin", help="Read the password from standard input, one line.")]


@user.command()
def add(
    name: Name,
    role: Annotated[str, typer.Option(help="owner, head_fitter or fitter.")],
    fitter: Annotated[str, typer.Option(metavar="ID", help="For the role fitter: whose cases are their own.")] = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    password_stdin: FromStdin = False,
) -> None:
    """Add an account. The owner sees all but what is noted of riders, the head fitter all, a fitter the studio's figures and
    their own cases."""
    from dashboard.accounts.store import Accounts

    account = Accounts(warehouse).add(name, role, _password(password_stdin), fitter or None)
    typer.echo(f"{account.name} may sign in as {account.role.replace('_', ' ')}.")


@user.command(name="list")
def list_accounts(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, as_json: AsJson = False) -> None:
    """List the accounts and their roles."""
    from dashboard.accounts.store import Accounts

    accounts = Accounts(warehouse).all()
    if as_json:
        import orjson

        rows = [{"name": one.name, "role": one.role, "fitter_id": one.fitter_id} for one in accounts]
        typer.echo(orjson.dumps({"accounts": rows}, option=orjson.OPT_INDENT_2))
        return
    for one in accounts:
        typer.echo(f"{one.name}: {one.role.replace('_', ' ')}" + (f", fitter {one.fitter_id}" if one.fitter_id else ""))
    if not accounts:
        typer.echo("There is no account yet. Add one with: fitledger user add NAME --role owner")


@user.command()
def remove(name: Name, warehouse: WarehouseFile = DEFAULT_WAREHOUSE) -> None:
    """Remove an account; whoever is signed in with it is out at once."""
    from dashboard.accounts.store import Accounts

    Accounts(warehouse).remove(name)
    typer.echo(f"{name.lower()} is removed and signed out.")


@user.command()
def reset(name: Name, warehouse: WarehouseFile = DEFAULT_WAREHOUSE, password_stdin: FromStdin = False) -> None:
    """Give an account another password; whoever is signed in with the old one is out at once."""
    from dashboard.accounts.store import Accounts

    Accounts(warehouse).reset(name, _password(password_stdin))
    typer.echo(f"{name.lower()} has another password and is signed out everywhere.")


def _password(from_stdin: bool) -> str:
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    password: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    return password
