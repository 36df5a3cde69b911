"""Times every question at the demo's size and at a million knee captures, beside a bare scan of the captures in the same run.

The large warehouse is the demo's, copied under new ids. `make bench` runs it; effects at a million captures take most of it.
"""

import time
from pathlib import Path
from tempfile import TemporaryDirectory

from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl import mart
from etl.load import load
from shared.catalogue import Table, catalogue
from shared.settings import Settings
from shared.warehouse import LoadingWarehouse, open_loading, open_reading
from tests.bench.told import Reference, tell
from warehouse_demo import EXPORTS

LARGE = 1_000_000
DEMO, MILLION = "demo", "a million captures"
SCAN = "SELECT avg(knee_tilt_deg), avg(knee_sway_mm), avg(knee_offset_mm) FROM mart.captures"


def multiply(warehouse: LoadingWarehouse, table: Table, copies: int) -> None:
    """Each row of one core table `copies` times, under ids of its own; fitters stay as they are."""
    ids = {key.column for key in table.foreign_keys if key.table != "fitters"} | {table.key[0]}
    columns = ", ".join(
        f'"{name}" || \'-\' || copies.copy AS "{name}"' if name in ids else f'"{name}"' for name in table.column_names
    )
    warehouse.run(
        f'CREATE OR REPLACE TABLE core."{table.name}" AS SELECT {columns} '
        f'FROM core."{table.name}", range({copies}) AS copies (copy) ORDER BY {", ".join(table.key)}'
    )


def seconds(path: Path, question: str) -> float:
    """One answer from an open warehouse that has remembered nothing."""
    asker = Asker(path, Settings())
    asker.choices()
    start = time.perf_counter()
    asker.ask(question, Selection())
    return time.perf_counter() - start


def scan_of(path: Path) -> Reference:
    """A bare scan of the captures, the best of three."""
    warehouse = open_reading(path)
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        warehouse.value(SCAN)
        taken.append(time.perf_counter() - start)
    warehouse.close()
    return Reference("a scan of the captures", min(taken))


def build(folder: Path) -> tuple[Path, Path]:
    """The demo's warehouse, and the same multiplied to LARGE knee captures."""
    small, large = folder / "demo.duckdb", folder / "large.duckdb"
    load([EXPORTS], small)
    load([EXPORTS], large)
    with open_loading(large) as warehouse:
        copies = LARGE // warehouse.value("SELECT count(*) FROM core.knee_captures") + 1
        for table in catalogue().values():
            if table.name != "fitters":
                multiply(warehouse, table, copies)
        mart.build(warehouse)
    return small, large


def main() -> None:
    """Tells one line a question and size."""
    with TemporaryDirectory() as folder:
        small, large = build(Path(folder))
        seconds(small, "effects")  # imports and compiled queries, which a served dashboard has behind it
        for size, path in ((DEMO, small), (MILLION, large)):
            scan = scan_of(path)
            for question in QUESTIONS:
                tell(f"{question}, nothing remembered", size, [seconds(path, question)], scan)


if __name__ == "__main__":
    main()
