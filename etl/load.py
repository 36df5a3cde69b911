"""Loads or checks exports: files in, rows and findings out.

The work is done on a copy of the warehouse that takes its place in one step: all of a load is there, or none of it.
"""

from collections.abc import Iterable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd

from etl import check, mart, merge, prepare, rejects, stage, together, warn
from etl.absent import absent_tables
from etl.asked import asked_again, questions
from etl.at_work import Loading, Progress, Steps
from etl.calls_closed import close_calls
from etl.core import build_core, part_of
from etl.derived import follows_the_warehouse, matched_columns
from etl.hook import hooked, load_hook
from etl.keeping.migrate import bring_up_to_date, is_older
from etl.keeping.set_aside import set_aside_of
from etl.logged import log, logged, number_lines
from etl.read import (
    READABLE,
    FoundFile,
    RefusedFileError,
    Seen,
    SourceFile,
    expand,
    find_files,
    mapping_texts,
    open_source,
)
from etl.repeat import Fingerprint, fingerprint, known_report
from etl.report import Checked, FileReport, Finding, LoadReport, waiting_words
from shared.catalogue import Table, catalogue
from shared.errors import InputUnusableError, WarehouseChangedError, WarehouseError
from shared.lakes.attaching import one_snapshot
from shared.rewriting import copy_out
from shared.rig.watch import rig_findings
from shared.settings import Settings
from shared.statistics.wording import counted
from shared.warehouse import WAREHOUSE_VERSION, LoadingWarehouse, open_loading, open_working_copy, snapshot_of
from shared.working import working

# Long, since each is told its place in the line and may leave it: forty loads at once all go in.
WAIT_SECONDS = 3600.0


@logged
def load(
    paths: Iterable[Path | FoundFile],
    warehouse: Path,
    progress: Progress | None = None,
    today: date | None = None,
    *,
    settings: Settings | None = None,
    mapping: Path | None = None,
    hook: Path | None = None,
    wait_seconds: float = WAIT_SECONDS,
    checked: Checked | None = None,
) -> LoadReport:
    """Loads every file of `paths` into the warehouse file, all or nothing.

    `progress` is told (steps done, steps in all, what is being done). `today` is the load's own date. Where another load
    holds the warehouse, this one waits in line up to `wait_seconds`. `hook` is a file of the studio's own (see hook.py).
    `checked` is what a check has seen: nothing else is loaded.
    Raises InputUnusableError where no file can be used, WarehouseError where the warehouse cannot be written,
    WarehouseChangedError where files or warehouse are not those that were checked.
    """
    today, settings = today or date.today(), settings or Settings()
    files = _files_of(paths, mapping, settings)
    own = load_hook(hook) if hook else None
    mark = fingerprint(files, settings, *mapping_texts(files), *([own.text] if own else []))
    if checked:
        _require_same(checked, mark, warehouse)
    bring_up_to_date(warehouse, settings, wait_seconds=wait_seconds)
    if known := known_report(warehouse, mark, today):
        return known
    step = Steps(progress, len(files) + len(catalogue()) + 4)
    opening = open_loading(warehouse, wait_seconds=wait_seconds, on_wait=lambda n: _wait(step, n))
    report = _run(files, opening, step, Loading(warehouse, today, settings, mark, checked, own))
    report.calls = close_calls(warehouse, report.load_id) if report.load_id else ""
    return report


