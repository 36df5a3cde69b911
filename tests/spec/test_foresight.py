"""What is foreseen from what: the captures before the first change, the riders held out, the tables that are given."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.foresight.answers_foresight import ForesightRow
from dashboard.questions.foresight.by_type import ByType, by_type
from dashboard.questions.foresight.calibrated import ALL, calibrated, foreseen, held_out
from dashboard.questions.foresight.foreseen_fits import AT_ONCE, BEYOND, told
from dashboard.questions.foresight.foreseer import foreseer_of
from dashboard.questions.foresight.foresight import _headline
from dashboard.questions.foresight.record import record_of
from dashboard.questions.foresight.targets import targets_of
from dashboard.questions.models.captures import Captures, captures_of_rows
from dashboard.questions.models.frames import SUPPORTS, frame_of
from shared.errors import TooFewError
from shared.settings import Settings
from tests.recovery.scenarios import Scenario, simulated


def visit(side: str, setups: list[tuple[str, int]], tilts: list[float]) -> list[dict[str, Any]]:
    """One knee in one visit: insole and shims of each capture, and what was measured."""
    knee = {"left": 0, "right": 1}[side]
    return [
        {"rider": 0, "knee": knee, "visit": 0, "session_knee": knee, "side": side, "capture_order": order,
         "insole_level": insole,
         "total_shims": shims, "stance_mm": 0.0, "tilt": tilt, "arch_height": "low", "arch_collapse": "none",
         "heel_posture": "neutral", "squat_knee_path": "straight", "visit_kind": "first", "forefoot_angle_deg": 3.0,
         "foot_type": "low arch, mild_varus", "arrival_direction": "inward"}
        for order, ((insole, shims), tilt) in enumerate(zip(setups, tilts, strict=True))
    ]  # fmt: skip


def captures_of(rows: list[dict[str, Any]]) -> Captures:
    columns = {name: [row[name] for row in rows] for name in rows[0]}
    text = {
        "side",
        "insole_level",
        "arch_height",
        "arch_collapse",
        "heel_posture",
        "squat_knee_path",
        "visit_kind",
        "foot_type",
        "arrival_direction",
    }
    return captures_of_rows(
        {name: np.array(column, dtype=object if name in text else None) for name, column in columns.items()}
    )


LEFT = visit("left", [("none", 0), ("none", 0), ("low", 0), ("low", 1)], [-3.0, -2.0, -1.0, 0.0])
RIGHT = visit("right", [("none", 0), ("none", 0), ("none", 0), ("none", 1)], [-1.0, -2.0, 1.0, 2.0])


def test_a_capture_is_foreseen_from_those_before_the_first_change_of_both_knees() -> None:
    targets = targets_of(captures_of(LEFT + RIGHT))
    assert targets.row.tolist() == [1, 2, 3, 5, 6, 7]
    # Left: its first two; right: its first three.
    assert (targets.until - targets.first).tolist() == [1, 2, 2, 1, 2, 3]
    # Of the other knee the captures of the same moments, as long as nothing was changed there either.
    assert (targets.until_other - targets.first_other).tolist() == [1, 2, 2, 1, 2, 2]
    assert targets.change[:, SUPPORTS.index("insole_low")].tolist() == [0, 1, 1, 0, 0, 0]
    assert targets.change[:, SUPPORTS.index("shim")].tolist() == [0, 0, 1, 0, 0, 1]
    seen = targets.before(np.array([-3.0, -2.0, -1.0, 0.0, -1.0, -2.0, 1.0, 2.0]))
    assert seen.above_own.tolist() == [-3.0, -2.5, -2.5, -1.0, -1.5, -2 / 3]
    assert seen.above_other.tolist() == [-1.0, -1.5, -1.5, -3.0, -2.5, -2.5]


def test_what_was_not_measured_is_not_counted_and_one_knee_alone_has_no_other() -> None:
    targets = targets_of(captures_of(LEFT))
    seen = targets.before(np.array([-3.0, np.nan, np.nan, 0.0]))
    assert seen.n_own.tolist() == [1, 1, 1] and seen.above_own.tolist() == [-3.0, -3.0, -3.0]
    assert seen.n_other.tolist() == [0, 0, 0]


@pytest.fixture(scope="module")
def frame() -> Any:
    scenario = Scenario("measured", by_measured=1.0, noise_deg=1.0, riders=120)
    rows = dict(simulated(scenario, np.random.default_rng(5)))
    rows["foot_type"] = np.where(rows["arch_height"] == "high", "one", "another").astype(object)
    return frame_of(captures_of_rows(rows), "tilt")


def test_a_far_arrival_is_foreseen_nearer_to_the_middle_with_nothing_changed(frame: Any) -> None:
    """The noise of the very capture is expected to be gone in the next one: regression to the mean."""
    foreseer = foreseer_of(frame, Settings())
    found = foreseen(frame.captures, foreseer)
    same = (found.targets.change == 0).all(axis=1) & (found.targets.until - found.targets.first == 1)
    far = same & (found.arrival < -2.5)
    assert far.sum() > 20
    assert found.expected.mean[far].mean() > found.arrival[far].mean() + 0.2
    assert found.expected.mean[far].mean() == pytest.approx(found.measured[far].mean(), abs=0.35)


@pytest.fixture(scope="module")
def feet_that_differ() -> Any:
    """High arches answer twice as much as the truth says, all others half as much."""
    blend = Scenario("blend", by_exam=0.4, by_measured=0.3, by_true=0.3, riders=250)
    factors = tuple((2.0 if foot >= 8 else 0.5,) * 6 for foot in range(12))
    rows = dict(simulated(replace(blend, factors=factors), np.random.default_rng(11)))
    rows["foot_type"] = np.where(rows["arch_height"] == "high", "high", "others").astype(object)
    return frame_of(captures_of_rows(rows), "tilt")


def test_a_support_goes_further_on_feet_that_answer_more(feet_that_differ: Any) -> None:
    """A shim does 1.0 degree on a high arch and 0.25 on others; the overall one lies between."""
    foreseer = foreseer_of(feet_that_differ, Settings())
    types = foreseer.by_type
    shim = SUPPORTS.index("shim")
    high, others, unknown = (row.tolist() for row in types.further[types.rows_of(np.array(["high", "others", "never seen"]))])
    assert high[shim] - others[shim] == pytest.approx(0.75, abs=0.2)
    assert high[shim] > 0.2 > 0 > others[shim]
    assert unknown == [0] * 6


def test_of_a_type_never_seen_all_that_lies_between_types_is_unsure() -> None:
    foreseer = replace(
        foreseer_of(feet_alike(), Settings()),
        effect=np.zeros(6),
        error=np.full(6, 0.1),
        by_type=ByType({"one": 0}, np.zeros((2, 6)), np.array([[0.03] * 6, [0.24] * 6])),
    )
    two_shims = np.array([[0, 0, 0, 0, 2.0, 0]] * 3)
    unsure = foreseer.unsure_of(two_shims, np.array(["one", "never seen", ALL], dtype=object))
    assert unsure.tolist() == pytest.approx([4 * 0.04, 4 * 0.25, 4 * 0.25])


def feet_alike() -> Any:
    rows = dict(simulated(Scenario("measured", by_measured=1.0, riders=60), np.random.default_rng(3)))
    rows["foot_type"] = np.full(len(rows["tilt"]), "one", dtype=object)
    return frame_of(captures_of_rows(rows), "tilt")


def test_where_one_type_alone_can_be_told_it_is_all_feet() -> None:
    found = by_type(feet_alike(), Settings(), {"rider": 1.0, "knee": 1.0, "visit": 0.3})
    assert not found.further.any() and not found.variance.any()


def test_what_is_foreseen_of_feet_that_differ_is_nearer_to_what_they_measured(feet_that_differ: Any) -> None:
    """One effect for all feet foresees too much of those that answer little, and too little of the others."""
    foreseer = foreseer_of(feet_that_differ, Settings())
    alike = replace(foreseer, by_type=ByType({}, np.zeros((1, 6)), np.zeros((1, 6))))
    off = [foreseen(feet_that_differ.captures, one) for one in (foreseer, alike)]
    own, one_for_all = (float(np.sqrt(np.mean((each.measured - each.expected.mean) ** 2))) for each in off)
    assert own < 0.97 * one_for_all


def test_riders_are_held_out_whole_and_bands_hold_their_level(frame: Any) -> None:
    held = held_out(frame, Settings())
    assert len(np.unique(held.rider)) == 120
    bands = calibrated(held, 0.8, held.visit)
    assert 0.7 < bands.reach[ALL] < 0.9
    assert set(bands.reach) == {ALL, "one", "another"} and bands.n_riders[ALL] == 120
    asked = bands.of(np.array(["one", "never seen", ALL], dtype=object), is_distance=False)
    assert asked.tolist() == [bands.reach["one"], bands.reach[ALL], bands.reach[ALL]]


def test_a_foot_type_with_few_riders_has_the_band_of_all(frame: Any) -> None:
    held = held_out(frame, Settings())
    few = held.rider < 30
    held.foot_type[:] = np.where(few, "few", "many")
    assert set(calibrated(held, 0.8, held.visit).reach) == {ALL, "many"}


def test_too_few_riders_are_a_sentence(frame: Any) -> None:
    with pytest.raises(TooFewError, match=r"Not enough yet: 10 riders; a band needs 16 to be checked on\."):
        held_out(frame.chosen(frame.captures.rider < 10), Settings())


def test_more_of_a_support_than_was_ever_seen_is_beyond_the_data(frame: Any) -> None:
    foreseer = foreseer_of(frame, Settings())
    more = captures_of(visit("left", [("none", 0), ("none", 9), ("low", 0)], [-1.0, 0.0, 0.0]))
    assert foreseer.is_beyond(more, targets_of(more)).tolist() == [True, False]


def test_the_words_name_figure_band_and_like_knees() -> None:
    assert told("tilt", -1.24, -2.31, -0.16, 31) == (
        "Tilt expected at −1.2°; of ten such captures about eight lie between −2.3 and −0.2°. 31 like knees seen here."
    )


def _csv(rows: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


SESSION = {
    "session_id": "X1",
    "rider_id": "X",
    "fitter_id": "F",
    "studio_id": "s",
    "session_date": "2026-05-04",
    "visit_kind": "first",
}
TABLES: dict[str, list[dict[str, Any]]] = {
    "riders": [{"rider_id": "X"}],
    "fitters": [{"fitter_id": "F", "fitter_name": "F"}],
    "fit_sessions": [SESSION],
    "foot_exams": [
        {"session_id": "X1", "side": side, "arch_height": "medium", "forefoot_angle_deg": 4} for side in ("left", "right")
    ],
    "foot_setups": [
        {"session_id": "X1", "capture_no": no, "side": side, "insole_level": "none" if no == 1 else "medium",
         "shims_added": 6 if no == 3 else 0, "stance_mm": 0}
        for no in (1, 2, 3)
        for side in ("left", "right")
    ],
    "knee_captures": [
        {"session_id": "X1", "capture_no": 1, "side": side, "knee_tilt_deg": -4, "knee_sway_mm": 16}
        for side in ("left", "right")
    ],
}  # fmt: skip


def write(tables: dict[str, list[dict[str, Any]]], folder: Path) -> None:
    for name, rows in tables.items():
        (folder / f"{name}.csv").write_text(_csv(rows), encoding="utf-8")


def fits_of(warehouse: Path, tables: dict[str, list[dict[str, Any]]], folder: Path) -> Any:
    write(tables, folder)
    result = CliRunner().invoke(app, ["next", "--fits", str(folder), "--warehouse", str(warehouse), "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def asked(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("given")
    before = demo_warehouse.read_bytes()
    told = fits_of(demo_warehouse, TABLES, folder)
    assert demo_warehouse.read_bytes() == before, "nothing given is stored"
    return told


def test_given_fits_are_foreseen_capture_by_capture_without_being_stored(asked: Any) -> None:
    keys = [(row["session_id"], row["side"], row["capture_no"], row["outcome"]) for row in asked["foreseen"]]
    assert keys == [
        ("X1", side, no, outcome) for side in ("left", "right") for no in (2, 3) for outcome in ("tilt", "sway", "off_neutral")
    ]


def test_a_medium_insole_is_foreseen_to_raise_an_inward_knee(asked: Any) -> None:
    """The demo's medium insole raises the tilt by 0.8 degrees; the rest is the return of an extreme arrival."""
    tilt = next(row for row in asked["foreseen"] if row["capture_no"] == 2 and row["outcome"] == "tilt")
    assert -3.6 < tilt["expected"] < -2.4
    assert tilt["low"] < tilt["expected"] < tilt["high"] and tilt["level"] == 0.8 and not tilt["beyond_data"]
    assert 1.5 < tilt["high"] - tilt["low"] < 3.0 and tilt["n_alike"] > 20
    distance = next(row for row in asked["foreseen"] if row["capture_no"] == 2 and row["outcome"] == "off_neutral")
    assert distance["expected"] == pytest.approx(-tilt["expected"], abs=0.05)


