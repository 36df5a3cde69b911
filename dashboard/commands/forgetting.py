"""The command that forgets a rider. It prints counts and files, and nothing of the rider but the id that was asked for."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.cli_options import AsJson, SettingsFile, Wait, WarehouseFile
from shared.errors import EXIT_SOME_REJECTED, UsageError
from shared.settings import load_settings
from shared.warehouse import DEFAULT_WAREHOUSE

if TYPE_CHECKING:
    from etl.keeping.forget import Forgotten, Place

app = typer.Typer()
_LOGS = (Path("fitledger.log"), Path("fitledger.log.1"))


@app.command()
def forget(
    rider: Annotated[str, typer.Argument(metavar="RIDER", help="The rider_id, as exported.", show_default=False)] = "",
    warehouse: WarehouseFile = DEFAULT_WAREHOUSE,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Count what would go; change nothing.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    allow: Annotated[bool, typer.Option("--allow-again", help="Let a forgotten rider be loaded again.")] = False,
    allow_all: Annotated[
        bool, typer.Option("--allow-all-again", help="The same for every one, where the key is lost.")
    ] = False,
    settings: SettingsFile = None,
    wait: Wait = 10.0,
    as_json: AsJson = False,
) -> None:
    """Remove a rider from every table, version and backup, prove it, and leave their rows out of later loads."""
    from dashboard.accounts.access import noted
    from etl.keeping.forget import allow_again, foresee
    from etl.keeping.forget import forget as forget_rider

    if allow or allow_all:
        _require(rider or allow_all, "Name the rider whose rows may be loaded again.")
        n_riders = allow_again(warehouse, None if allow_all else rider, wait_seconds=wait)
        noted(warehouse, "let be loaded again", "every forgotten rider" if allow_all else "a forgotten rider")
        typer.echo(
            f"{'Every forgotten rider' if allow_all else rider} may be loaded again ({n_riders} marks of riders lifted)."
        )
        return
    _require(rider, "Name the rider to forget, by the rider_id of the exports.")
    foreseen = foresee(warehouse, rider)
    if dry_run:
        _tell(rider, foreseen, as_json, is_done=False)
        return
    if not yes:
        n_copies = len(foreseen.places) - 1
        typer.confirm(
            f"Forget {rider}: {_total(foreseen)} rows of {foreseen.n_sessions} sessions, in the warehouse and {n_copies} "
            "copies? This cannot be undone",
            abort=True,
        )
    done = forget_rider(warehouse, rider, settings=load_settings(settings), logs=_LOGS, wait_seconds=wait)
    noted(warehouse, "forgot", "a rider")  # whose id is the last that may stand there
    _tell(rider, done, as_json, is_done=True)
    if not done.is_complete:
        raise typer.Exit(EXIT_SOME_REJECTED)


def _require(given: object, words: str) -> None:
    if not given:
        raise UsageError(words)


def _total(forgotten: "Forgotten") -> int:
    return sum(n for place in forgotten.places for n in place.rows.values())


def _tell(rider: str, forgotten: "Forgotten", as_json: bool, *, is_done: bool) -> None:
    if as_json:
        import orjson

        places = [
            {"file": str(place.file), "rows": place.rows, "proof": place.proof, "unreached": place.unreached or None}
            for place in forgotten.places
        ]
        told = {"rider": rider, "is_done": is_done, "sessions": forgotten.n_sessions, "places": places}
        told["named_in"] = [str(file) for file in forgotten.named_in]
        typer.echo(orjson.dumps(told, option=orjson.OPT_INDENT_2))
        return
    removed = "removed" if is_done else "would be removed"
    typer.echo(f"{rider}: {_total(forgotten)} rows of {forgotten.n_sessions} sessions {removed}.")
    for place in forgotten.places:
        typer.echo(f"{place.file}: {_place_words(place)}")
    for file in forgotten.named_in:
        typer.echo(f"{file}: still names the rider. Delete this file, or the lines that do.")
    if is_done:
        typer.echo(
            "Not searched, since fitledger does not know where they are: the exports themselves, files of rejects, downloads "
            "and printed reports, copies made by other means. Delete the rider there. Later loads leave the rider's rows out."
        )


def _place_words(place: "Place") -> str:
    if place.unreached:
        return f"not reached: {place.unreached}." + (" If it still exists, delete it." if place.is_gone else "")
    counts = ", ".join(f"{name} {n}" for name, n in place.rows.items()) or "no row of the rider"
    if place.proof is None:
        return counts
    proof = place.proof
    if not proof.holds:
        return f"{counts}. NOT PROVEN: {proof.rows} rows and {proof.hits} places in the bytes still name one of the ids."
    words = (
        f"{counts}. Written afresh and searched: {proof.n_ids} ids in {proof.n_texts} columns and "
        f"{proof.n_bytes / 1e6:.1f} MB of bytes, packed and unpacked: none found."
    )
    if proof.n_short:
        words += f" {proof.n_short} ids are too short to be told from chance in bytes; the columns hold none of them."
    if proof.n_within:
        words += f" {proof.n_within} ids stand within longer ids of others, so that bytes do not tell; the columns hold none."
    return words
