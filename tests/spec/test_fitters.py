"""The fitters question: hand-sized counts, and a fitter whose hard cases make good work look bad."""

from pathlib import Path

import numpy as np
import pytest

from dashboard.questions.coaching import fitters
from dashboard.questions.coaching.answers_fitters import FitterRow, Fitters
from dashboard.questions.coaching.riders_mix import case_mix
from dashboard.questions.returns import returns
from dashboard.questions.selection.selection import Selection, parse_selection
from dashboard.questions.studio import studio
from shared.settings import Settings
from shared.statistics.case_mix import expected_mean, expected_share
from shared.statistics.funnel import binomial_limit
from shared.warehouse import Warehouse, open_reading
from tests.spec.tables import fill


def filled(memory: Warehouse, fits: list[dict[str, object]]) -> Warehouse:
    """One rider a fit; each with fitter, arrival and departure tilt of the right knee (the left one stands at 0), comfort."""
    sessions, captures, ratings = [], [], []
    for n, fit in enumerate(fits):
        sessions.append(f"S{n:03} | R{n} | {fit['fitter']} | q | 2026-01-05 | first")
        for at, tilt in ((1, fit["arrival"]), (2, fit["departure"])):
            captures += [f"S{n:03} | {at} | right | {tilt:.3f} | 12", f"S{n:03} | {at} | left | 0 | 12"]
        ratings += [f"S{n:03} | 1 | comfort | whole | 3", f"S{n:03} | 2 | comfort | whole | {3 + int(str(fit['gained']))}"]
    names = sorted({str(fit["fitter"]) for fit in fits})
    fill(
        memory,
        riders="rider_id\n" + "\n".join(f"R{n}" for n in range(len(fits))),
        fitters="fitter_id | fitter_name\n" + "\n".join(f"{name} | {name}" for name in names),
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        knee_captures="session_id | capture_no | side | knee_tilt_deg | knee_sway_mm\n" + "\n".join(captures),
        rider_ratings="session_id | capture_no | topic | body_part | score\n" + "\n".join(ratings),
    )
    return memory


def referred(rng: np.random.Generator) -> list[dict[str, object]]:
    """F1 and F2 fit easy riders, F3 the hard ones, and leaves fewer side differences behind at any arrival than they do."""
    fits: list[dict[str, object]] = []
    for fitter, n, share_hard, skill in (("F1", 120, 0.15, 0.0), ("F2", 120, 0.25, 0.0), ("F3", 120, 0.85, 0.10)):
        for _ in range(n):
            is_hard = rng.random() < share_hard
            is_left = rng.random() < (0.65 if is_hard else 0.15) - skill
            arrival = rng.uniform(4.0, 6.0) if is_hard else rng.uniform(1.0, 3.0)
            departure = rng.uniform(2.1, 3.0) if is_left else rng.uniform(0.0, 1.9)
            fits.append({"fitter": fitter, "arrival": arrival, "departure": departure, "gained": rng.integers(0, 4)})
    return fits


def rows(answer: Fitters, outcome: str) -> dict[str, FitterRow]:
    return {row.fitter_id: row for row in answer.fitters if row.outcome == outcome}


def test_hard_cases_and_good_work_do_not_look_bad(memory: Warehouse) -> None:
    found = rows(
        fitters.ask(filled(memory, referred(np.random.default_rng(3))), Selection(), Settings()), "side_difference_left"
    )
    observed = {name: row.observed for name, row in found.items()}
    # The crude figures make F3 the worst by far; what is expected of these riders turns it round.
    assert observed["F3"] is not None and observed["F1"] is not None and observed["F2"] is not None
    assert observed["F3"] > observed["F1"] + 0.15 and observed["F3"] > observed["F2"] + 0.15
    assert found["F3"].ratio is not None and found["F3"].ratio < 1
    assert all((found[name].ratio or 0) > (found["F3"].ratio or 0) for name in ("F1", "F2"))
    assert list(found) == ["F1", "F2", "F3"]  # by id, never by figure


