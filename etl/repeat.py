"""Knows a load again: the same files, under the same names and rules, as an earlier load that still stands.

Such a load is answered from the warehouse, without reading a row: its counts follow from what that load brought and from
what has joined since.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

from etl.absent import absent_tables
from etl.read import FoundFile
from etl.report import FileReport, Finding, LoadReport, waiting_words
from shared.catalogue import catalogue
from shared.catalogue.catalogue import DATAPACKAGE
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading

SQL = Path(__file__).with_name("sql") / "repeat"


@dataclass(frozen=True)
class Fingerprint:
    """`value` stands for a whole load; `digests` for each file by its path."""

    value: str
    digests: dict[Path, str]


def fingerprint(files: Iterable[FoundFile], settings: Settings, *others: bytes) -> Fingerprint:
    """Of the files, their names, and all else that decides what a load makes of them: `others` holds a mapping's text."""
    decisive = settings.model_dump_json(exclude={"upload", "encryption"})
    digests: dict[Path, str] = {}
    whole = hashlib.sha256()
    for part in (version("fitledger").encode(), DATAPACKAGE.read_bytes(), decisive.encode(), *others):
        whole.update(hashlib.sha256(part).digest())
    for file in files:
        if file.path not in digests:
            digests[file.path] = _digest(file)
        whole.update(f"{file.name}\0{digests[file.path]}\0".encode())
    return Fingerprint(whole.hexdigest(), digests)


def known_report(path: Path, mark: Fingerprint, today: date) -> LoadReport | None:
    """What loading the same files again tells; None where they must be read, since a row may have another fate now."""
    if not path.is_file():
        return None
    warehouse = open_reading(path)
    try:
        values = {"fingerprint": mark.value, "today": today}
        load_id = warehouse.value(SQL / "known_load.sql", values)
        if load_id is None or _is_overtaken(warehouse, load_id):
            return None
        return _report(warehouse, load_id)
    finally:
        warehouse.close()


def _is_overtaken(warehouse: Warehouse, load_id: int) -> bool:
    """Whether a row of a table has been replaced since: loading the older files again would put it back."""
    return any(
        warehouse.value(f'SELECT count(*) > 0 FROM raw."{table}" WHERE superseded_by > $load_id', {"load_id": load_id})
        for table in catalogue()
    )


def _report(warehouse: Warehouse, load_id: int) -> LoadReport:
    values = {"load_id": load_id}
    report = LoadReport(absent=absent_tables(warehouse))
    for row in warehouse.rows(SQL / "known_files.sql", values):
        file = FileReport(**row)
        file.unchanged = file.read - file.rejected - file.waiting
        file.words += waiting_words(file.waiting)
        report.files.append(file)
    report.findings = [Finding(**row) for row in warehouse.rows(SQL / "known_findings.sql", values)]
    return report


def _digest(file: FoundFile) -> str:
    if file.refusal:
        return "unread"  # refused for its size, which reading it whole would take the time of
    try:
        with file.path.open("rb") as opened:
            return hashlib.file_digest(opened, "sha256").hexdigest()
    except OSError:
        return "unreadable"  # the reader refuses it with its own sentence
