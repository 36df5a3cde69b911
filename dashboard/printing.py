"""What the command prints of a load: counts, findings and warnings in groups, and the files of rejected rows."""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import typer

from dashboard.questions.selection.answers import cells_to_csv
from etl.mend_files import MendFile, to_mend
from etl.report import FileReport, Finding, LoadReport, WarningGroup, cell_words, waiting_words
from shared.errors import NotRecordedError, UsageError
from shared.rig.findings import RigFinding
from shared.statistics.wording import counted
from shared.warehouse import open_reading

# Of files, findings and warnings alike so many are told.
_SHOWN: Final = 3
_COUNTS: Final = ("read", "stored", "replaced", "unchanged", "rejected", "waiting")
_DIGITS: Final = re.compile(r"\d+")


def print_report(report: LoadReport, as_json: bool) -> None:
    """Prints what a load or a check tells and ends the command with its exit code."""
    if as_json:
        typer.echo(report.to_json())
    else:
        print_words(report)
    raise typer.Exit(report.exit_code)


def print_words(report: LoadReport) -> None:
    """Prints what a load or a check tells, for people."""
    for words in file_lines(report.files):
        typer.echo(words)
    _print_findings(report.findings)
    for filled in report.filled:
        typer.echo(filled.words)
    _print_warnings(report.warnings)
    _print_rig(report.rig)
    _print_questions(report)
    _print_absent(report)
    if report.calls:
        typer.echo(report.calls)
    typer.echo(f"{total_words(report)}." + ("" if report.load_id else " Nothing was written."))


def file_lines(files: Sequence[FileReport]) -> list[str]:
    """A line a file; of more than three of which the same is told, one line with their sums and the first three names."""
    alike: dict[tuple[str | None, str], list[FileReport]] = {}
    for file in files:
        own = file.words.removesuffix(waiting_words(file.waiting)).replace(file.file, "")
        alike.setdefault((file.table, _DIGITS.sub("#", own)), []).append(file)
    lines = []
    for same in alike.values():
        lines += [_file_words(file) for file in same] if len(same) <= _SHOWN else [_folded(same)]
    return lines


def _folded(files: list[FileReport]) -> str:
    """What is told of many files alike, once."""
    first = files[0]
    names = f"{', '.join(file.file for file in files[:_SHOWN])} and {len(files) - _SHOWN:,} more"
    if first.refused:
        return f"refused  {len(files):,} files alike ({names}). The first: {first.words}"
    whole = FileReport(f"{len(files):,} files ({names})", first.table)
    for name in (*_COUNTS, "cells"):
        setattr(whole, name, sum(getattr(file, name) for file in files))
    whole.words = first.words.removesuffix(waiting_words(first.waiting)) + waiting_words(whole.waiting)
    return _file_words(whole)


def _file_words(file: FileReport) -> str:
    if file.refused:
        return f"refused  {file.words}"
    return (
        f"{file.file} → {file.table}: {file.read} read = {file.stored} stored + {file.replaced} replaced + "
        f"{file.unchanged} unchanged + {file.rejected} rejected + {file.waiting} waiting{cell_words(file.cells)}"
        f"  ({file.words})"
    )


def _print_findings(findings: list[Finding]) -> None:
    groups: dict[tuple[str, str, bool], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.rule, finding.column, finding.is_cell), []).append(finding)
    for (rule, column, is_cell), alike in groups.items():
        told = f"{counted(len(alike), 'cell')} left out" if is_cell else counted(len(alike), "row")
        typer.echo(f"\n{rule}, {column}: {told}")
        for finding in alike[:_SHOWN]:
            typer.echo(f"  {finding.file}, line {finding.line}: {finding.words}")
    if findings:
        typer.echo("")


def _print_warnings(groups: list[WarningGroup]) -> None:
    for group in groups:
        typer.echo(f"\nwarning {group.rule}, {group.column}: {group.n} new, loaded all the same")
        for words in group.examples:
            typer.echo(f"  {words}")
    if groups:
        typer.echo("")


def _print_rig(findings: Sequence[RigFinding]) -> None:
    if findings:
        typer.echo("\nThe rig, over all fits:")
        for finding in findings:
            typer.echo(f"  {finding.words}")
        typer.echo("")


