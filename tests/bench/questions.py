"""Times every question at the demo's size and at a million knee captures, beside a bare scan of the captures in the same run.

The large warehouse is the demo's, copied under new ids. `make bench` runs it; effects at a million captures take most of it.
"""

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from dashboard.questions.door.asking import QUESTIONS, Asker
from dashboard.questions.selection.selection import Selection
from etl import mart
from etl.load import load
from shared.catalogue import Table, catalogue
from shared.settings import Settings
from shared.warehouse import LoadingWarehouse, open_loading, open_reading
from warehouse_demo import EXPORTS

LARGE = 1_000_000
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


def scan_seconds(path: Path) -> float:
    warehouse = open_reading(path)
    start = time.perf_counter()
    warehouse.value(SCAN)
    taken = time.perf_counter() - start
    warehouse.close()
    return taken


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
    """Prints one line a question."""
    with TemporaryDirectory() as folder:
        small, large = build(Path(folder))
        seconds(small, "effects")  # imports and compiled queries, which a served dashboard has behind it
        bare = {path: max(scan_seconds(path), 1e-4) for path in (small, large)}
        sys.stdout.write("question      demo      beside a scan   million captures   beside a scan\n")
        for question in QUESTIONS:
            took = {path: seconds(path, question) for path in (small, large)}
            sys.stdout.write(
                f"{question:<10}{took[small]:8.3f} s {took[small] / bare[small]:12.0f} x"
                f"{took[large]:16.3f} s {took[large] / bare[large]:12.0f} x\n"
            )


if __name__ == "__main__":
    main()