def check_files(
    paths: Iterable[Path | FoundFile],
    warehouse: Path,
    progress: Progress | None = None,
    today: date | None = None,
    *,
    settings: Settings | None = None,
    mapping: Path | None = None,
    hook: Path | None = None,
) -> LoadReport:
    """The same findings and counts as `load` would give on this warehouse; nothing is written.

    The report's `checked` lets `load` hold to what was checked.
    """
    checked_state = snapshot_of(warehouse)
    today, settings = today or date.today(), settings or Settings()
    files = _files_of(paths, mapping, settings)
    own = load_hook(hook) if hook else None
    mark = fingerprint(files, settings, *mapping_texts(files), *([own.text] if own else []))
    checked = Checked(mark.value, checked_state)
    needs_migration = warehouse.exists() and is_older(warehouse)
    if not needs_migration and (known := known_report(warehouse, mark, today)):
        mappings = [file.mapping for file in files if file.mapping]
        return replace(known, checked=checked, questions=asked_again(warehouse, settings, mappings))
    step = Steps(progress, len(files) + len(catalogue()) + 4)
    try:
        with working(warehouse.parent, elsewhere=True) as folder:
            copy = folder / "check.duckdb"
            if warehouse.exists():
                copy_out(warehouse, copy)
                bring_up_to_date(copy, settings)
            report = _run(files, open_working_copy(copy, warehouse), step, Loading(warehouse, today, settings, mark, hook=own))
    except OSError as fault:
        raise WarehouseError(
            f"{warehouse}: the files could not be checked on a copy ({fault.strerror or fault}). Nothing was written. Free "
            f"some space in {warehouse.parent} or in the folder of temporary files and try again."
        ) from fault
    return replace(report, load_id=None, checked=checked)


def _wait(step: Steps, n_before: int) -> None:
    others = f"; {n_before} more before this one" if n_before else ""
    step(f"waiting for another load{others}", 0)
    log.info("load waits", extra={"fields": {"before": n_before + 1}})


def _require_same(checked: Checked, mark: Fingerprint, warehouse: Path) -> None:
    """What is loaded must be what was checked: the same files under the same rules, into the same warehouse."""
    if checked.fingerprint != mark.value:
        raise WarehouseChangedError(
            "The files are no longer those that were checked. Nothing was written. Look at what is found now, then load."
        )
    if checked.warehouse != snapshot_of(warehouse):
        raise WarehouseChangedError(
            "The warehouse has changed since these files were checked: another load came between, or one was taken back. "
            "Nothing was written. Look at what is found now, then load."
        )


def _files_of(paths: Iterable[Path | FoundFile], mapping: Path | None, settings: Settings) -> list[FoundFile]:
    paths = list(paths)
    files = find_files(paths, mapping, settings.reading)
    if not files:
        named = ", ".join(map(str, paths)) or "Nothing was named"
        raise InputUnusableError(
            f"{named}: no file of exports was found. Expected files named like the tables "
            f"({', '.join(catalogue())}), as {', '.join(READABLE)}. Nothing was written."
        )
    return files


def _run(files: list[FoundFile], opening: AbstractContextManager[LoadingWarehouse], step: Steps, load: Loading) -> LoadReport:
    with opening as warehouse:
        warehouse.limit_memory(load.settings.reading.loading_memory_mb)
        # Again, now that no other load can come between.
        if load.checked and warehouse.path:
            _require_same(load.checked, load.mark, warehouse.path)
        with one_snapshot(warehouse):
            merge.make_tables(warehouse, WAREHOUSE_VERSION)
        load.set_aside = set_aside_of(warehouse, load.home, load.today)
        stage.begin(warehouse)
        load.load_id = stage.next_load(warehouse)
        number_lines(load.load_id)
        load.part = part_of(warehouse, load.load_id)
        step("opening the files")
        _open_sources(files, warehouse, load)
        load.require_usable()
        # Opening, each source, each table that is there, and what follows.
        step.set_total(1 + len(load.sources) + len({source.table.name for source in load.sources.values()}) + 3)
        # Parents stand before the tables that refer to them; each table is staged, merged and forgotten in turn, so
        # that one table only is held at a time.
        for table in catalogue().values():
            _load_table(warehouse, table, load, step)
        load.require_usable()
        _finish(warehouse, load, step)
    return load.report


