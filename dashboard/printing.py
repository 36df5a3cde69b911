"""What the command prints of a load: counts, findings and warnings in groups, and the files of rejected rows."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from dashboard.questions.selection.answers import rows_to_csv
from etl.rejects import rejected_tables
from etl.report import FileReport, Finding, LoadReport, WarningGroup
from shared.rig.findings import RigFinding
from shared.statistics.wording import counted
from shared.warehouse import open_reading


def print_report(report: LoadReport, as_json: bool) -> None:
    """Prints what a load or a check tells and ends the command with its exit code."""
    if as_json:
        typer.echo(report.to_json())
    else:
        for file in report.files:
            typer.echo(_file_words(file))
        _print_findings(report.findings)
        _print_warnings(report.warnings)
        _print_rig(report.rig)
        typer.echo(f"{total_words(report)}." + ("" if report.load_id else " Nothing was written."))
    raise typer.Exit(report.exit_code)


def _file_words(file: FileReport) -> str:
    if file.refused:
        return f"refused  {file.words}"
    return (
        f"{file.file} → {file.table}: {file.read} read = {file.stored} stored + {file.replaced} replaced + "
        f"{file.unchanged} unchanged + {file.rejected} rejected + {file.waiting} waiting  ({file.words})"
    )


def _print_findings(findings: list[Finding]) -> None:
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.rule, finding.column), []).append(finding)
    for (rule, column), alike in groups.items():
        typer.echo(f"\n{rule}, {column}: {counted(len(alike), 'row')}")
        for finding in alike[:3]:
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


def write_rejects(path: Path, table: str, folder: Path | None) -> None:
    """Rejected rows in their tables' own columns: one table to standard output, or a file a table into a folder."""
    warehouse = open_reading(path)
    try:
        tables = rejected_tables(warehouse, table)
    finally:
        warehouse.close()
    if folder is None:
        typer.echo(rows_to_csv(tables[table]), nl=False)
        return
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        if rows:
            (folder / f"{name}-rejects.csv").write_text(rows_to_csv(rows), encoding="utf-8", newline="")
            typer.echo(f"{folder / f'{name}-rejects.csv'}: {counted(len(rows), 'row')}. Mend the cells and load the file.")


def total_words(report: LoadReport) -> str:
    """How many rows were read and what became of them, in one line."""
    totals = {
        name: sum(getattr(file, name) for file in report.files)
        for name in ("read", "stored", "replaced", "unchanged", "rejected", "waiting")
    }
    refused = sum(file.refused for file in report.files)
    words = f"{totals.pop('read')} rows read = " + " + ".join(f"{n} {name}" for name, n in totals.items())
    return words + (f"; {counted(refused, 'file')} refused" if refused else "")


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
