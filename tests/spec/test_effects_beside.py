"""What stands beside the effects (dose, responders, distance from neutral, influence, noise), on tables counted by hand."""

from dataclasses import replace

import numpy as np
import pytest

from dashboard.questions.data import noise
from dashboard.questions.data.fitter_noise import FitterNoise, fitter_noise
from dashboard.questions.data.noise import noise_row
from dashboard.questions.effects.dose import dose_rows, in_families
from dashboard.questions.effects.families import compared, shrunken
from dashboard.questions.effects.influence import influence_rows, residual_rows
from dashboard.questions.effects.off_neutral import neutral_rows, with_distance
from dashboard.questions.effects.responders import responder_rows
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.effect_models import Fits, fit_design, fitted, fitted_rows
from dashboard.questions.models.frames import Frame, frame_like, frame_of, frame_with_outcome, standard_columns
from dashboard.questions.models.supports import build_design
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.recovery.scenarios import Scenario, simulated
from tests.spec.tables import fill

STUDIO = simulated(Scenario("exam", by_exam=1.0, riders=80, variation=0.0), np.random.default_rng(11))
FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})


def ends(tilts: list[tuple[float, float]]) -> dict[str, np.ndarray]:
    """Knees with tilt at arrival and at departure, one rider each."""
    n = len(tilts)
    limit = 1.0
    first = np.array([pair[0] for pair in tilts])
    direction = np.where(first < -limit, "inward", np.where(first <= limit, "near neutral", "outward")).astype(object)
    return {
        "rider": np.repeat(np.arange(n), 2),
        "session_knee": np.repeat(np.arange(n), 2),
        "capture_order": np.tile([0, 1], n),
        "is_arrival": np.tile([True, False], n),
        "is_departure": np.tile([False, True], n),
        "arrival_direction": np.repeat(direction, 2),
        "tilt": np.array(tilts).ravel(),
    }


def slopes(fits: Fits | None) -> dict[str, float]:
    assert fits is not None
    return {term: told.estimate for term, told in fits.pooled_table.items() if term in fits.within_table}


def test_responders_are_counted_against_the_smallest_real_change() -> None:
    row = noise_row("tilt", np.array([1.0, -1.0, 1.0, -1.0]), np.arange(4), FEW)
    assert row.mdc95 == pytest.approx(1.96 * np.sqrt(4 / 3))  # SD of 1, -1, 1, -1 is sqrt(4/3); MDC95 = 1.96 SD
    knees = ends([(-4.0, -1.0), (4.0, 1.5), (-1.0, 1.2), (0.5, 3.5), (1.0, 1.0)])
    one_fitter = np.zeros(5, dtype=np.int64)
    rows = responder_rows(captures_of_rows(knees), one_fitter, FitterNoise(row, row.mdc95), FEW)
    found = {found.response: (found.n, found.total) for found in rows}
    # |tilt| changes by -3, -2.5, +0.2, +3, 0; the limit is 2.26.
    assert found == {"better": (2, 5), "unchanged": (2, 5), "worse": (1, 5)}


def test_each_knee_is_judged_by_its_own_fitters_noise() -> None:
    # Of twenty riders each, the second fitter's repeats lie three times as far apart as the first one's.
    differences = np.concatenate([np.resize([0.3, -0.3], 20), np.resize([0.9, -0.9], 20)])
    rider, fitter = np.arange(40), np.repeat([0, 1], 20)
    found = fitter_noise(noise_row("tilt", differences, rider, FEW), differences, rider, fitter, FEW)
    assert found.differs
    quiet, noisy = found.own[0].mdc95, found.own[1].mdc95
    assert found.own[1].ratio == pytest.approx(3.0) and quiet < 0.7 < 1.5 < noisy
    # Both knees came nearer by one degree, which is more than one fitter's noise and less than the other's.
    knees = captures_of_rows(ends([(-4.0, -3.0), (-4.0, -3.0)]))
    shares = {one.response: one.n for one in responder_rows(knees, np.array([0, 1]), found, FEW)}
    assert shares == {"better": 1, "unchanged": 1, "worse": 0}
    assert (
        f"their fitter's own noise ({quiet:.1f} to {noisy:.1f}°)"
        in next(responder_rows(knees, np.array([0, 1]), found, FEW)).words
    )
    # With the smallest real change of all repeats, neither would count.
    shared = FitterNoise(found.row, found.row.mdc95)
    assert next(responder_rows(knees, np.array([0, 1]), shared, FEW)).n == 0


