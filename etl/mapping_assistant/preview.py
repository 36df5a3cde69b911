"""The first figures by a mapping: its files loaded into a warehouse of their own that goes again."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from etl.load import load
from etl.report import LoadReport
from shared.settings import Settings
from shared.warehouse import open_reading
from shared.working import working

SQL = Path(__file__).with_name("sql")


@dataclass(frozen=True)
class Preview:
    """What the warehouse would hold: rows a table, tilt a side, captures a visit, and the report of the load."""

    rows: dict[str, int]
    by_side: list[dict[str, Any]]
    captures_a_visit: list[dict[str, Any]]
    report: LoadReport


def preview(folder: Path, mapping: str, settings: Settings | None = None) -> Preview:
    """Loads a folder by the text of a mapping, beside no warehouse that stands. Raises what `load` raises."""
    with working(folder, elsewhere=True) as scratch:
        path = scratch / "mapping.toml"
        path.write_text(mapping, encoding="utf-8")
        report = load([folder], scratch / "preview.duckdb", settings=settings, mapping=path)
        warehouse = open_reading(scratch / "preview.duckdb")
        try:
            names = ("riders", "fit_sessions", "knee_captures", "foot_setups", "foot_exams")
            rows = {name: int(warehouse.value(f'SELECT count(*) FROM core."{name}"')) for name in names}
            by_side = warehouse.rows(SQL / "tilt_by_side.sql")
            captures = warehouse.rows(SQL / "captures_a_visit.sql")
        finally:
            warehouse.close()
    return Preview(rows, by_side, captures, report)
