"""Loads or checks exports: files in, rows and findings out.

The work is done on a copy of the warehouse that takes its place in one step: all of a load is there, or none of it.
"""

import tempfile
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime
from pathlib import Path

from etl import check, mart, merge
from etl.read import RefusedFileError, SourceFile, find_files, open_source
from etl.report import FileReport, Finding, LoadReport
from shared.catalogue import Table, catalogue
from shared.errors import InputUnusableError
from shared.warehouse import WAREHOUSE_VERSION, LoadingWarehouse, open_loading

Progress = Callable[[int, int, str], None]


def load(
    paths: Iterable[Path], warehouse: Path, progress: Progress | None = None, today: date | None = None
) -> LoadReport:
    """Loads every file of `paths` into the warehouse file, all or nothing.

    `progress` is told (steps done, steps in all, what is being done). `today` is the load's own date.
    Raises InputUnusableError where no file can be used, WarehouseError where the warehouse cannot be written.
    """
    return _run(paths, open_loading(warehouse), progress, today or date.today())


def check_files(
    paths: Iterable[Path], warehouse: Path, progress: Progress | None = None, today: date | None = None
) -> LoadReport:
    """The same findings and counts as `load` would give on this warehouse; nothing is written."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "check.duckdb"
        if warehouse.exists():
            copy.write_bytes(warehouse.read_bytes())
        report = _run(paths, open_loading(copy, keep=False), progress, today or date.today())
    report.load_id = None
    return report


def _run(
    paths: Iterable[Path], opening: AbstractContextManager[LoadingWarehouse], progress: Progress | None, today: date
) -> LoadReport:
    found = find_files(paths)
    if not found:
        raise InputUnusableError(
            f"{', '.join(map(str, paths))}: no file of exports was found. Expected files named like the tables "
            f"({', '.join(catalogue())}), as .csv, .csv.gz or .parquet. Nothing was written."
        )
    report = LoadReport(files=[FileReport(file.name, None) for file in found])
    step = _Steps(progress, len(found) + len(catalogue()) + 2)
    with opening as warehouse, tempfile.TemporaryDirectory() as scratch:
        merge.make_tables(warehouse, WAREHOUSE_VERSION)
        merge.begin_staging(warehouse)
        sources: dict[int, SourceFile] = {}
        for file_no, file in enumerate(found):
            step(f"reading {file.name}")
            try:
                source = open_source(file, Path(scratch), warehouse)
            except RefusedFileError as refusal:
                report.files[file_no].refused = True
                report.files[file_no].words = str(refusal)
                continue
            sources[file_no] = source
            row = report.files[file_no]
            row.table = source.table.name
            row.words = _reading_words(source)
            row.read, row.rejected = merge.stage(warehouse, source, file_no, check.rules_of(source.table, today))
        if not sources:
            raise InputUnusableError(
                "Nothing can be used, nothing was written. " + " ".join(file.words for file in report.files)
            )
        _merge_all(warehouse, sources, report, step)
    return report


def _merge_all(warehouse: LoadingWarehouse, sources: dict[int, SourceFile], report: LoadReport, step: "_Steps") -> None:
    load_id = 1 + (warehouse.value("SELECT max(load_id) FROM raw.loads") or 0)
    touched = {source.table.name for source in sources.values()}
    changed: set[str] = set()
    for table in catalogue().values():
        step(f"comparing {table.name}")
        fates = merge.decide_fates(warehouse, table)
        if fates.get("stored", 0) + fates.get("replaced", 0):
            merge.add_versions(warehouse, table, load_id)
            changed.add(table.name)
        if table.name in changed or any(key.table in changed for key in table.foreign_keys):
            merge.build_core(warehouse, table)
            changed.add(table.name)
        if table.name in changed | touched:
            merge.list_unresolved(warehouse, table)
            _count(warehouse, table, sources, report)
        if table.name in changed:
            merge.release_mended(warehouse, table, load_id)
    step("keeping what was rejected")
    n_new_rejects = merge.keep_rejects(warehouse, load_id)
    report.findings = _findings(warehouse)
    step("building the marts")
    if changed:
        mart.build(warehouse)
    if changed or n_new_rejects:
        report.load_id = load_id
        _record(warehouse, load_id, report, sources)
    else:
        warehouse.leave_unchanged()


def _count(warehouse: LoadingWarehouse, table: Table, sources: dict[int, SourceFile], report: LoadReport) -> None:
    for row in merge.final_fates(warehouse, table):
        file = report.files[row["file_no"]]
        if row["final_fate"] in {"duplicate", "orphan"}:
            file.rejected += row["n"]
        else:
            setattr(file, row["final_fate"], getattr(file, row["final_fate"]) + row["n"])
    for file_no, source in sources.items():
        if source.table.name == table.name:
            merge.find_duplicates(warehouse, source, file_no)
            merge.find_orphans(warehouse, source, file_no)
            if n_waiting := report.files[file_no].waiting:
                rows = "1 row waits for its session" if n_waiting == 1 else f"{n_waiting} rows wait for their session"
                report.files[file_no].words += f"; {rows}"


def _findings(warehouse: LoadingWarehouse) -> list[Finding]:
    return [Finding(**row) for row in warehouse.rows(merge.SQL / "raw/findings.sql")]


def _record(warehouse: LoadingWarehouse, load_id: int, report: LoadReport, sources: dict[int, SourceFile]) -> None:
    now = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    warehouse.run("INSERT INTO raw.loads VALUES ($load_id, $now)", {"load_id": load_id, "now": now})
    for file_no, file in enumerate(report.files):
        detected = sources[file_no].detected if file_no in sources else ""
        values = {"load_id": load_id, "file_no": file_no, "detected": detected, **vars(file)}
        warehouse.run(merge.SQL / "raw/add_file.sql", values)


def _reading_words(source: SourceFile) -> str:
    if not source.unknown:
        return source.detected
    return f"{source.detected}; left out, since the contract does not know them: {', '.join(source.unknown)}"


class _Steps:
    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress = progress
        self._total = total
        self._done = 0

    def __call__(self, words: str) -> None:
        if self._progress:
            self._progress(self._done, self._total, words)
        self._done += 1