def test_fitters_alike_are_judged_by_all_repeats_and_few_repeats_by_none_of_their_own() -> None:
    differences, rider = np.resize([0.3, -0.3], 48), np.arange(48)
    fitter = np.repeat([0, 1, 2], [20, 20, 8])
    row = noise_row("tilt", differences, rider, FEW)
    found = fitter_noise(row, differences, rider, fitter, FEW)
    assert not found.differs and set(found.own) == {0, 1}
    assert found.limits(np.array([0, 1, 2])).tolist() == [row.mdc95] * 3
    # A fitter of few repeats has the usual noise of the others, not what one noisy colleague makes of the whole.
    differences[fitter == 1] *= 3
    row = noise_row("tilt", differences, rider, FEW)
    found = fitter_noise(row, differences, rider, fitter, FEW)
    assert found.differs and found.mdc95 is not None and row.mdc95 is not None
    assert found.own[0].mdc95 < found.limits(np.array([2]))[0] == found.mdc95 < row.mdc95


def test_regression_to_the_mean_is_taken_off_and_shown() -> None:
    rng = np.random.default_rng(3)
    true = rng.normal(0, 2, 4000)
    first, second = true + rng.normal(0, 1, 4000), true + rng.normal(0, 1, 4000)
    knees = captures_of_rows(ends(list(zip(first, second, strict=True))))
    found = {row.arrival_direction: row for row in neutral_rows(knees, 1.0, Settings())}
    for direction in ("inward", "outward"):
        row = found[direction]
        # Nothing was changed: the distance falls all the same, and by what is expected. Normal knees, reliability 4 / 5.
        assert row.change_deg is not None and row.change_deg < -0.3
        assert row.net_low_deg is not None and row.net_high_deg is not None
        assert row.net_low_deg < 0 < row.net_high_deg
        assert "about as far from neutral as they came" in row.words
    assert found["near neutral"].expected_deg is not None and found["near neutral"].expected_deg > 0


def test_the_distance_at_arrival_is_what_a_repeat_would_show() -> None:
    knees = captures_of_rows(ends([(-4.0, -1.0), (4.0, 1.5), (0.0, 1.0), (2.0, 2.0)]))
    plain = with_distance(knees, None).rows["off_neutral"]
    assert plain.tolist() == [4.0, 1.0, 4.0, 1.5, 0.0, 1.0, 2.0, 2.0]
    adjusted = with_distance(knees, 1.0).rows["off_neutral"]
    assert adjusted[0] < 4.0 and adjusted[4] > 0.0  # far knees look nearer, a neutral one further
    assert adjusted[1::2].tolist() == plain[1::2].tolist()


def test_a_direction_is_claimed_by_its_interval_and_by_q_among_the_three() -> None:
    """Twenty riders each; by Student's t with 19 degrees of freedom one direction has p = 0.04, the other two about 0.9: among
    three, q is 0.12, so that nothing is claimed though the interval leaves out zero."""
    rng = np.random.default_rng(8)
    spread = rng.normal(size=20)
    spread = (spread - spread.mean()) / spread.std(ddof=1)
    at_four = 2.2047  # passed with probability 0.04 on both sides, 19 degrees of freedom
    knees = []
    for first, shift in ((-4.0, at_four), (0.0, 0.1), (4.0, 0.1)):
        noise = 0.2 * (spread + shift / 20**0.5)
        knees += [(first, first + change if first >= 0 else first - change) for change in noise]
    knees[20:40] = [(0.5, 0.5 + change) for change in 0.2 * (spread + 0.1 / 20**0.5)]
    rows = {row.arrival_direction: row for row in neutral_rows(captures_of_rows(ends(knees)), 1e-9, Settings())}
    inward = rows["inward"]
    assert (inward.told_low, inward.told_high, inward.told_by) == (inward.net_low_deg, inward.net_high_deg, "net")
    assert inward.told_low is not None and inward.told_low > 0
    assert inward.q_value == pytest.approx(0.12, abs=1e-3)
    assert inward.direction == 0 and "left about as far from neutral as they came" in inward.words


