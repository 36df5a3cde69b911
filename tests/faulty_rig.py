"""The demo's exports as a faulty rig would have written them, for tests that go from files to sentences."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from etl.load import load
from etl.report import LoadReport
from shared.warehouse import open_reading
from warehouse_demo import EXPORTS

STEPPED_FROM = pd.Timestamp("2025-12-01")
_CAPTURES = """
SELECT captures.*, sessions.studio_id, sessions.session_date
FROM core.knee_captures AS captures
INNER JOIN core.fit_sessions AS sessions ON sessions.session_id = captures.session_id
"""


def load_faulty(demo: Path, folder: Path, fault: Callable[[pd.DataFrame], None]) -> tuple[Path, LoadReport]:
    """Loads the demo with its captures changed by `fault`, which finds studio and day beside them; and what was told."""
    warehouse = open_reading(demo)
    captures = warehouse.frame(_CAPTURES)
    warehouse.close()
    fault(captures)
    exports = folder / "exports"
    exports.mkdir(parents=True)
    for path in EXPORTS.iterdir():
        if path.is_file() and not path.name.startswith("knee_captures"):
            shutil.copy(path, exports)
    captures.drop(columns=["studio_id", "session_date"]).to_csv(exports / "knee_captures.csv", index=False)
    return folder / "faulty.duckdb", load([exports], folder / "faulty.duckdb")


def zero_moves(captures: pd.DataFrame) -> None:
    """At quayside, every tilt stands 1.5 degrees further out from a day on."""
    hit = (captures["studio_id"] == "quayside") & (captures["session_date"] >= STEPPED_FROM)
    captures.loc[hit, "knee_tilt_deg"] = (captures.loc[hit, "knee_tilt_deg"] + 1.5).clip(-30, 30).round(2)


def sides_exchanged(captures: pd.DataFrame) -> None:
    """At quayside, left is written right and right left, always."""
    hit = captures["studio_id"] == "quayside"
    captures.loc[hit, "side"] = captures.loc[hit, "side"].map({"left": "right", "right": "left"})
