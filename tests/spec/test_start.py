"""From a studio's files to its dashboard in one step, and what would make its figures better."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.commands import serving
from etl.better import what_is_better
from shared.errors import InputUnusableError
from shared.warehouse import Warehouse
from tests.spec.tables import fill, write_csv
from tests.spec.test_load import FIRST

FITS = {
    "fitters": "fitter_id | fitter_name\nF1 | Alder",
    "riders": "rider_id\nR1\nR2",
    "fit_sessions": "session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
    "S1 | R1 | F1 | q | 2026-03-02 | first\nS2 | R2 | F1 | q | 2026-03-03 | first",
    "foot_exams": "session_id | side | arch_height\nS1 | left | low\nS2 | left | high",
    # S1 has a repeat, S2 a shim more in its second capture.
    "knee_captures": "session_id | capture_no | side | knee_tilt_deg\n"
    "S1 | 1 | left | 1.0\nS1 | 2 | left | 1.2\nS2 | 1 | left | 0.5\nS2 | 2 | left | 0.9",
    "foot_setups": "session_id | capture_no | side | insole_level | shims_added | stance_mm\n"
    "S1 | 1 | left | low | 0 | 0\nS1 | 2 | left | low | 0 | 0\nS2 | 1 | left | low | 0 | 0\nS2 | 2 | left | low | 1 | 0",
}


def test_what_is_least_recorded_comes_first(memory: Warehouse) -> None:
    assert {one.words.split(".")[0] for one in what_is_better(memory)} == {"No fit is there yet"}
    fill(memory, **FITS)
    three = what_is_better(memory)
    assert [(one.what, one.n_recorded, one.n_fits) for one in three] == [("bookings", 0, 2), ("repeats", 1, 2), ("exams", 2, 2)]
    assert three[0].words.startswith("0 of 2 fits have a booking in follow_ups. Export the calendar as follow_ups:")
    assert three[1].words.startswith("1 of 2 fits hold a repeat, two captures with nothing changed between them.")
    assert three[2].words == "All 2 fits have an exam of the feet: nothing to do."


def test_start_loads_tells_and_serves_on_these_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    served: list[Path] = []
    monkeypatch.setattr(serving, "serve_warehouse", lambda warehouse, *_, **__: served.append(warehouse))
    path = tmp_path / "w.duckdb"
    folder = write_csv(tmp_path / "x", **FITS)
    told = CliRunner().invoke(app, ["start", str(folder), "--warehouse", str(path)])
    assert told.exit_code == 0, told.output
    assert "15 rows read = 15 stored" in told.output and served == [path]
    assert "What would make the figures better:\n  1. Bookings: 0 of 2 fits have a booking" in told.output
    again = CliRunner().invoke(app, ["start", str(folder), "--warehouse", str(path), "--no-serve"])
    assert "15 unchanged" in again.output and served == [path]


def test_start_says_how_to_get_a_mapping_where_one_is_needed(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    other = write_csv(tmp_path / "x", Messungen="Sitzung | Knie\nS1 | 1")
    fault = CliRunner().invoke(app, ["start", str(other), "--warehouse", str(path)]).exception
    assert isinstance(fault, InputUnusableError)
    assert f"needs a mapping.toml, and none is in {other}: fitledger map {other} makes one" in str(fault)
    assert not path.exists()
    some = write_csv(tmp_path / "y", **FIRST, Messungen="Sitzung | Knie\nS1 | 1")
    words = ["start", str(some), "--warehouse", str(path), "--no-serve"]
    assert f"fitledger map {some} makes one" in CliRunner().invoke(app, words).output
    (some / "mapping.toml").write_text('ignore_files = "Messungen.csv"\n', encoding="utf-8")
    assert "fitledger map" not in CliRunner().invoke(app, words).output
