"""The effects question on data small enough to work out by hand."""

from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.effects import effects
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.memory.remembering import at_once
from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import captures_of_rows, read_captures
from dashboard.questions.models.frames import frame_of
from dashboard.questions.models.study import study_of
from dashboard.questions.models.supports import build_design
from dashboard.questions.selection.scope import fragments, scope_of
from dashboard.questions.selection.selection import Selection, parse_selection
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.mixed.terms import row_design
from shared.warehouse import Warehouse, open_reading
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"riders_per_effect": 2, "changes_per_type": 2}})


def studio(memory: Warehouse, riders: int, tilt_of: dict[str, float], *, together: bool = False) -> Warehouse:
    """`riders` riders, each captured without support, with one shim, then with a low insole as well (or both at once)."""
    rng = np.random.default_rng(5)
    sessions, captures, setups, people = [], [], [], []
    for number in range(riders):
        people.append(f"R{number} | road")
        sessions.append(f"S{number} | R{number} | F1 | q | 2026-01-05 | first")
        for side in ("left", "right"):
            base = float(rng.normal(0, 1))
            # Shim on, insole on, shim off; every other rider takes the insole first, so that order and support come apart.
            steps = (
                [("none", 0), ("none", 1), ("low", 1), ("low", 0)]
                if number % 2
                else [("none", 0), ("low", 0), ("low", 1), ("none", 1)]
            )
            if together:
                steps = (
                    [("none", 0), ("low", 1), ("low", 1), ("none", 0)] if number % 2 else [("none", 0), ("none", 0), ("low", 1)]
                )
            for at, (level, shims) in enumerate(steps, start=1):
                noise = float(rng.normal(0, 0.05))
                tilt = base + tilt_of["shim"] * shims + tilt_of["low"] * (level == "low") + noise
                captures.append(f"S{number} | {at} | {side} | {tilt:.4f}")
                setups.append(f"S{number} | {at} | {side} | {level} | {shims} | 0")
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(people),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n" + "\n".join(captures),
        foot_setups="session_id | capture_no | side | insole_level | shims_added | stance_mm\n" + "\n".join(setups),
    )
    return memory


def row(answer: Effects, support: str, outcome: str = "tilt") -> EffectRow:
    return next(row for row in answer.effects if (row.support, row.outcome) == (support, outcome))


def test_the_effects_put_in_come_out(memory: Warehouse) -> None:
    answer = effects.ask(studio(memory, 12, {"shim": 0.5, "low": -0.3}), Selection(), FEW)
    shim, low = row(answer, "shim"), row(answer, "insole_low")
    assert (shim.n_riders, shim.n_changes) == (12, 6 * 2 * 2 + 6 * 2 * 1)  # on and off again or only on, both knees
    assert (low.n_riders, low.n_changes) == (12, 6 * 2 * 1 + 6 * 2 * 2)
    assert shim.bracket_low is not None and shim.bracket_high is not None
    assert shim.bracket_low < 0.5 < shim.bracket_high
    assert shim.pooled == pytest.approx(0.5, abs=0.03) and shim.within == pytest.approx(0.5, abs=0.03)
    assert low.pooled == pytest.approx(-0.3, abs=0.06)
    assert shim.bracket_low == min(shim.pooled_low or 0, shim.within_low or 0)
    assert shim.bracket_high == max(shim.pooled_high or 0, shim.within_high or 0)


def test_a_support_that_was_never_changed_carries_words_and_no_figure(memory: Warehouse) -> None:
    found = row(effects.ask(studio(memory, 6, {"shim": 0.5, "low": 0}), Selection(), FEW), "stance")
    assert (found.pooled, found.within, found.bracket_low, found.q_value, found.n_changes) == (None, None, None, None, 0)
    assert found.words == "One mm of outward stance: no figure, since it was never changed between two captures of one knee."


def test_two_supports_always_changed_together_are_named(memory: Warehouse) -> None:
    answer = effects.ask(studio(memory, 12, {"shim": 0.5, "low": 0.2}, together=True), Selection(), FEW)
    found = row(answer, "shim")
    assert found.pooled is None
    assert "always changed together with a low insole" in found.words


def test_a_support_that_always_came_second_cannot_be_told_from_a_drift() -> None:
    words = verdict.changed_together("shim", [], True)
    assert "always came at the same place of the session" in words and "repeat capture" in words


def test_few_changes_show_their_count_and_no_estimate(memory: Warehouse) -> None:
    found = row(effects.ask(studio(memory, 4, {"shim": 0.5, "low": 0}), Selection(), Settings()), "shim")
    assert (found.n_changes, found.pooled) == (2 * 2 * 2 + 2 * 2 * 1, None)
    assert "not enough yet, 12 changes in 4 riders" in found.words


def test_an_empty_selection_is_refused_with_a_way_out(memory: Warehouse) -> None:
    with pytest.raises(TooFewError, match="No fit matches this selection"):
        effects.ask(studio(memory, 4, {"shim": 0, "low": 0}), parse_selection({"studio": "elsewhere"}), FEW)