def test_what_lies_beyond_the_data_has_words_and_no_number(asked: Any) -> None:
    beyond = [row for row in asked["foreseen"] if row["capture_no"] == 3]
    assert len(beyond) == 6
    for row in beyond:
        assert (row["expected"], row["low"], row["high"], row["beyond_data"], row["words"]) == (None, None, None, True, BEYOND)
    assert asked["headline"] == (
        "12 figures foreseen of captures after the first. 6 figures lie beyond our data and have no number."
    )


def test_more_than_one_support_at_once_is_told(demo_warehouse: Path, tmp_path: Path) -> None:
    """A medium insole alone, then a shim beside it: the second is told as a sum."""
    tables = dict(TABLES)
    tables["foot_setups"] = [{**row, "shims_added": row["capture_no"] // 3} for row in TABLES["foot_setups"]]
    told = [row for row in fits_of(demo_warehouse, tables, tmp_path)["foreseen"] if row["outcome"] == "tilt"]
    assert [(row["capture_no"], row["words"].endswith(AT_ONCE)) for row in told] == [(2, False), (3, True)] * 2


@pytest.mark.parametrize(
    ("without", "headline", "n_rows"),
    [
        ("foot_exams", "12 figures foreseen of captures after the first.", 12),
        ("foot_setups", "No capture after the first has a recorded setup: nothing is foreseen.", 0),
        ("knee_captures", "12 figures foreseen of captures after the first.", 12),
    ],
)
def test_a_table_that_is_not_there_is_not_known(
    demo_warehouse: Path, tmp_path: Path, without: str, headline: str, n_rows: int
) -> None:
    tables = {name: rows for name, rows in TABLES.items() if name != without}
    if "foot_setups" in tables:
        tables["foot_setups"] = [{**row, "shims_added": 0} for row in TABLES["foot_setups"]]
    told = fits_of(demo_warehouse, tables, tmp_path)
    assert told["headline"] == headline and len(told["foreseen"]) == n_rows
    assert all(row["expected"] is not None and np.isfinite(row["high"] - row["low"]) for row in told["foreseen"])


def test_missing_columns_values_and_a_single_side_are_not_known(demo_warehouse: Path, tmp_path: Path) -> None:
    """No sway, an exam of the arch alone, an empty tilt on one side, and a right knee without a setup of its own."""
    tables = dict(TABLES)
    tables["foot_exams"] = [{"session_id": "X1", "side": "left", "arch_height": "medium"}]
    tables["foot_setups"] = [
        {"session_id": "X1", "capture_no": no, "side": "left", "insole_level": "none" if no == 1 else "low",
         "shims_added": 0, "stance_mm": 0}
        for no in (1, 2)
    ]  # fmt: skip
    tables["knee_captures"] = [{"session_id": "X1", "capture_no": 1, "side": side, "knee_tilt_deg": tilt}
                               for side, tilt in (("left", ""), ("right", -3))]  # fmt: skip
    told = fits_of(demo_warehouse, tables, tmp_path)["foreseen"]
    assert [(row["side"], row["capture_no"], row["outcome"]) for row in told] == [
        ("left", 2, outcome) for outcome in ("tilt", "sway", "off_neutral")
    ]
    assert all(row["low"] < row["expected"] < row["high"] for row in told) and {row["n_alike"] for row in told} == {0}


def test_a_table_that_is_refused_is_told(demo_warehouse: Path, tmp_path: Path) -> None:
    tables = {**TABLES, "foot_setups": [{"session_id": "X1", "capture_no": 1, "side": "left", "insole_level": "none"}]}
    write(tables, tmp_path)
    result = CliRunner().invoke(app, ["next", "--fits", str(tmp_path), "--warehouse", str(demo_warehouse), "--json"])
    assert result.exit_code == 0 and json.loads(result.stdout)["foreseen"] == []
    assert "foot_setups.csv: the required columns shims_added, stance_mm of table foot_setups are missing" in result.stderr


def test_csv_and_json_hold_the_same_rows_under_the_same_names(demo_warehouse: Path, asked: Any, tmp_path: Path) -> None:
    write(TABLES, tmp_path)
    result = CliRunner().invoke(app, ["next", "--fits", str(tmp_path), "--warehouse", str(demo_warehouse), "--csv"])
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    assert list(rows[0]) == [
        "session_id", "side", "capture_no", "outcome", "expected", "low", "high", "level", "n_alike", "beyond_data", "words",
    ] == list(asked["foreseen"][0])  # fmt: skip
    assert [(row["session_id"], row["side"], row["capture_no"], row["outcome"]) for row in rows] == [
        (row["session_id"], row["side"], str(row["capture_no"]), row["outcome"]) for row in asked["foreseen"]
    ]
    for one, other in zip(rows, asked["foreseen"], strict=True):
        assert (one["expected"] == "") is (other["expected"] is None)
        assert one["expected"] == "" or float(one["expected"]) == pytest.approx(other["expected"])


def days_of(frame: Any) -> Any:
    """Each cell's fit in one of three quarters, by its rider, a rider a day."""
    quarter, place = np.divmod(frame.captures.rider, 40)
    return np.datetime64("2025-01") + 3 * quarter.astype("timedelta64[M]") + (10 + place).astype("timedelta64[D]")


def test_the_record_knows_of_each_capture_what_earlier_quarters_knew(frame: Any) -> None:
    day = days_of(frame)
    record = record_of(frame, day, Settings(), 0.8)
    # The first quarter has nothing before it; a band needs 40 riders who were foreseen, which those of the second are.
    assert np.unique(record.rider // 40).tolist() == [2]
    cut = frame.captures.rider < 100
    earlier = record_of(frame.chosen(cut), day[cut], Settings(), 0.8)
    same = record.kept(record.rider < 100)
    assert earlier.expected == pytest.approx(same.expected) and earlier.high == pytest.approx(same.high)
    assert np.all(np.diff(day[record.cell].astype(int)) >= 0)
    assert 0.7 < record.inside.mean() < 0.9
    assert np.abs(record.measured - record.expected).mean() < np.abs(record.measured - record.arrival).mean()


def test_a_record_without_enough_riders_is_empty(frame: Any) -> None:
    few = frame.chosen(frame.captures.rider < 80)
    assert len(record_of(few, days_of(few), Settings(), 0.8).cell) == 0


@pytest.mark.parametrize(
    ("inside", "is_kept", "words"),
    [
        ((0.80, 0.74, 0.85), True, "What is foreseen has held so far: of the last 200 changes, 80\xa0% fell inside a"),
        ((0.75, 0.69, 0.81), False, "Watch what is foreseen: "),
        ((0.69, 0.61, 0.76), False, "Do not lean on what is foreseen today: "),
        ((0.95, 0.91, 0.98), False, "Do not lean on what is foreseen today: "),
    ],
)  # fmt: skip
def test_the_headline_says_whether_to_lean_on_it(inside: tuple[float, float, float], is_kept: bool, words: str) -> None:
    row = ForesightRow("tilt", "deg", "last", "", 200, 26, *inside, 2.0, 0.6, 0.9, 1.5, "")
    told = _headline(row, is_kept)
    assert told.startswith(words)
    assert ("chance alone could bring that" in told) == words.startswith("Watch")
    assert ("too narrow" in told, "too wide" in told) == (inside[2] < 0.8, inside[1] > 0.8)


def test_without_a_record_nothing_is_promised() -> None:
    assert _headline(None, None).startswith("Not enough yet: ")


def test_the_demo_is_foreseen_and_the_shares_are_those_of_the_record(demo_warehouse: Path) -> None:
    result = CliRunner().invoke(app, ["show", "foresight", "--warehouse", str(demo_warehouse), "--json"])
    told = json.loads(result.stdout)
    rows = {(row["outcome"], row["group"], row["level"]): row for row in told["foresight"]}
    whole, months = (
        rows["tilt", "all", ""],
        [row for row in told["foresight"] if (row["outcome"], row["group"]) == ("tilt", "month")],
    )
    assert whole["n_captures"] == sum(row["n_captures"] for row in months) > 5000
    assert whole["inside"] * whole["n_captures"] == pytest.approx(sum(row["inside"] * row["n_captures"] for row in months))
    assert 0.78 < whole["inside"] < 0.82 and whole["off"] < 0.8 * whole["off_arrival"]
    assert rows["tilt", "last", ""]["n_captures"] == 200
    assert sum(row["n_captures"] for row in told["reliability"] if row["outcome"] == "tilt") == whole["n_captures"]
    for row in told["reliability"]:
        assert row["measured"] == pytest.approx(row["expected"], abs=0.35 if row["unit"] == "deg" else 0.8)