def _open_sources(files: list[FoundFile], warehouse: LoadingWarehouse, load: Loading) -> None:
    seen = Seen()
    scratch, hook = warehouse.scratch, load.hook

    def give(parts: list[FoundFile]) -> list[FoundFile]:
        return hooked(hook, parts, scratch, warehouse) if hook else parts

    for file in expand(files, scratch, give):
        try:
            source = open_source(file, scratch, warehouse, seen)
        except RefusedFileError as refusal:
            load.report.files.append(FileReport(file.name, None, refused=True, words=str(refusal)))
            continue
        file_no = len(load.report.files)
        scope = prepare.scope_of(source, file_no)
        load.sources[file_no] = replace(source, scope=scope) if scope else source
        load.report.files.append(FileReport(source.name, source.table.name, words=_reading_words(source)))


def _load_table(warehouse: LoadingWarehouse, table: Table, load: Loading, step: Steps) -> None:
    sources = {file_no: source for file_no, source in load.sources.items() if source.table.name == table.name}
    if sources:
        stage.begin_table(warehouse, table)
        mappings = {id(source.table_mapping): source.table_mapping for source in sources.values()}.values()
        matched = {name for mapped in mappings for name in matched_columns(mapped)}
        rules = check.rules_of(table, load.today, matched)
        prepare.prepare(warehouse, table, sources)
        for group in together.groups_of(sources):
            _stage_group(warehouse, group, rules, load, step)
        sources = {file_no: source for file_no, source in sources.items() if file_no in load.sources}
        if load.set_aside:
            load.changed |= load.set_aside.leave_out(warehouse, table, dict(enumerate(load.report.files)))
        for file_no, n in rejects.leave_recorded(warehouse, table).items():
            load.report.files[file_no].rejected += n
        prepare.keep_numbers(warehouse, table, sources.values(), load.load_id)
        load.report.filled += prepare.filled(warehouse, table, sources.values())
        for file_no, words in prepare.idle_changes(warehouse, table, sources).items():
            load.sources[file_no] = replace(load.sources[file_no], idle_changes=words)
            load.report.files[file_no].words += f"; {words}"
        step(f"comparing {table.name}")
        fates = merge.decide_fates(warehouse, table)
        merge.add_versions(warehouse, table, load.load_id, fates)
        if fates.get("stored") or fates.get("replaced"):
            load.changed.add(table.name)
    if table.name in load.changed or any(key.table in load.changed for key in table.foreign_keys):
        load.changed.add(table.name)
        build_core(warehouse, table, load.part)
    if table.name in load.changed or sources:
        n_unresolved = merge.list_unresolved(warehouse, table)
        if sources:
            _count(warehouse, table, sources, load, n_unresolved)
            rejects.keep_mended(warehouse, table, load.load_id)
            stage.end_table(warehouse, table)


def _stage_group(
    warehouse: LoadingWarehouse, group: together.Group, rules: list[check.Rule], load: Loading, step: Steps
) -> None:
    """Stages files that are read alike; where one of them is at fault, the others without it."""
    first = next(iter(group.values()))
    step(f"reading {first.name}" + (f" and {counted(len(group) - 1, 'file')} like it" if len(group) > 1 else ""), 0)
    try:
        staged = stage.stage(warehouse, group, rules, load.may_reject)
    except (OSError, WarehouseError, RefusedFileError) as fault:
        stage.unstage(warehouse, group)
        if len(group) > 1:
            for half in together.halves_of(group):
                _stage_group(warehouse, half, rules, load, step)
            return
        _refuse(fault, group, load)
        staged = {}
    for file_no, held in staged.items():
        load.note(file_no, held)
    step.skip(len(group))


def _refuse(fault: Exception, group: together.Group, load: Loading) -> None:
    """Leaves a file out that cannot be staged. Raises what ends the load: that a file is gone, or what the warehouse met."""
    ((file_no, source),) = group.items()
    if isinstance(fault, RefusedFileError):
        load.report.files[file_no] = FileReport(source.name, None, refused=True, words=str(fault))
        del load.sources[file_no]
        return
    if not (source.path.exists() and source.readable_path.exists()):
        raise InputUnusableError(
            f"{source.name}: the file was there when the load began, and is gone now. Nothing was changed. Put "
            "it back, let it stand until the load has ended, and load again."
        ) from fault
    raise fault


