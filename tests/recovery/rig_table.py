"""Prints what is found of faulty rigs: `python -m tests.recovery.rig_table FOLDER [STUDIOS]`.

FOLDER keeps the simulated warehouses, two studios each, so that a second run need not make them again. Each faulty studio is
looked at every four weeks, and every week of the four before the first look that finds the fault: from the day on which it
begins, or from the first fit on where it holds always. A sound studio is looked at every week, as with weekly loads.
"""

import sys
import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from etl.load import load
from shared.rig.findings import RigFinding
from shared.rig.recorded import Recorded, recorded
from shared.rig.watch import findings_of
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.recovery.rig_faults import FAULTS, Fault, looks, with_fault
from warehouse_demo.simulate import simulate, write_exports
from warehouse_demo.truth import load_truth

STUDIOS = 40
BEGINS = (date(2025, 12, 1) - date(1970, 1, 1)).days
QUIET_YEARS = 2


def studios(folder: Path, n: int) -> Iterator[Recorded]:
    """The recorded rows of `n` studios of the demo's kind, each of a draw of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range((n + 1) // 2):
        path = folder / f"{seed}.duckdb"
        if not path.exists():
            with tempfile.TemporaryDirectory(dir=folder) as exports:
                write_exports(simulate(load_truth(), 7000 + seed), Path(exports))
                load([Path(exports)], path)
        warehouse = open_reading(path)
        try:
            yield from (rows for number, rows in recorded(warehouse).by_studio() if 2 * seed + number < n)
        finally:
            warehouse.close()


def days_to_find(rows: Recorded, fault: Fault, seed: int) -> tuple[int | None, bool]:
    """Days from the begin to the first look that finds anything, None where none does; and whether its kind is told at last."""
    faulty = with_fault(rows, fault, BEGINS, np.random.default_rng(seed))
    begin = BEGINS if fault.since else int(faulty.arrivals["day"].min())
    is_told = any(finding.kind == fault.kind for finding in found(faulty))
    late = _first_found(faulty, begin, 28)
    return None if late is None else (_first_found(faulty, max(begin, late - 21), 7) or late) - begin, is_told


def _first_found(rows: Recorded, first: int, every: int) -> int | None:
    """The day of the first look that finds something."""
    return next((day for day, seen in looks(rows, first, every) if found(seen)), None)


def false_alarms(rows: Recorded) -> int:
    """How often weekly looks at the last years of a sound studio find something that was not there a week before."""
    last = int(rows.arrivals["day"].max())
    alarms, before = 0, set[tuple[str, str]]()
    for _, seen in looks(rows, last - 365 * QUIET_YEARS):
        now = {(finding.kind, finding.quantity) for finding in found(seen)}
        alarms += len(now - before)
        before = now
    return alarms


def found(rows: Recorded) -> tuple[RigFinding, ...]:
    """What is found in the rows of one studio."""
    return findings_of(rows, dict.fromkeys(np.unique(rows.arrivals["studio"]).tolist(), "studio"), Settings())


def main(folder: Path, n: int, part: str = "") -> None:
    """Prints a line a fault as Markdown, then the false alarms; `part`: `faults`, one fault by its name, or `sound` alone."""
    out = sys.stdout
    if part != "sound":
        out.write(f"{n} studios a fault.\n\n")
        out.write("| fault | found | told as what it is, at last | days to find: median | longest |\n|---|---|---|---|---|\n")
        for fault in FAULTS[1:]:
            if part in ("", "faults", fault.name):
                each = [days_to_find(rows, fault, seed) for seed, rows in enumerate(studios(folder, n))]
                days = sorted(day for day, _ in each if day is not None)
                ends = f"{np.median(days):.0f} | {days[-1]}" if days else "- | -"
                out.write(f"| {fault.name} | {len(days)} of {n} | {sum(is_told for _, is_told in each)} | {ends} |\n")
                out.flush()
    if part in ("", "sound"):
        alarms, years = sum(false_alarms(rows) for rows in studios(folder, n)), QUIET_YEARS * n
        out.write(f"\nFalse alarms: {alarms} in {years} years of sound studios, {alarms / years:.3f} a year.\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else STUDIOS, *sys.argv[3:4])