def _print_questions(report: LoadReport) -> None:
    """What is asked, with both answers; nothing is changed by asking."""
    if report.questions:
        as_it_stands = "" if report.checked else "; all is loaded as it stands"
        typer.echo(f"\nAsked, since no sign, side, unit or id is guessed{as_it_stands}:")
        for number, question in enumerate(report.questions, 1):
            first, *answers = question.lines
            typer.echo(f"  {number}. {first}")
            for words in answers:
                typer.echo(f"     {words}")
        typer.echo("")


def _print_absent(report: LoadReport) -> None:
    """What is not recorded, and what that costs: of a check, since a load may be one of several."""
    if report.checked and report.absent:
        typer.echo("\nNot recorded, in these files or the warehouse:")
        for absent in report.absent:
            typer.echo(f"  {absent.words}")
        typer.echo("")


def write_rejects(path: Path, table: str, folder: Path | None) -> None:
    """Rejected rows in the columns of the files that they came from: one table to standard output, or files into a folder."""
    warehouse = open_reading(path)
    try:
        found = to_mend(warehouse, table)
    finally:
        warehouse.close()
    if folder is None:
        if len(found.files) > 1:
            raise UsageError(
                f"The rejected rows of {table} were read in {len(found.files)} ways, each a file of its own: write them with "
                "--out FOLDER."
            )
        typer.echo("".join(mend_text(file) for file in found.files), nl=False)
        for words in found.lost_words:
            typer.echo(words, err=True)
        return
    folder.mkdir(parents=True, exist_ok=True)
    for file in found.files:
        (folder / f"{file.name}.csv").write_text(mend_text(file), encoding="utf-8", newline="")
        if not file.n_rejects:
            typer.echo(f"{folder / f'{file.name}.csv'}: the changes that they follow from. Load it with them.")
            continue
        how = ""
        if file.mapping:
            (folder / f"{file.name}-mapping.toml").write_text(file.mapping, encoding="utf-8", newline="")
            how = f", in their own columns, units and signs; {file.mapping_name} is applied as you load"
        typer.echo(f"{folder / f'{file.name}.csv'}: {counted(len(file.rows), 'row')}{how}. Mend the cells and load the file.")
    for words in found.lost_words:
        typer.echo(words)


def mend_text(file: MendFile) -> str:
    """A file to mend as CSV."""
    return cells_to_csv(file.headings, file.rows)


def total_words(report: LoadReport) -> str:
    """How many rows were read and what became of them, in one line."""
    totals = {name: sum(getattr(file, name) for file in report.files) for name in _COUNTS}
    cells = report.cell_words
    refused = sum(file.refused for file in report.files)
    words = f"{totals.pop('read')} rows read = " + " + ".join(f"{n} {name}" for name, n in totals.items()) + cells
    return words + (f"; {counted(refused, 'file')} refused" if refused else "")


def not_recorded_json(question: str, refusal: NotRecordedError) -> str:
    """What stands in an answer's place where the studio does not record what it stands on, as JSON."""
    return json.dumps({"question": question, "headline": str(refusal), "not_recorded": list(refusal.absent)}, indent=2)


def print_answer(answer: Any) -> None:
    """Prints an answer for the eye: its sentence, what was asked, its rows."""
    typer.echo(answer.headline)
    from shared.clock import spoken_day

    typer.echo(f"{answer.selection_words}; {f'data up to {spoken_day(answer.as_of)}' if answer.as_of else 'no data yet'}.\n")
    rows = [{key: _cell(value) for key, value in row.items()} for row in answer.rows()]
    if not rows:
        return
    words = [row.pop("words", "") for row in rows]
    widths = {key: max(len(key), *(len(row[key]) for row in rows)) for key in rows[0]}
    for row, sentence in zip([{key: key for key in rows[0]}, *rows], ["", *words], strict=True):
        typer.echo("  ".join(row[key].ljust(width) for key, width in widths.items()) + f"  {sentence}".rstrip())


def _cell(value: Any) -> str:
    return f"{value:.3f}" if isinstance(value, float) else "" if value is None else str(value)