def test_a_split_gives_rows_for_each_level(demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    answer = effects.ask(warehouse, parse_selection({"split": "side"}), Settings())
    warehouse.close()
    shims = {row.level: row for row in answer.effects if (row.support, row.outcome) == ("shim", "tilt")}
    assert set(shims) == {None, "left", "right"}
    assert shims["left"].n_changes + shims["right"].n_changes == shims[None].n_changes
    assert shims["left"].split == "side" and shims[None].split is None


def test_parts_asked_apart_are_the_whole_answers(demo_warehouse: Path) -> None:
    asker, chosen = Asker(demo_warehouse, Settings()), parse_selection({"split": "side", "arch_height": "low"})
    whole = cast(Effects, asker.ask("effects", chosen))
    anew = Asker(demo_warehouse, Settings())
    overall = cast(Effects, anew.ask("effects", chosen, parts=("overall",)))
    by_side = cast(Effects, anew.ask("effects", chosen, parts=("split",), outcomes=("sway",)))
    of_sway = cast(Effects, anew.ask("effects", chosen, parts=("overall", "influence"), outcomes=("sway",)))
    assert overall.effects == tuple(row for row in whole.effects if row.level is None) and not overall.dose
    assert of_sway.effects == tuple(row for row in overall.effects if row.outcome == "sway")
    assert of_sway.influence == tuple(row for row in whole.influence if row.outcome == "sway")
    assert of_sway.headline == whole.headline
    assert by_side.effects == tuple(row for row in whole.effects if (row.split, row.outcome) == ("side", "sway"))
    assert (overall.headline, by_side.headline, overall.n_captures) == (whole.headline, whole.headline, whole.n_captures)
    for part in ("dose", "responders", "influence", "residuals"):
        assert getattr(anew.ask("effects", chosen, parts=(part,)), part) == getattr(whole, part)
    directions = cast(Effects, anew.ask("effects", chosen, parts=("directions",)))
    assert directions.effects == tuple(row for row in whole.effects if row.split == "arrival_direction")
    assert directions.off_neutral == whole.off_neutral


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"arch_height": "low,high", "side": "left"},
        {"forefoot": "marked_varus", "riding": "road"},
        {"rider": "R0001"},
        {"fitter": "F2", "to": "2025-06-01"},
        {"studio": "ropewalk", "visit_kind": "refit"},
        {"bike_kind": "gravel", "from": "2026-01-01"},
    ],
)
def test_the_captures_cut_out_are_those_that_sql_counts(demo_warehouse: Path, words: dict[str, str]) -> None:
    warehouse = open_reading(demo_warehouse)
    chosen = parse_selection(words)
    scope = scope_of(warehouse, chosen, Settings())
    study = study_of(warehouse, Settings())
    cut = study.captures.chosen(study.selected(warehouse, chosen, scope, at_once))
    counted = warehouse.value(
        "SELECT count(*) FROM mart.captures AS captures INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id "
        "WHERE captures.insole_level IS NOT NULL AND {fits_selected} AND {captures_selected}",
        scope.parameters,
        **fragments(),
    )
    warehouse.close()
    assert len(cut) == counted > 0


def test_captures_find_their_knee_by_its_number_in_whatever_order_they_come(
    demo_warehouse: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They were joined to their knees by position alone."""
    warehouse, read = open_reading(demo_warehouse), Warehouse.arrays
    expected, _ = read_captures(warehouse, Settings())

    def from_the_end(self: Warehouse, sql: Path, *given: Any, **identifiers: str) -> dict[str, Any]:
        columns = read(self, sql, *given, **identifiers)
        order = np.argsort(-columns["foot"], kind="stable") if sql.name == "effects_rows.sql" else slice(None)
        return {name: column[order] for name, column in columns.items()}

    monkeypatch.setattr(Warehouse, "arrays", from_the_end)
    found, _ = read_captures(warehouse, Settings())
    warehouse.close()
    np.testing.assert_array_equal(found.n, expected.n)
    assert list(found.rows) == list(expected.rows)
    for name in ("tilt", "sway", "offset", "capture_order", "stance_mm"):
        np.testing.assert_array_equal(found.rows[name], expected.rows[name], name)
    np.testing.assert_array_equal(found.rows["insole_level"].codes, expected.rows["insole_level"].codes)


def test_the_design_holds_what_was_recorded() -> None:
    rows = {
        "insole_level": np.array(["none", "low", "low", "low"], dtype=object),
        "total_shims": np.array([0, 1, 2, 3]),
        "stance_mm": np.array([0.0, 0.0, 4.0, 4.0]),
        "capture_order": np.array([0, 1, 0, 7]),
        "visit_kind": np.array(["first"] * 4, dtype=object),
        "arch_height": np.array(["low", "low", None, None], dtype=object),
        "arch_collapse": np.array(["none"] * 4, dtype=object),
        "heel_posture": np.array(["neutral"] * 4, dtype=object),
        "squat_knee_path": np.array(["straight"] * 4, dtype=object),
        "forefoot_angle_deg": np.array([4.0, 4.0, np.nan, np.nan]),
        "session_knee": np.array([0, 0, 1, 1]),
        "rider": np.array([0, 0, 0, 0]),
        "tilt": np.zeros(4),
    }
    design = build_design(frame_of(captures_of_rows(rows), "tilt"), None)
    found, _ = row_design(design.frame.cells, design.pooled)
    assert found[:, :6].tolist() == [[0, 0, 0, 0, 0, 0], [1, 0, 0, 0, 1, 0], [1, 0, 0, 0, 2, 4], [1, 0, 0, 0, 3, 4]]
    varied = np.ptp(found, axis=0) > 0
    told = [term for term, varies in zip(design.pooled.names[6:], varied[6:], strict=True) if varies]
    assert told == ["capture 2", "capture 6", "arch not recorded", "forefoot not examined"]
    assert "intercept" in design.pooled.names
    assert [counts.n_changes for counts in design.counts] == [1, 0, 0, 0, 2, 0]
