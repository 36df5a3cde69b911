"""The command that forgets a rider. It prints counts and files, and nothing of the rider but the id that was asked for."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.cli_options import AsJson, SettingsFile, Wait, WarehouseFile
from shared.errors import EXIT_SOME_REJECTED, UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.warehouse import DEFAULT_WAREHOUSE

if TYPE_CHECKING:
    from etl.keeping.forget import Forgotten, Place
    from etl.keeping.naming import Unclear

app = typer.Typer()
_SHOWN = 20
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
    also: Annotated[
        list[str] | None, typer.Option(metavar="WORD", help="A longer word that is the rider too; may stand several times.")
    ] = None,
    also_unclear: Annotated[
        bool, typer.Option("--also-unclear", help="The same for every word that is nobody else's id; asks nothing.")
    ] = False,
    leave_unclear: Annotated[
        bool, typer.Option("--leave-unclear", help="Leave every word that does not clearly name the rider; asks nothing.")
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
    _require(not (also_unclear and leave_unclear), "--also-unclear and --leave-unclear: found both, expected one of them.")
    taken = set(also or ())
    open_words = [one for one in foreseen.unclear if not one.is_others and one.word not in taken]
    if also_unclear:
        taken |= {one.word for one in open_words}
    elif not leave_unclear:
        taken |= _asked(rider, open_words, may_ask=not yes)
    if not yes:
        n_copies = len(foreseen.places) - 1
        typer.confirm(
            f"Forget {rider}: {_total(foreseen)} rows of {foreseen.n_sessions} sessions, in the warehouse and {n_copies} "
            "copies? This cannot be undone",
            abort=True,
        )
    done = forget_rider(warehouse, rider, also=taken, settings=load_settings(settings), logs=_LOGS, wait_seconds=wait)
    noted(warehouse, "forgot", "a rider")  # whose id is the last that may stand there
    _tell(rider, done, as_json, is_done=True)
    if not done.is_complete:
        raise typer.Exit(EXIT_SOME_REJECTED)


def _require(given: object, words: str) -> None:
    if not given:
        raise UsageError(words)


def _asked(rider: str, unclear: "list[Unclear]", *, may_ask: bool) -> set[str]:
    """The words that are the rider too, as whoever runs the command says."""
    if unclear and not may_ask:
        words = "; ".join(one.words for one in unclear[:_SHOWN])
        raise UsageError(
            f"{rider}: {counted(len(unclear), 'word')} may name this rider or something else, and the text does not tell: "
            f"{words}. Nothing was changed. Say which are the rider with --also WORD, or add --also-unclear or --leave-unclear."
        )
    return {one.word for one in unclear if typer.confirm(f"{one.words}. Is this the rider, so that it goes too?")}


def _total(forgotten: "Forgotten") -> int:
    return sum(n for place in forgotten.places for n in place.rows.values())


def _tell(rider: str, forgotten: "Forgotten", as_json: bool, *, is_done: bool) -> None:
    if as_json:
        import orjson

        places = [
            {"file": str(place.file), "rows": place.rows, "proof": place.proof, "unreached": place.unreached or None}
            for place in forgotten.places
        ]
        summary = {"rider": rider, "is_done": is_done, "sessions": forgotten.n_sessions, "places": places}
        summary["unclear"] = forgotten.unclear
        summary["logbook"] = forgotten.beside.logbook
        summary["named_in"] = [str(file) for file in forgotten.beside.named]
        summary["at_work"] = [str(folder) for folder in forgotten.at_work]
        typer.echo(orjson.dumps(summary, option=orjson.OPT_INDENT_2))
        return
    removed = "removed" if is_done else "would be removed"
    typer.echo(f"{rider}: {_total(forgotten)} rows of {forgotten.n_sessions} sessions {removed}.")
    for place in forgotten.places:
        typer.echo(f"{place.file}: {_place_words(place)}")
    if forgotten.beside.logbook:
        typer.echo(f"The logbook: {forgotten.beside.logbook} {removed}.")
    for file in forgotten.beside.named:
        typer.echo(f"{file}: still names the rider. Delete this file, or the lines that do; or give it another name.")
    for folder in forgotten.at_work:
        typer.echo(
            f"{folder}: another program is at work here, on a copy that may hold the rider (a check, a backup, files on the "
            "Data page). It goes with that work: wait for its end, or put the files aside, and run this again."
        )
    _tell_unclear(forgotten.unclear, is_done)
    if is_done:
        typer.echo(
            "Not searched, since fitledger does not know where they are: the exports themselves and their names, files of "
            "rejects, downloads and printed reports, the journal of a service, copies made by other means. Delete the rider "
            "there. Later loads leave the rider's rows out."
        )


def _tell_unclear(unclear: "list[Unclear]", is_done: bool) -> None:
    asked = [one for one in unclear if not one.is_others]
    others = [one for one in unclear if one.is_others]
    left = "left, since nobody asked for it" if is_done else "will be asked about, since the text does not tell"
    for words, group in ((left, asked), ("left, unless it is named with --also" if not is_done else "left", others)):
        for one in group[:_SHOWN]:
            typer.echo(f"{one.words}: {words}.")
        if len(group) > _SHOWN:
            typer.echo(f"and {counted(len(group) - _SHOWN, 'word')} more: {words}.")


def _place_words(place: "Place") -> str:
    if place.unreached:
        return f"not reached: {place.unreached}." + (" If it still exists, delete it." if place.is_gone else "")
    counts = ", ".join(f"{name} {n}" for name, n in place.rows.items()) or "no row of the rider"
    if place.proof is None:
        return counts
    proof = place.proof
    if not proof.holds:
        return f"{counts}. NOT PROVEN: {proof.rows} rows and {proof.hits} places in the bytes still name one of the ids."
    form = "deciphered in memory" if proof.is_encrypted else "packed and unpacked"
    words = (
        f"{counts}. Written afresh and searched: {proof.n_ids} ids in {proof.n_texts} columns and "
        f"{proof.n_bytes / 1e6:.1f} MB of bytes, {form}: none found."
    )
    if proof.n_short:
        words += f" {proof.n_short} ids are too short to be told from chance in bytes; the columns hold none of them."
    if proof.n_within:
        words += f" {proof.n_within} ids stand within longer ids of others, so that bytes do not tell; the columns hold none."
    return words