def test_the_demos_fitter_of_hard_cases_is_as_expected(demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    answer = fitters.ask(warehouse, Selection(), Settings())
    everyone = {row.figure: row.estimate for row in studio.ask(warehouse, Selection(), Settings()).figures}
    alone = {row.figure: row for row in studio.ask(warehouse, parse_selection({"fitter": "F7"}), Settings()).figures}
    came_back = returns.ask(warehouse, parse_selection({"fitter": "F7"}), Settings()).figures[2]
    warehouse.close()
    left = rows(answer, "side_difference_left")["F7"]
    crude, usual = alone["side_difference_left"].estimate, everyone["side_difference_left"]
    assert crude is not None and usual is not None and crude > usual + 0.08
    assert left.limit_inner_low is not None and left.observed is not None and left.limit_inner_high is not None
    assert left.limit_inner_low <= left.observed <= left.limit_inner_high
    assert (rows(answer, "comfort_gained")["F7"].difference_low or 0) > 0
    # One figure, counted by three questions.
    assert (left.n_fits, left.observed) == (alone["side_difference_left"].n, pytest.approx(crude))
    back = rows(answer, "return_rate")["F7"]
    assert (back.n_fits, back.observed) == (came_back.n, pytest.approx(came_back.estimate))


def test_the_demos_new_fitter_is_counted_only(demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    answer = fitters.ask(warehouse, Selection(), Settings())
    warehouse.close()
    for row in (row for row in answer.fitters if row.fitter_id == "F6"):
        assert row.n_fits < 10
        assert (row.observed, row.expected, row.z, row.shrunken_difference) == (None, None, None, None)
        assert "not enough yet" in row.words or "no fit" in row.words
    assert "Too few fits yet: F6." in answer.headline
    assert answer.furthest == "comfort_gained"  # F3, 2.3 standard errors below


def test_the_figures_of_one_fitter_are_the_sums_they_stand_for(memory: Warehouse) -> None:
    fits = referred(np.random.default_rng(11))
    answer = fitters.ask(filled(memory, fits), Selection(), Settings())
    arrival, departure = (np.array([float(str(fit[key])) for fit in fits]).round(3) for key in ("arrival", "departure"))
    own = np.array([fit["fitter"] == "F2" for fit in fits])
    left = (departure >= 2.0).astype(float)
    # Only the right knee tilts: off neutral on average is half of it, its tilt too, the side difference the whole.
    terms = ("intercept", "arrival", "squared")
    expected = expected_share(left, np.column_stack([np.ones(len(fits)), arrival, arrival**2]), terms).expected
    row = rows(answer, "side_difference_left")["F2"]
    n = int(own.sum())
    assert row.n_fits == row.n_riders == n
    assert row.observed == pytest.approx(left[own].mean())
    assert row.expected == pytest.approx(expected[own].mean(), rel=1e-6)
    assert row.ratio == pytest.approx(left[own].sum() / expected[own].sum(), rel=1e-6)
    assert row.difference == pytest.approx((left - expected)[own].mean())
    assert row.z == pytest.approx((left - expected)[own].sum() / (expected * (1 - expected))[own].sum() ** 0.5, rel=1e-6)
    four = binomial_limit(float(expected[own].mean()), np.array(n), np.array([0.001, 0.025, 0.975, 0.999]))
    limits = (row.limit_outer_low, row.limit_inner_low, row.limit_inner_high, row.limit_outer_high)
    assert limits == pytest.approx(tuple(four.tolist()), rel=1e-6)
    gained = np.array([float(str(fit["gained"])) for fit in fits])
    usual = expected_mean(gained, np.column_stack([np.ones(len(fits)), arrival, arrival**2]), terms)
    comfort = rows(answer, "comfort_gained")["F2"]
    assert comfort.difference == pytest.approx((gained - usual.expected)[own].mean())
    assert comfort.z == pytest.approx((gained - usual.expected)[own].mean() / (usual.variance[0] / n) ** 0.5)
    assert comfort.ratio is None


def test_shrinkage_and_scatter_follow_from_the_rows(memory: Warehouse) -> None:
    answer = fitters.ask(filled(memory, referred(np.random.default_rng(5))), Selection(), Settings())
    for scatter in answer.dispersion:
        z = np.array([row.z for row in answer.fitters if row.outcome == scatter.outcome and row.z is not None])
        if scatter.phi is None:
            continue
        # Interpolated winsorising of three values at a tenth: each end comes in by a fifth of the way to the middle one.
        low, middle, high = np.sort(z)
        pulled = np.array([low + 0.2 * (middle - low), middle, high - 0.2 * (high - middle)])
        assert scatter.phi == pytest.approx(float((pulled**2).mean()))
        assert (scatter.winsorised_share, scatter.winsorising) == (0.1, "interpolated")
        for row in (row for row in answer.fitters if row.outcome == scatter.outcome):
            assert row.z and row.difference is not None and scatter.sd_between is not None
            error = row.difference / row.z
            kept = scatter.sd_between**2 / (scatter.sd_between**2 + error**2)
            assert row.shrunken_difference == pytest.approx(kept * row.difference, abs=1e-12)


def test_process_measures_are_counted(memory: Warehouse) -> None:
    fits = [{"fitter": "F1", "arrival": 1.0 + n / 10, "departure": 0.5, "gained": 1} for n in range(12)]
    warehouse = filled(memory, fits)
    exams = "\n".join(f"S{n:03} | {side} | low | 4" for n in range(9) for side in ("left", "right"))
    bikes = "\n".join(f"S{n:03} | departure | bar_reach | 500" for n in range(6))
    booked = "\n".join(f"B{n} | S{n:03} | 2026-01-{5 + 3 * n:02} | 2026-02-01 | open" for n in range(4))
    fill(
        warehouse,
        foot_exams=f"session_id | side | arch_height | forefoot_angle_deg\n{exams}",
        bike_measures=f"session_id | moment | measure | value_mm\n{bikes}",
        follow_ups=f"follow_up_id | session_id | booked_on | due_on | state\n{booked}",
    )
    rows = fitters.ask(warehouse, Selection(), Settings()).process
    done = {row.process: (row.n, row.total) for row in rows}
    # Booked after 0, 3, 6 and 9 days; the latest date is 14 January, so that all booking days have passed.
    assert done == {
        "exam_complete": (9, 12),
        "bike_measured": (6, 12),
        "follow_up_booked": (3, 12),
        "repeat_capture": (0, 0),  # no setup was recorded, so that nothing is known of repeats and agreement
        "agreement": (0, 0),
    }
    assert [row.words for row in rows][2] == "F1, repeat capture taken: not recorded here (foot_setups)."


def test_a_chosen_fitter_is_compared_with_all(memory: Warehouse) -> None:
    warehouse = filled(memory, referred(np.random.default_rng(3)))
    alone = rows(fitters.ask(warehouse, parse_selection({"fitter": "F3"}), Settings()), "side_difference_left")
    assert list(alone) == ["F3"]
    assert alone["F3"] == rows(fitters.ask(warehouse, Selection(), Settings()), "side_difference_left")["F3"]


def test_too_few_fits_for_the_case_mix_are_counted_with_the_reason(memory: Warehouse) -> None:
    fits = [{"fitter": "F1", "arrival": 1.0 + n / 10, "departure": 0.5, "gained": n % 3} for n in range(12)]
    answer = fitters.ask(filled(memory, fits), Selection(), Settings())
    assert all(row.observed is None for row in answer.fitters)
    assert "F1: 12 fits. Not enough yet: 12 fits for" in answer.fitters[0].words
    assert answer.headline == "No fitter can be compared yet. Too few fits yet: F1."


EXAM = ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path")


def test_rare_kinds_and_missing_measures_do_not_break_the_mix() -> None:
    n = 40
    nobody = np.arange(n) < 12
    tilt = np.where(nobody, np.nan, np.linspace(-3, 3, n))
    fits = {
        "rider": np.arange(n),
        "tilt_left_arrival": tilt,
        "tilt_right_arrival": np.where(nobody, np.nan, tilt + np.linspace(0, 2, n)),
        **dict.fromkeys(("sway_left_arrival", "sway_right_arrival"), np.full(n, 12.0)),
        **dict.fromkeys(("forefoot_angle_left", "forefoot_angle_right"), np.zeros(n)),
        **{f"{column}_{side}": np.zeros(n, dtype=np.int8) for column in EXAM for side in ("left", "right")},
        "visit_kind": np.array([1] * 28 + [3] * 12),
        "bike_kind": np.array([2] * 37 + [1] * 3),
    }
    mix = case_mix(fits, ["city", "road"])
    assert mix.terms == (
        "intercept",
        "off_neutral_arrival_deg",
        "off_neutral_arrival_deg missing",
        "off_neutral_arrival_deg squared",
        "tilt_arrival_deg",
        "tilt_arrival_deg missing",
        "side_difference_arrival_deg",
        "side_difference_arrival_deg missing",
        "side_difference_arrival_deg squared",
        "visit_kind refit",
    )
    assert np.isfinite(mix.design).all()
