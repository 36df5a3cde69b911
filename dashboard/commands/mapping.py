"""The command that proposes the mapping of a foreign export, asks what it may not decide, and writes it."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from dashboard.cli_options import SettingsFile
from shared.errors import FitledgerError, UsageError
from shared.settings import load_settings
from shared.statistics.wording import counted
from shared.toml_file import read_toml

if TYPE_CHECKING:
    from etl.mapping_assistant.asking import Asked, Question
    from etl.mapping_assistant.preview import Preview
    from etl.mapping_assistant.reading import Folder

app = typer.Typer()
_LATER: Final = "?"
_SHOWN_CHOICES: Final = 12


@app.command("map")
def map_folder(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder of exported files.", show_default=False)],
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help='Answers given beforehand (TOML): "table.column.unit" = "deg".')
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Where the mapping goes; FOLDER/mapping.toml without.")
    ] = None,
    ask: Annotated[bool | None, typer.Option("--ask/--no-ask", help="Ask what is open; by itself on a terminal.")] = None,
    settings: SettingsFile = None,
) -> None:
    """Propose how a foreign export is read, ask units, signs and sides one by one, and write mapping.toml."""
    from etl.mapping import MAPPING_FILE, parse_mapping
    from etl.mapping_assistant.asking import Asked
    from etl.mapping_assistant.plan import NO
    from etl.mapping_assistant.reading import opened_folder
    from etl.mapping_assistant.writing import mapping_text, waiting_tables

    out = out or folder / MAPPING_FILE
    if not folder.is_dir():
        raise UsageError(f"{folder}: this is no folder. Name the folder with the exported files.")
    if out.exists():
        raise UsageError(f"{out}: a mapping stands there already. Name another file with --out, or move it away.")
    in_force = load_settings(settings)
    given = _answers_in(answers)
    with opened_folder(folder, in_force.reading) as opened:
        # A table in contract form needs no lines, unless the answers say otherwise.
        asked = Asked(opened.columns, {**dict.fromkeys(opened.native, NO), **given})
        _require_known(asked, given)
        _print_plan(opened, asked)
        if ask if ask is not None else sys.stdin.isatty():
            asked = _dialogue(opened, asked)
        text, waiting = mapping_text(opened, asked), waiting_tables(asked)
    parse_mapping(text.encode(), out.name)
    out.write_text(text, encoding="utf-8")
    _print_waiting(asked, waiting)
    if len(waiting) < len(asked.plans):
        _try(folder, text, settings)
    named = f"{folder}" if out == folder / MAPPING_FILE else f"{folder} --mapping {out}"
    typer.echo(f"\nWritten: {out}. Look at it, then: fitledger check {named}, fitledger load {named}.")


def _answers_in(path: Path | None) -> dict[str, str]:
    if path is None:
        return {}
    said = read_toml(path, f"Answers {path}")
    if odd := [key for key, value in said.items() if not isinstance(value, str)]:
        raise UsageError(
            f"Answers {path}: {odd[0]} holds no text. Expected a line an answer with its key in quotes: "
            '"knee_captures.knee_tilt_deg.unit" = "deg".'
        )
    return said


def _require_known(asked: "Asked", given: dict[str, str]) -> None:
    """Refuses an answer that its question does not take: a misspelled one would be taken for none."""
    from etl.mapping_assistant.asking import Asked, is_choice, is_valid

    for key, said in given.items():
        before = Asked(asked.files, {other: one for other, one in given.items() if other != key})
        question = next((one for one in before.questions if one.key == key), None)
        choices = question.choices if question else before.choices_of(key)
        if not choices:
            raise UsageError(f"Answers: {key} is no question of these files. Expected keys as `fitledger map` prints them.")
        if not (is_valid(question, said) if question else is_choice(choices, said)):
            raise UsageError(f"Answers: {key}: found {said!r}, expected one of {', '.join(choices)}. Correct it.")


def _print_plan(folder: "Folder", asked: "Asked") -> None:
    for refused in folder.refused:
        typer.echo(f"not read: {refused}")
    if folder.native:
        typer.echo(f"in contract form already: {', '.join(folder.native)}")
    if asked.left_out:
        typer.echo(f"nothing of the contract was found in: {', '.join(asked.left_out)}")
    for plan in asked.plans:
        typer.echo(f"\n{plan.table.name}, from {plan.file}")
        for column in plan.table.columns:
            proposal = plan.columns.get(column.name)
            needed = "required" if column.required else "optional"
            if proposal is None:
                is_told = column.name == "side" and plan.is_wide
                typer.echo(f"  {column.name}: " + ("left and right stand side by side" if is_told else f"not found ({needed})"))
                continue
            made_of = proposal.candidate.headings if proposal.candidate else f"= {proposal.value}"
            likely = "" if proposal.is_sure else ", to be asked"
            typer.echo(f"  {column.name} ← {made_of}  ({'; '.join(proposal.reasons)}{likely})")


def _dialogue(folder: "Folder", asked: "Asked") -> "Asked":
    """Asks one question after the other; what an answer changes is proposed anew before the next."""
    from etl.mapping_assistant.asking import YES, Asked, is_valid

    later: set[str] = set()
    while question := next((one for one in asked.questions if one.key not in later), None):
        n_left = sum(one.key not in later for one in asked.questions)
        _print_question(folder, asked, question, n_left)
        said = typer.prompt("answer", default=_LATER, show_default=False).strip()
        # A proposal is taken by typing it: no key alone confirms a unit, a sign or a side.
        if said == YES and question.proposed and YES not in question.choices:
            said = question.proposed
        if said == _LATER:
            later.add(question.key)
        elif is_valid(question, said):
            asked = Asked(asked.files, {**asked.answers, question.key: said})
        else:
            typer.echo(f"  {said!r} is none of the answers.")
    return asked


def _print_question(folder: "Folder", asked: "Asked", question: "Question", n_left: int) -> None:
    from etl.mapping_assistant.asking import YES
    from etl.mapping_assistant.sampling import sample_of

    typer.echo(f"\n{question.words}  ({n_left} left)")
    for cell, made in sample_of(folder, asked, question):
        typer.echo(f"    {cell}  →  {made or '(empty)'}")
    for reason in question.reasons:
        typer.echo(f"  because: {reason}")
    takes = "" if YES in question.choices else " (yes takes it)"
    likely = f"; likely {question.proposed}{takes}" if question.proposed else ""
    more = f" and {len(question.choices) - _SHOWN_CHOICES} more" if len(question.choices) > _SHOWN_CHOICES else ""
    typer.echo(f"  {' / '.join(question.choices[:_SHOWN_CHOICES])}{more}{likely}; {_LATER} or Enter for later")


def _print_waiting(asked: "Asked", waiting: dict[str, list[str]]) -> None:
    must = [question for question in asked.questions if question.must]
    if must:
        typer.echo(
            f"\n{counted(len(must), 'answer')} missing; the lines that wait for them are not in force. Say them with --answers:"
        )
        for question in must:
            likely = f" (likely {question.proposed})" if question.proposed else ""
            typer.echo(f'  "{question.key}" = one of {", ".join(question.choices[:_SHOWN_CHOICES])}{likely}')
            if question.reasons:
                typer.echo(f"      {'; '.join(question.reasons)}")
    for table, keys in waiting.items():
        typer.echo(f"{table} is not loaded until these are said: {', '.join(keys)}")


def _try(folder: Path, text: str, settings: Path | None) -> None:
    from etl.mapping_assistant.preview import preview

    try:
        tried = preview(folder, text, load_settings(settings))
    except FitledgerError as fault:
        typer.echo(f"\nThe mapping is written; its first figures cannot be shown. {fault}")
    else:
        _print_preview(tried)


def _print_preview(tried: "Preview") -> None:
    typer.echo("\nThe first figures by this mapping (nothing was loaded):")
    typer.echo("  " + ", ".join(f"{name} {n:,}" for name, n in tried.rows.items()))
    for row in tried.by_side:
        if row["n_tilts"]:
            typer.echo(
                f"  tilt {row['side']}: mean {row['mean_tilt_deg']:+.1f}°, from {row['lowest_tilt_deg']:+.1f} to "
                f"{row['highest_tilt_deg']:+.1f} ({row['n_tilts']:,} captures)"
            )
    for row in tried.captures_a_visit:
        typer.echo(f"  {counted(row['visits'], 'visit')} with {counted(row['captures'], 'capture')}")
    rejected = sum(file.rejected for file in tried.report.files)
    typer.echo(f"  {counted(rejected, 'row')} rejected" + ("; fitledger check tells why" if rejected else ""))
    if refused := [file.file for file in tried.report.files if file.refused]:
        typer.echo(f"  not loaded: {', '.join(refused)}")
