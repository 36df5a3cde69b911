"""The demo's simulator and its committed exports."""

import shutil
from datetime import date
from pathlib import Path

import pytest
from statsmodels.stats.proportion import proportion_confint
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asking import Asker
from etl.load import load
from shared import clock
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import open_reading
from warehouse_demo import EXPORTS, build
from warehouse_demo.simulate import FITTERS, simulate, write_exports
from warehouse_demo.soil import soil
from warehouse_demo.truth import load_truth

TRUTH = load_truth()
TABLES = simulate(TRUTH, TRUTH.scale.seed)


def test_the_committed_exports_are_what_the_simulator_writes(tmp_path: Path) -> None:
    write_exports(soil(TABLES)[0], tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in EXPORTS.iterdir())
    for path in tmp_path.glob("*.csv"):
        assert path.read_bytes() == (EXPORTS / path.name).read_bytes(), path.name
    assert sum(path.stat().st_size for path in EXPORTS.iterdir()) < 5_000_000


def test_the_studios_have_the_size_of_the_story() -> None:
    assert len(TABLES["riders"]) == 900
    assert 1300 <= len(TABLES["fit_sessions"]) <= 1500
    assert len(TABLES["fitters"]) == len(FITTERS) == 7
    per_fitter = TABLES["fit_sessions"]["fitter_id"].value_counts()
    assert per_fitter["F6"] < 15
    assert all(len(TABLES[name]) > 0 for name in catalogue())


def test_forefoot_classes_are_near_the_published_shares() -> None:
    """Source: Garbalosa et al. 1994, J Orthop Sports Phys Ther 20:200: varus 86.67 %. Feet come in pairs, so the interval is
    widened by the design effect 2 of two equal feet."""
    feet = (
        TABLES["foot_exams"].drop_duplicates(["session_id", "side"]).merge(TABLES["fit_sessions"][["session_id", "rider_id"]])
    )
    feet = feet.drop_duplicates(["rider_id", "side"])["forefoot_angle_deg"].astype(float)
    low, high = proportion_confint((feet > 2).sum() / 2, len(feet) / 2, alpha=0.01, method="wilson")
    assert low < 0.8667 < high


def test_keys_are_unique_and_every_fit_has_two_ends() -> None:
    for name, table in catalogue().items():
        assert not TABLES[name].duplicated(list(table.key)).any(), name
    captures = TABLES["knee_captures"].groupby("session_id")["capture_no"].agg(["min", "max"])
    assert set(captures.index) == set(TABLES["fit_sessions"]["session_id"])
    assert (captures["max"].astype(int) >= 2).all()


def test_another_seed_gives_other_studios() -> None:
    other = simulate(TRUTH, 7, riders=20)
    assert not other["knee_captures"].equals(simulate(TRUTH, 8, riders=20)["knee_captures"])
    assert other["knee_captures"].equals(simulate(TRUTH, 7, riders=20)["knee_captures"])


def test_every_dirty_row_is_caught_by_its_rule_and_nothing_else_is(tmp_path: Path) -> None:
    dirty, spots = soil(TABLES)
    write_exports(dirty, tmp_path / "x")
    report = load([tmp_path / "x"], tmp_path / "w.duckdb")
    expected = sorted((spot.table, spot.rule) for spot in spots if spot.rule != "waiting")
    table_of = {file.file: file.table for file in report.files}
    assert sorted((str(table_of[finding.file]), finding.rule) for finding in report.findings) == expected
    assert sum(file.waiting for file in report.files) == sum(spot.rule == "waiting" for spot in spots)
    n_stored = sum(spot.is_stored for spot in spots)
    assert sum(file.cells for file in report.files) == n_stored
    assert sum(file.rejected for file in report.files) == len(expected) - n_stored
    assert all(
        file.read == file.stored + file.replaced + file.unchanged + file.rejected + file.waiting for file in report.files
    )


@pytest.mark.parametrize(
    "rule",
    [
        "range",
        "whole_number",
        "number",
        "code",
        "required",
        "date",
        "orphan",
        "duplicate_key",
        "attended_date",
        "booked_order",
        "no_outcome",
    ],
)
def test_the_demo_shows_every_rule(rule: str) -> None:
    assert rule in {spot.rule for spot in soil(TABLES)[1]}


def test_the_demo_lives_by_a_clock_of_its_own_that_goes_with_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine says another day; the file and a copy of it say the demo's, to whoever asks."""
    monkeypatch.setattr(clock, "today", lambda: date(2031, 1, 15))
    build(path=tmp_path / "demo.duckdb")
    shutil.copyfile(tmp_path / "demo.duckdb", tmp_path / "copy.duckdb")
    age = Asker(tmp_path / "copy.duckdb", Settings()).freshness()
    assert (age.today, age.age_days, age.told) == (date(2026, 8, 31), 3, "The demo's today is 31 Aug 2026.")
    printed = CliRunner().invoke(app, ["show", "data", "--warehouse", str(tmp_path / "copy.duckdb")]).stdout
    assert printed.startswith("The demo's today is 31 Aug 2026.\n\n")
    # A day that a test or a picture hands over holds for both.
    assert Asker(tmp_path / "copy.duckdb", Settings(), lambda: date(2026, 9, 30)).freshness().told == (
        "The newest row is of 28 Aug 2026, 33 days ago. Load newer exports."
    )


def test_a_studio_s_own_warehouse_follows_the_machine(demo_warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same exports, loaded as a studio loads its own."""
    monkeypatch.setattr(clock, "today", lambda: date(2026, 9, 1))
    age = Asker(demo_warehouse, Settings()).freshness()
    assert (age.today, age.told) == (date(2026, 9, 1), "")


def test_calls_are_due_by_the_demo_s_clock(demo_warehouse: Path) -> None:
    """Bookings that are open past their day on 31 August; what to do about them the Returns page tells."""
    opened = open_reading(demo_warehouse)
    due = opened.value(
        "SELECT count(*) FROM core.follow_ups WHERE state = 'open' AND due_on < $today", {"today": clock.DEMO_TODAY}
    )
    assert due > 3
