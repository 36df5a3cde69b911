"""Tables of fits that are given to be looked at and not kept: loaded by the same checks into a file of their own, that goes."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from etl import mart
from etl.load import load
from etl.report import LoadReport
from shared.settings import Settings
from shared.warehouse import Warehouse, open_loading, open_reading
from shared.working import working


@dataclass(frozen=True)
class Given:
    """The given fits as a warehouse, and what the load told of their files."""

    warehouse: Warehouse
    report: LoadReport


@contextmanager
def given_fits(folder: Path, beside: Path, settings: Settings, mapping: Path | None = None) -> Iterator[Given]:
    """Loads the tables of `folder` into a file in a working folder beside `beside`, which is deleted in the end.

    A setup that was recorded without a capture stands as a capture without measures. Raises what a load raises.
    """
    with working(beside.absolute().parent) as place:
        path = place / "given.duckdb"
        report = load([folder], path, settings=settings, mapping=mapping)
        with open_loading(path) as made:
            made.run(mart.SQL / "planned_captures.sql")
            mart.build(made)
        warehouse = open_reading(path)
        try:
            yield Given(warehouse, report)
        finally:
            warehouse.close()
