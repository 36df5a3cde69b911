"""Commands that encrypt the warehouse and its copies, give them a new key, or take the encryption off."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.cli_options import SettingsFile, Wait, WarehouseFile
from shared.errors import EXIT_SOME_REJECTED, UsageError
from shared.keys import KEY_FILE_VARIABLE
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

if TYPE_CHECKING:
    from etl.keeping.encrypt import Sealed

app = typer.Typer()
_PLAIN_BEFORE = (
    "Blocks of the disk that held it before are beyond a program's reach until they are written over: encrypt the disk too."
)
_OLDER_BEFORE = "A file that somebody copied before can still be read with the key of then."
_Yes = Annotated[bool, typer.Option("--yes", help="Do not ask.")]


@app.command()
def encrypt(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    key_file: Annotated[
        Path | None, typer.Option("--key-file", metavar="FILE", help="Keep the key in this file, readable by its owner alone.")
    ] = None,
    keyring: Annotated[bool, typer.Option("--keyring", help="Keep the key in this system's keyring.")] = False,
    rotate: Annotated[bool, typer.Option("--rotate", help="Make a new key, and write everything anew under it.")] = False,
    yes: _Yes = False,
    settings: SettingsFile = None,
    wait: Wait = 10.0,
) -> None:
    """Encrypt the warehouse and its backups with a key of their own; all later loads and backups are encrypted too."""
    from dashboard.accounts.access import noted
    from etl.keeping.copies import known_copies
    from etl.keeping.encrypt import encrypt as encrypt_all
    from etl.keeping.encrypt import place_for

    if key_file and keyring:
        raise UsageError("Name --key-file or --keyring, not both.")
    place = place_for(key_file, str(warehouse.absolute()) if keyring else "")
    typer.echo(
        f"Whoever loses the key in {place.words} loses the warehouse and every backup with it, and nobody can bring them back: "
        "keep a copy of the key in another place, and not beside the backups."
    )
    if not yes:
        n_copies = len(known_copies(warehouse))
        what = f"{'Make a new key and write' if rotate else 'Encrypt'} {warehouse}"
        typer.confirm(f"{what} and {counted(n_copies, 'known copy', 'known copies')}?", abort=True)
    done = encrypt_all(warehouse, place, rotate=rotate, wait_seconds=wait)
    if done.is_written or done.done:
        noted(warehouse, "encrypted", "with a new key" if done.is_new else "")
    assert done.key
    typer.echo(f"Key {done.key.id} is in use; it lies in {place.words}." + (" It was made just now." if done.is_new else ""))
    if done.is_written:
        typer.echo(f"{warehouse} was written anew, encrypted.")
        typer.echo(_PLAIN_BEFORE if done.was_plain else _OLDER_BEFORE)
    elif warehouse.exists():
        typer.echo(f"{warehouse} was encrypted with it already.")
    else:
        typer.echo(f"{warehouse} is not there yet; the first load makes it, encrypted.")
    _tell_copies(done, "encrypted")
    if done.n_older:
        typer.echo(f"For these {done.n_older} older key{'s stay' if done.n_older > 1 else ' stays'} in {place.words}.")
    if done.unreached:
        raise typer.Exit(EXIT_SOME_REJECTED)


@app.command()
def decrypt(
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE, yes: _Yes = False, settings: SettingsFile = None, wait: Wait = 10.0
) -> None:
    """Take the encryption off the warehouse and its backups, and the key's place out of the settings."""
    from dashboard.accounts.access import noted
    from etl.keeping.copies import known_copies
    from etl.keeping.encrypt import decrypt as decrypt_all
    from shared.keys import place_in_force

    place = place_in_force()
    if place and not yes:
        n_copies = counted(len(known_copies(warehouse)), "known copy", "known copies")
        typer.confirm(f"Write {warehouse} and {n_copies} so that everybody who gets a file can read it?", abort=True)
    done = decrypt_all(warehouse, wait_seconds=wait)
    if done.is_written or done.done:
        noted(warehouse, "decrypted")
    assert place
    typer.echo(f"{warehouse} " + ("was written anew, not encrypted." if done.is_written else "was not encrypted."))
    _tell_copies(done, "not encrypted")
    if os.environ.get(KEY_FILE_VARIABLE):
        typer.echo(f"The variable {KEY_FILE_VARIABLE} still names a key: take it out before the next command.")
    typer.echo(f"The key stays in {place.words}: copies that were not reached, or made by other means, need it.")
    if done.unreached:
        raise typer.Exit(EXIT_SOME_REJECTED)


def _tell_copies(done: "Sealed", how: str) -> None:
    for copy in done.done:
        typer.echo(f"{copy} was written anew, {how}.")
    for copy, reason in done.unreached.items():
        typer.echo(
            f"{copy}: not reached, and as it was: {reason.rstrip('.')}. Where it still exists, run this again or delete it."
        )
