"""What a load makes anew of core and of the marts is what making everything anew would have made: row for row, after any loads,
corrections, rows that come late, undone loads and forgotten riders."""

import os
import random
import shutil
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from etl import core
from etl.history import undo
from etl.keeping.forget import forget
from etl.keeping.rebuild import rebuild
from etl.load import load
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import Warehouse, open_loading, open_reading

TODAY = date(2026, 11, 25)
MARTS = ("fit_numbers", "capture_facts", "feet", "fits", "captures", "knees", "ratings")
HEADERS = {
    "riders": "rider_id,birth_year",
    "fitters": "fitter_id,fitter_name",
    "fit_sessions": "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind",
    "foot_exams": "session_id,side,arch_height,forefoot_angle_deg",
    "knee_captures": "session_id,capture_no,side,knee_tilt_deg",
    "foot_setups": "session_id,capture_no,side,insole_level,shims_added,stance_mm",
    "bike_measures": "session_id,moment,measure,value_mm",
    "rider_ratings": "session_id,capture_no,topic,body_part,score",
    "follow_ups": "follow_up_id,session_id,booked_on,due_on,state,attended_on,returned_session_id",
}
STEPS = int(os.environ.get("FITLEDGER_PARTS", "3"))
SEARCH = settings(max_examples=STEPS, deadline=None, derandomize=True, database=None, phases=[Phase.generate])


def rows_of(chance: random.Random) -> dict[str, list[str]]:
    """Some rows of every table, over few ids, so that they meet: corrections, other riders, gaps, children before parents."""

    def session() -> str:
        return f"S{chance.randrange(9)}"

    def some(n: int) -> range:
        return range(chance.randrange(n))

    found = {
        "riders": [f"R{chance.randrange(5)},{chance.randrange(1960, 1965)}" for _ in some(3)],
        "fitters": [f"F{chance.randrange(3)},Alder" for _ in some(2)],
        "fit_sessions": [
            f"{session()},R{chance.randrange(5)},F{chance.randrange(3)},{chance.choice(('quay', 'quay', 'mill'))},"
            f"2026-03-0{chance.randrange(1, 5)},first"
            for _ in some(4)
        ],
        "foot_exams": [f"{session()},{chance.choice(('left', 'right'))},low,{chance.randrange(5)}" for _ in some(3)],
        "knee_captures": [
            f"{session()},{chance.randrange(1, 4)},{chance.choice(('left', 'right'))},{chance.randrange(9)}" for _ in some(9)
        ],
        "foot_setups": [
            f"{session()},{chance.randrange(1, 4)},{chance.choice(('left', 'right'))},low,{chance.randrange(2)},0"
            for _ in some(9)
        ],
        "bike_measures": [f"{session()},departure,saddle_height,{chance.randrange(600, 700)}" for _ in some(2)],
        "rider_ratings": [f"{session()},{chance.randrange(1, 4)},comfort,whole,{chance.randrange(1, 10)}" for _ in some(4)],
        "follow_ups": [
            f"B{chance.randrange(4)},{session()},2026-03-01,2026-03-15,attended,2026-03-1{chance.randrange(5, 9)},"
            f"{chance.choice((session(), ''))}"
            for _ in some(3)
        ],
    }
    # One row a key: two in one load would be rejected as duplicates.
    n_keys = {name: len(catalogue()[name].key) for name in found}
    return {
        name: list({tuple(row.split(",")[: n_keys[name]]): row for row in rows}.values())
        for name, rows in found.items()
        if rows
    }


def write(folder: Path, tables: dict[str, list[str]]) -> Path:
    folder.mkdir()
    for name, rows in tables.items():
        (folder / f"{name}.csv").write_text("\n".join([HEADERS[name], *rows]) + "\n", encoding="utf-8")
    return folder


def held(warehouse: Warehouse) -> dict[str, list[dict[str, Any]]]:
    """Every row of core and of the marts, those of a table in one order."""
    names = [f'core."{name}"' for name in catalogue()] + [f"mart.{name}" for name in MARTS]
    return {name: warehouse.rows(f"SELECT * FROM {name} ORDER BY ALL") for name in (*names, "raw.warnings", "raw.unresolved")}


def require_as_made_anew(path: Path) -> None:
    warehouse = open_reading(path)
    found = held(warehouse)
    warehouse.close()
    copy = path.with_name("anew.duckdb")
    shutil.copyfile(path, copy)
    with open_loading(copy) as anew:
        rebuild(anew, Settings())
        expected = held(anew)
    for name, rows in expected.items():
        assert found[name] == rows, name


@SEARCH
@given(st.randoms(use_true_random=False))
def test_a_part_is_what_the_whole_would_be(chance: random.Random) -> None:
    with TemporaryDirectory() as place, pytest.MonkeyPatch.context() as patch:
        folder, path = Path(place), Path(place) / "w.duckdb"
        patch.setattr(core, "LEAST_FITS", 1)
        patch.setattr(core, "MOST_TOUCHED", chance.choice((0.5, 100.0)))
        first = {"riders": ["R0,1960", "R2,1961"], "fitters": ["F1,Elm"], "fit_sessions": ["S4,R2,F1,quay,2026-03-02,first"]}
        standing = [load([write(folder / "first", first)], path, today=TODAY).load_id]
        for n in range(5):
            step = chance.random()
            if step < 0.12 and len(standing) > 1:
                undo(path, standing.pop(chance.randrange(1, len(standing))) or 0)
            elif step < 0.2:
                warehouse = open_reading(path)
                riders = [row["rider_id"] for row in warehouse.rows("SELECT rider_id FROM core.riders ORDER BY 1")]
                warehouse.close()
                if riders:
                    forget(path, chance.choice(riders), today=TODAY)
            elif rows := rows_of(chance):
                load_id = load([write(folder / f"load{n}", rows)], path, today=TODAY).load_id
                standing += [load_id] if load_id else []
            require_as_made_anew(path)
