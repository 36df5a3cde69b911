"""Commands that say who may read a dashboard on a network, and who is signed in there."""

import sys
from datetime import UTC, datetime
from typing import Annotated

import typer

from dashboard.cli_options import AsJson, SettingsFile, WarehouseFile
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

app = typer.Typer()
user = typer.Typer(
    help="Accounts for a dashboard that is served on a network: add, list, change, reset, sign out, remove.",
    no_args_is_help=True,
)
app.add_typer(user, name="user")

Name = Annotated[str, typer.Argument(metavar="NAME", help="The name to sign in with.", show_default=False)]
FromStdin = Annotated[bool, typer.Option("--password-stdin", help="Read the password from standard input, one line.")]
Fitter = Annotated[str, typer.Option(metavar="ID", help="For the role fitter: whose cases are their own.")]


@user.command()
def add(
    name: Name,
    role: Annotated[str, typer.Option(help="owner, head_fitter, fitter or desk.")],
    fitter: Fitter = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    password_stdin: FromStdin = False,
) -> None:
    """Add an account. The owner sees all but what is noted of riders, the head fitter all, a fitter the studio's figures and
    their own cases, the front desk (desk) whom to call and nothing else of a rider."""
    from dashboard.accounts.access import noted
    from dashboard.accounts.store import Accounts

    account = Accounts(warehouse).add(name, role, _password(password_stdin), fitter or None)
    noted(warehouse, "added an account", account.name)
    typer.echo(f"{account.name} may sign in as {account.role.replace('_', ' ')}.")


@user.command(name="list")
def list_accounts(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, as_json: AsJson = False) -> None:
    """List the accounts and their roles."""
    from dashboard.accounts.store import Accounts

    accounts = Accounts(warehouse).all()
    if as_json:
        import orjson

        rows = [
            {"name": one.name, "role": one.role, "fitter_id": one.fitter_id, "has_second_step": one.second is not None}
            for one in accounts
        ]
        typer.echo(orjson.dumps({"accounts": rows}, option=orjson.OPT_INDENT_2))
        return
    for one in accounts:
        words = f"{one.name}: {one.role.replace('_', ' ')}" + (f", fitter {one.fitter_id}" if one.fitter_id else "")
        typer.echo(words + (", with a second step" if one.second else ""))
    if not accounts:
        typer.echo("There is no account yet. Add one with: fitledger user add NAME --role owner")


@user.command()
def remove(name: Name, warehouse: WarehouseFile = DEFAULT_WAREHOUSE) -> None:
    """Remove an account; whoever is signed in with it is out at once."""
    from dashboard.accounts.access import noted
    from dashboard.accounts.store import Accounts
    from etl.keeping.kept_views import KeptViews

    Accounts(warehouse).remove(name)
    KeptViews(warehouse).remove_all(name.lower())
    noted(warehouse, "removed an account", name.lower())
    typer.echo(f"{name.lower()} is removed and signed out.")


@user.command()
def reset(name: Name, warehouse: WarehouseFile = DEFAULT_WAREHOUSE, password_stdin: FromStdin = False) -> None:
    """Give an account another password; whoever is signed in with the old one is out at once."""
    from dashboard.accounts.access import noted
    from dashboard.accounts.store import Accounts

    Accounts(warehouse).reset(name, _password(password_stdin))
    noted(warehouse, "reset the password of", name.lower())
    typer.echo(f"{name.lower()} has another password and is signed out everywhere.")


@user.command(name="reset-second-step")
def reset_second_step(name: Name, warehouse: WarehouseFile = DEFAULT_WAREHOUSE) -> None:
    """Take the second step of signing in from an account, as when a phone is lost; where its role needs one, it is set up
    anew at the next sign-in."""
    from dashboard.accounts.access import noted
    from dashboard.accounts.store import Accounts

    Accounts(warehouse).drop_second(name)
    noted(warehouse, "reset the second step of", name.lower())
    typer.echo(f"{name.lower()} has no second step now, and is signed out everywhere.")


@user.command()
def role(
    name: Name,
    role: Annotated[str, typer.Argument(metavar="ROLE", help="owner, head_fitter, fitter or desk.", show_default=False)],
    fitter: Fitter = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
) -> None:
    """Give an account another role; whoever is signed in with it is out at once."""
    from dashboard.accounts.access import noted
    from dashboard.accounts.store import Accounts

    Accounts(warehouse).change_role(name, role, fitter or None)
    noted(warehouse, "changed the role of", name.lower())
    typer.echo(f"{name.lower()} is {role.replace('_', ' ')} now, and is signed out everywhere.")


@user.command(name="sign-out")
def sign_out(name: Name, warehouse: WarehouseFile = DEFAULT_WAREHOUSE) -> None:
    """End every session of an account, as when a laptop is lost."""
    from dashboard.accounts.access import noted
    from dashboard.accounts.store import Accounts

    Accounts(warehouse).sign_out(name)
    noted(warehouse, "signed out", name.lower())
    typer.echo(f"{name.lower()} is signed out everywhere.")


@user.command()
def sessions(warehouse: WarehouseFile = DEFAULT_WAREHOUSE, settings: SettingsFile = None, as_json: AsJson = False) -> None:
    """List who is signed in, since when, and when they were seen last."""
    from dashboard.accounts.sessions import sessions_for
    from dashboard.accounts.store import Accounts

    stamps = {account.name: account.stamp for account in Accounts(warehouse).all()}
    signed_in = [
        {"name": one.name, "signed_in_at": _moment(one.began_at), "seen_at": _moment(one.seen_at)}
        for one in sessions_for(warehouse, load_settings(settings).sign_in).all()
        if one.stage == "whole" and stamps.get(one.name) == one.stamp
    ]
    if as_json:
        import orjson

        typer.echo(orjson.dumps({"sessions": signed_in}, option=orjson.OPT_INDENT_2))
        return
    for row in signed_in:
        typer.echo(f"{row['name']}: signed in at {row['signed_in_at']}, seen last at {row['seen_at']}")
    if not signed_in:
        typer.echo("Nobody is signed in.")


def _moment(seconds: float) -> str:
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%SZ}"


def _password(from_stdin: bool) -> str:
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    password: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    return password
