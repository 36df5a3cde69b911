"""Small studios that leave something unrecorded: the tables of one simulated studio, less what each does not keep."""

from pathlib import Path
from typing import Final

import pandas as pd

from etl.load import load
from warehouse_demo.simulate import simulate
from warehouse_demo.truth import load_truth

Tables = dict[str, pd.DataFrame]
_RIDERS: Final = 60
_OF_VISITS: Final = ("riders", "fitters", "fit_sessions", "knee_captures")
_NOT_MEASURED: Final = ("knee_sway_mm", "knee_offset_mm")


def whole() -> Tables:
    """Everything recorded: what the others are made of."""
    return simulate(load_truth(), seed=7, riders=_RIDERS)


def sparse() -> dict[str, Tables]:
    """Each studio by its name: without follow-ups, setups or exams; with arrival and departure alone, and
    of them the tilt."""
    tables = whole()
    ends = {name: tables[name] for name in _OF_VISITS} | {"knee_captures": _ends(tables["knee_captures"])}
    tilt = ends["knee_captures"].drop(columns=[*_NOT_MEASURED])
    return {
        "no_follow_ups": _without(tables, "follow_ups"),
        "no_setups": _without(tables, "foot_setups"),
        "no_exams": _without(tables, "foot_exams"),
        "two_captures": ends,
        "tilt_only": ends | {"knee_captures": tilt[tilt["knee_tilt_deg"].astype(str).str.len() > 0]},
    }


def loaded(tables: Tables, folder: Path) -> Path:
    """A warehouse of these tables."""
    exports = folder / "exports"
    exports.mkdir(parents=True)
    for name, frame in tables.items():
        frame.to_csv(exports / f"{name}.csv", index=False)
    load([exports], folder / "studio.duckdb")
    return folder / "studio.duckdb"


def _without(tables: Tables, absent: str) -> Tables:
    return {name: frame for name, frame in tables.items() if name != absent}


def _ends(captures: pd.DataFrame) -> pd.DataFrame:
    """The first and the last capture of each visit, as 1 and 2."""
    number = captures["capture_no"].astype(int)
    by_visit = number.groupby(captures["session_id"])
    first, last = by_visit.transform("min"), by_visit.transform("max")
    kept = captures[(number == first) | (number == last)].copy()
    kept["capture_no"] = [
        "1" if one == start else "2" for one, start in zip(number[kept.index], first[kept.index], strict=True)
    ]
    return kept