def test_without_repeat_captures_the_regression_is_not_guessed() -> None:
    rows = list(neutral_rows(captures_of_rows(ends([(-4.0, -1.0)] * 12)), None, FEW))
    assert all(row.net_deg is None for row in rows)
    assert "no repeat captures to know the noise from" in rows[0].words


def with_gaps(rows: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Some outcomes missing, so that cells lose rows or all of them."""
    return {**rows, "tilt": np.where(np.random.default_rng(3).random(len(rows["tilt"])) < 0.2, np.nan, rows["tilt"])}


def assert_same(found: Frame, expected: Frame) -> None:
    assert [column.term for column in found.columns] == [column.term for column in expected.columns]
    assert found.outcome == expected.outcome and np.array_equal(found.n_changes, expected.n_changes)
    for one, other in ((found.cells.mean, expected.cells.mean), (found.cells.products, expected.cells.products)):
        assert one == pytest.approx(other, abs=1e-9)
        # What is told by whether a column varies must not be rounding.
        assert np.array_equal(one == 0, other == 0)
    assert found.cells.outcome == pytest.approx(expected.cells.outcome)
    some = np.arange(len(found.cells.n)) % 3 == 0
    assert found.cells.rows(None) == pytest.approx(expected.cells.rows(None))
    assert found.cells.rows(some) == pytest.approx(expected.cells.rows(some))


def test_sums_by_rider_are_those_of_the_cells() -> None:
    captures = captures_of_rows(with_gaps(STUDIO))
    captures = captures.chosen(np.arange(len(captures.n)) % 7 > 0)
    by_cell, by_rider = frame_of(captures, "tilt"), frame_of(captures, "tilt", is_by_rider=True)
    rider = by_cell.cells.rider
    for one in np.unique(rider):
        assert by_rider.cells.products[rider == one].sum(axis=0) == pytest.approx(
            by_cell.cells.products[rider == one].sum(axis=0)
        )
    assert np.array_equal(by_rider.cells.mean, by_cell.cells.mean) and np.array_equal(by_rider.n_changes, by_cell.n_changes)
    found, expected = (fit_design(build_design(frame, None), Settings()) for frame in (by_rider, by_cell))
    for term, entry in expected.pooled_table.items():
        assert found.pooled_table[term].estimate == pytest.approx(entry.estimate, abs=1e-6 * entry.standard_error)
    for term, entry in expected.within_table.items():
        assert found.within_table[term].low == pytest.approx(entry.low, abs=1e-6 * entry.standard_error)


def test_a_frame_with_another_outcome_is_the_one_made_of_its_rows() -> None:
    whole = frame_of(captures_of_rows(with_gaps(STUDIO)), "tilt")
    whole = whole.chosen(np.arange(len(whole.captures.n)) % 5 > 0)
    distanced = with_distance(whole.captures, 0.8)
    assert_same(frame_with_outcome(whole, distanced, "off_neutral"), frame_of(distanced, "off_neutral"))


def test_a_frame_like_another_is_the_one_made_of_its_rows() -> None:
    """Sums that two outcomes share, and those of cells in which one of them was not recorded."""
    rows = with_gaps(STUDIO)
    sway = STUDIO["tilt"][::-1].copy()
    sway[::11], sway[rows["session_knee"] == rows["session_knee"][0]] = np.nan, np.nan
    captures = captures_of_rows({**rows, "sway": sway})
    whole, expected = frame_like(frame_of(captures, "tilt"), captures, "sway"), frame_of(captures, "sway")
    assert len(whole.captures) not in {len(captures), len(frame_of(captures, "tilt").captures)}
    assert whole.cells.own_products is not None and 0 < len(whole.cells.own_products) < len(whole.cells.n)
    assert_same(whole, expected)
    kept = np.arange(len(expected.cells.n)) % 5 > 0
    assert_same(whole.chosen(kept), expected.chosen(kept))
    found, alone = (fit_design(build_design(one.chosen(kept), None), Settings()) for one in (whole, expected))
    for term, entry in alone.within_table.items():
        assert found.within_table[term].low == pytest.approx(entry.low, abs=1e-6 * entry.standard_error)
    for term, entry in alone.pooled_table.items():
        assert found.pooled_table[term].low == pytest.approx(entry.low, abs=1e-6 * entry.standard_error)


def test_a_straight_dose_is_told_straight_and_a_bent_one_is_not() -> None:
    straight, fits = fitted_rows(STUDIO, "tilt", None, Settings())
    whole = frame_of(captures_of_rows(STUDIO), "tilt")
    doses = [row for row in in_families(list(dose_rows(whole, slopes(fits), Settings()))) if row.support == "shim"]
    slope = next(row for row in straight if row.support == "shim").pooled or 0.0
    for row in doses:
        assert row.line == pytest.approx(slope * row.dose)
        if row.bracket_low is not None and row.bracket_high is not None:
            assert row.bracket_low - 0.15 < 0.5 * row.dose < row.bracket_high + 0.15
        assert (row.told_low, row.told_high) == (row.bracket_low, row.bracket_high)
    assert doses[0].line_p_value is not None and doses[0].line_p_value > 0.01
    bent = {**STUDIO, "tilt": STUDIO["tilt"] + 0.8 * (STUDIO["total_shims"] >= 2)}
    _, bent_fits = fitted_rows(bent, "tilt", None, Settings())
    of_bent = frame_of(captures_of_rows(bent), "tilt")
    bent_doses = [row for row in in_families(list(dose_rows(of_bent, slopes(bent_fits), Settings()))) if row.support == "shim"]
    assert (
        bent_doses[0].line_p_value is not None and bent_doses[0].line_p_value < 0.001
    )  # a step of 0.8°, more than a shim and a half
    assert not any(row.is_bent for row in doses) and all(row.is_bent for row in bent_doses)


def test_one_odd_rider_shows_in_the_influence() -> None:
    odd = STUDIO["rider"] == 7
    tilt = STUDIO["tilt"] + np.where(odd, 6.0 * STUDIO["total_shims"], 0.0)
    rows = {**STUDIO, "tilt": tilt}
    _, fits = fitted_rows(rows, "tilt", None, Settings())
    assert fits is not None
    names = np.array([f"R{code}" for code in range(80)], dtype=object)
    shim = next(row for row in influence_rows("tilt", fits, names, ["shim"]) if row.support == "shim")
    assert shim.rider_low == "R7"
    assert shim.pooled_without_low < shim.pooled <= shim.pooled_without_high
    without = {name: column[~odd] for name, column in rows.items()}
    _, left = fitted_rows(without, "tilt", None, Settings())
    assert left is not None
    # First order: the fit without the rider is met to a tenth of the move.
    exact = left.pooled_table["shim"].estimate
    assert abs(shim.pooled_without_low - exact) < 0.1 * abs(shim.pooled - exact)


def test_residuals_of_normal_noise_lie_on_the_normal_curve() -> None:
    _, fits = fitted_rows(STUDIO, "tilt", None, Settings())
    assert fits is not None
    within = {term: told.estimate for term, told in fits.within_table.items()}
    inner = [
        row
        for row in residual_rows(captures_of_rows(STUDIO), "tilt", within, standard_columns())
        if 0.05 <= row.probability <= 0.95
    ]
    assert all(abs(row.residual - row.normal) < 0.12 for row in inner)


def test_levels_of_a_split_are_drawn_toward_the_overall_effect() -> None:
    found, _ = fitted(frame_of(captures_of_rows(STUDIO), "tilt"), "arch_height", Settings())
    drawn, families = shrunken([one for one in found if one.row.support == "shim"], Settings())
    assert [family.n_levels for family in families] == [3]
    # The larger of both estimates' p-values of no difference, times the three outcomes where they are told together.
    assert families[0].q_value is None
    assert compared(families)[0].q_value == families[0].p_value
    assert compared(families, 3)[0].q_value == pytest.approx(min(1.0, 3 * families[0].p_value))
    sure = compared([replace(families[0], p_value=0.01)], 3)[0]
    assert sure.differs and "differs between levels" in sure.words
    unsure = compared([replace(families[0], p_value=0.02)], 3)[0]
    assert not unsure.differs and "shows no clear difference between levels" in unsure.words
    for row in (one.row for one in drawn):
        assert row.shrunk is not None and row.pooled is not None
        assert min(row.pooled, families[0].overall) - 1e-9 <= row.shrunk <= max(row.pooled, families[0].overall) + 1e-9


def test_a_split_by_shim_place_splits_the_shims_only() -> None:
    place = np.where(STUDIO["side"] == "left", "in_shoe", "at_cleat").astype(object)
    rows, _ = fitted_rows({**STUDIO, "shim_place": place}, "tilt", "shim_place", Settings())
    assert {(row.support, row.level) for row in rows if row.level} == {("shim", "in_shoe"), ("shim", "at_cleat")}


PAIRS = """
session_id | capture_no | side  | knee_tilt_deg
---------- | ---------- | ----- | -------------
S1         | 1          | left  | 1.0
S1         | 2          | left  | 1.4
S1         | 3          | left  | 1.2
S2         | 1          | left  | 2.0
S2         | 2          | left  | 1.6
S3         | 1          | left  | 0.0
S3         | 2          | left  | 0.2
"""
SETUPS = """
session_id | capture_no | side | insole_level | shims_added | stance_mm
---------- | ---------- | ---- | ------------ | ----------- | ---------
S1         | 1          | left | none         | 0           | 0
S1         | 2          | left | none         | 0           | 0
S1         | 3          | left | none         | 0           | 0
S2         | 1          | left | none         | 0           | 0
S2         | 2          | left | none         | 0           | 0
S3         | 1          | left | none         | 0           | 0
S3         | 2          | left | none         | 0           | 0
"""


def test_noise_comes_from_repeat_captures_and_is_split_by_group(memory: Warehouse) -> None:
    fill(
        memory,
        riders="rider_id | riding\nR1 | road\nR2 | road\nR3 | road",
        fitters="fitter_id | fitter_name\nF1 | Alder\nF2 | Birch",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        "S1 | R1 | F1 | q | 2026-01-05 | first\nS2 | R2 | F2 | q | 2026-05-05 | first\nS3 | R3 | F2 | q | 2026-05-06 | first",
        knee_captures=PAIRS,
        foot_setups=SETUPS,
    )
    answer = noise.ask(memory, Selection(), Settings.model_validate({"minimum": {"rows_shown": 3}}))
    tilt = answer.noise[0]
    # Differences 0.4, -0.2, -0.4, 0.2: mean 0, SD = sqrt((0.16 + 0.04 + 0.16 + 0.04) / 3).
    assert (tilt.n_pairs, tilt.n_riders) == (4, 3)
    assert tilt.typical_error == pytest.approx((0.4 / 3) ** 0.5 / 2**0.5)
    assert tilt.mean_drift == pytest.approx(0.0, abs=1e-12)
    counts = {(row.group, row.level): row.n_pairs for row in answer.groups if row.outcome == "tilt"}
    assert counts[("fitter", "F1")] == 2 and counts[("fitter", "F2")] == 2
    assert counts[("quarter", "2026 quarter 1")] == 2 and counts[("side", "left")] == 4