def _count(warehouse: LoadingWarehouse, table: Table, sources: dict[int, SourceFile], load: Loading, n_unresolved: int) -> None:
    report = load.report
    fates = (merge.final_fates if n_unresolved else merge.plain_fates)(warehouse, table)
    for row in fates:
        file = report.files[row["file_no"]]
        if row["final_fate"] in {"duplicate", "orphan"}:
            file.rejected += row["n"]
        else:
            setattr(file, row["final_fate"], getattr(file, row["final_fate"]) + row["n"])
    if load.may_reject < 0:
        # Too late to leave the file out: that its rows contradict one another, or name nobody, shows once all are compared.
        raise InputUnusableError(
            stage.too_many_rejected(max(sources.items(), key=lambda pair: report.files[pair[0]].rejected)[1])
        )
    for fate, find in (("duplicate", merge.find_duplicates), ("orphan", merge.find_orphans)):
        if file_nos := sorted({row["file_no"] for row in fates if row["final_fate"] == fate}):
            find(warehouse, {file_no: sources[file_no] for file_no in file_nos})


def _finish(warehouse: LoadingWarehouse, load: Loading, step: Steps) -> None:
    step("keeping what was rejected")
    report = load.report
    report.findings = [Finding(**row) for row in warehouse.rows(merge.SQL / "raw/findings.sql")]
    for file_no, n in rejects.cells_of(warehouse).items():
        report.files[file_no].cells = n
    n_new = rejects.keep_findings(warehouse, load.load_id, load.sources)
    n_released = sum(rejects.release(warehouse, table, load.load_id, load.load_id) for table in catalogue().values())
    step("building the marts")
    if load.changed:
        with one_snapshot(warehouse):
            mart.build(warehouse, load.part)
        report.warnings = warn.build(warehouse, load.settings)
        step("looking at the rigs")
        report.rig = rig_findings(warehouse, load.settings)
        mappings = {id(one): one for source in load.sources.values() if (one := source.mapping)}.values()
        report.questions = questions(warehouse, load.settings, mappings, load.load_id, report.rig)
    if load.changed or n_new or n_released:
        report.load_id = load.load_id
        _record(warehouse, load)
    else:
        warehouse.leave_unchanged()
    report.absent = absent_tables(warehouse)
    for file in report.files:
        file.words += waiting_words(file.waiting)


def _record(warehouse: LoadingWarehouse, load: Loading) -> None:
    now = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    # Rows of the forgotten are kept nowhere, and what follows from other fits changes with them: such a folder is read again.
    mappings = {id(source.table_mapping): source.table_mapping for source in load.sources.values()}.values()
    is_read_again = (load.set_aside and load.set_aside.n_rows) or any(map(follows_the_warehouse, mappings))
    mark = "" if is_read_again else load.mark.value
    values = {"load_id": load.load_id, "now": now, "today": load.today, "fingerprint": mark}
    warehouse.run("INSERT INTO raw.loads VALUES ($load_id, $now, $today, $fingerprint, NULL)", values)
    rows = []
    for file_no, file in enumerate(load.report.files):
        source = load.sources.get(file_no)
        detected, digest = (source.detected, load.mark.digests.get(source.path)) if source else ("", None)
        rows.append({"load_id": load.load_id, "file_no": file_no, "detected": detected, "digest": digest, **vars(file)})
    warehouse.put("read_files", pd.DataFrame(rows).astype({"table": "object", "digest": "object"}))
    warehouse.run(merge.SQL / "raw/add_files.sql")


def _reading_words(source: SourceFile) -> str:
    if not source.unknown:
        return source.detected
    return f"{source.detected}; left out, since the contract does not know them: {', '.join(source.unknown)}"
