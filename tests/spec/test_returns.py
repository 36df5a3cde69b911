"""The returns question on ten fits small enough to count by hand. The data's last date is 30 June 2026."""

from datetime import date

import pytest

from dashboard.questions.returns import returns
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.selection.selection import Selection, parse_selection
from etl import mart
from shared.errors import TooFewError
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})

# Windows of S1 to S7 have closed on 30 June (42 days before it is 19 May); those of S8 to S10 are open.
SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
S1  | R1 | F1 | q | 2026-04-01 | first
S2  | R2 | F1 | q | 2026-04-01 | first
S3  | R3 | F1 | q | 2026-04-01 | first
S4  | R4 | F1 | q | 2026-04-01 | first
S5  | R5 | F1 | q | 2026-04-01 | first
S6  | R6 | F1 | q | 2026-04-01 | refit
S7  | R1 | F1 | q | 2026-04-15 | follow_up
S8  | R7 | F1 | q | 2026-05-19 | first
S9  | R8 | F1 | q | 2026-06-10 | first
S10 | R9 | F1 | q | 2026-06-25 | first
"""
# S1 back on day 14; S2 back on day 50, too late; S3 missed; S4 cancelled, then back on day 20; S5 never booked; S6 booked on
# day 9, open and overdue; S8 back on day 10 with its window open; S9 open and not yet due; S10 booked on the day.
FOLLOW_UPS = """
follow_up_id | session_id | booked_on | due_on | state | attended_on | returned_session_id | setup_kept | satisfaction | pain
B1 | S1  | 2026-04-01 | 2026-04-15 | attended  | 2026-04-15 | S7 | all  | 9 | 0
B2 | S2  | 2026-04-08 | 2026-04-15 | attended  | 2026-05-21 | -  | some | 6 | 2
B3 | S3  | 2026-04-01 | 2026-04-15 | missed    | -          | -  | -    | - | -
B4 | S4  | 2026-04-01 | 2026-04-15 | cancelled | -          | -  | -    | - | -
B5 | S4  | 2026-04-12 | 2026-04-20 | attended  | 2026-04-21 | -  | all  | 7 | 1
B6 | S6  | 2026-04-10 | 2026-04-20 | open      | -          | -  | -    | - | -
B7 | S8  | 2026-05-20 | 2026-06-02 | attended  | 2026-05-29 | -  | none | 4 | 5
B8 | S9  | 2026-06-10 | 2026-07-01 | open      | -          | -  | -    | - | -
B9 | S10 | 2026-06-25 | 2026-07-09 | open      | -          | -  | -    | - | -
B0 | S7  | 2026-06-30 | 2026-07-14 | cancelled | -          | -  | -    | - | -
"""


def studio(memory: Warehouse, **more: str) -> Warehouse:
    riders = "\n".join(f"R{n} | {'road' if n % 2 else 'gravel'}" for n in range(1, 10))
    fill(
        memory,
        riders="rider_id | riding\n" + riders,
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions=SESSIONS,
        follow_ups=FOLLOW_UPS,
        **more,
    )
    return memory


def shares(answer: Returns, level: str | None = None) -> dict[str, tuple[int, float | None]]:
    return {row.figure: (row.n, row.estimate) for row in answer.figures if row.level == level}


def test_bookings_and_returns_are_counted_over_closed_windows_only(memory: Warehouse) -> None:
    answer = returns.ask(studio(memory), Selection(), FEW)
    assert answer.as_of == date(2026, 6, 30)
    found = shares(answer)
    # Asked to book: S1 to S6, S8, S9; S10 is five days old, S7 a follow-up. On the day: S1, S3, S4, S9; within 7 days also
    # S2 and S8.
    assert found["booked_same_day"] == (8, pytest.approx(4 / 8))
    assert found["booked"] == (8, pytest.approx(6 / 8))
    # Closed: S1 to S6; S8's window closes on 30 June itself, and S7 is a follow-up visit, a return itself. Back: S1, S4.
    assert found["return_rate"] == (6, pytest.approx(2 / 6))
    assert found["setup_kept_all"] == (4, pytest.approx(2 / 4))
    assert found["setup_kept_some"] == found["setup_kept_none"] == (4, pytest.approx(1 / 4))


def test_the_curve_counts_competing_ends_and_censors_what_is_open(memory: Warehouse) -> None:
    answer = returns.ask(studio(memory), Selection(), FEW)
    curve = {row.days: row for row in answer.curve}
    # Days: S1 14, S2 50, S4 20, S8 10 back; S3 missed, due on day 14; open: S5 and S6 day 90, S9 day 20, S10 day 5.
    assert sorted(curve) == [10, 14, 20, 50]
    assert [curve[day].n_at_risk for day in (10, 14, 20, 50)] == [8, 7, 5, 3]
    free_after_10, free_after_14 = 7 / 8, 7 / 8 * 5 / 7
    free_after_20 = free_after_14 * 4 / 5
    assert curve[10].returned == pytest.approx(1 / 8)
    assert curve[14].returned == pytest.approx(1 / 8 + free_after_10 / 7)
    assert curve[14].ended_otherwise == pytest.approx(free_after_10 / 7)
    assert curve[20].returned == pytest.approx(curve[14].returned + free_after_14 / 5)
    assert curve[50].returned == pytest.approx(curve[20].returned + free_after_20 / 3)
    assert {row.days: row.n_at_risk for row in answer.at_risk} == {0: 9, 14: 7, 28: 3, 42: 3, 56: 2, 70: 2, 84: 2}


def test_what_riders_said_is_told_by_medians(memory: Warehouse) -> None:
    """Closed windows: S1 to S6; told of S1, S2 and S4. S8's four answers wait until its window has closed."""
    said = {row.topic: row for row in returns.ask(studio(memory), Selection(), FEW).said}
    assert (said["satisfaction"].n, said["satisfaction"].n_fits, said["satisfaction"].median_points) == (3, 6, 7)
    assert (said["pain"].median_points, said["pain"].quartile_high_points, said["pain"].mean_points) == (1, 1.5, 1)


def test_those_not_seen_are_counted_with_what_they_may_have_said(memory: Warehouse) -> None:
    said = {row.topic: row for row in returns.ask(studio(memory), Selection(), FEW).said}
    # Pain 0 2 1 and three not seen: 3 / 6 if they have none, 33 / 6 if they have 10; satisfaction 9 6 7 and three.
    assert (said["pain"].best_points, said["pain"].worst_points) == (pytest.approx(3 / 6), pytest.approx(33 / 6))
    assert (said["satisfaction"].worst_points, said["satisfaction"].best_points) == (
        pytest.approx(22 / 6),
        pytest.approx(52 / 6),
    )
    assert said["pain"].bounds_low_points < 3 / 6 and said["pain"].bounds_high_points > 33 / 6
    assert said["pain"].alike_points is None  # three fits do not tell who comes back
    assert "told of 3 of 6 fits" in said["pain"].words and "The other 3 are not seen" in said["pain"].words
    assert "lies between 0.5 and 5.5" in said["pain"].words


def test_a_split_makes_groups_and_compares_them(memory: Warehouse) -> None:
    answer = returns.ask(studio(memory), parse_selection({"split": "riding"}), FEW)
    # Closed, road: S1, S3, S5 (one back); gravel: S2, S4, S6 (one back).
    assert shares(answer, "road")["return_rate"] == (3, pytest.approx(1 / 3))
    assert shares(answer, "gravel")["return_rate"] == (3, pytest.approx(1 / 3))
    [row] = answer.comparisons
    assert (row.split, row.levels, row.df, row.n) == ("riding", "road; gravel", 1, 9)
    # Log-rank by hand: one return on each of the days 10, 14, 20 and 50, with 8, 7, 5 and 3 at risk; gravel rode these:
    gravel = {"S2": 50, "S4": 20, "S6": 90, "S9": 20}
    expected = sum(sum(days >= at for days in gravel.values()) / n for at, n in ((10, 8), (14, 7), (20, 5), (50, 3)))
    variance = sum(
        (g := sum(days >= at for days in gravel.values()) / n) * (1 - g) for at, n in ((10, 8), (14, 7), (20, 5), (50, 3))
    )
    assert row.chi_square == pytest.approx((2 - expected) ** 2 / variance)


def test_a_fit_takes_the_level_that_both_feet_have(memory: Warehouse) -> None:
    exams = [
        f"S{n} | {side} | {'low' if side == 'left' or n > 3 else 'high'}" for n in range(1, 7) for side in ("left", "right")
    ]
    warehouse = studio(memory, foot_exams="session_id | side | arch_height\n" + "\n".join(exams))
    answer = returns.ask(warehouse, parse_selection({"split": "arch_height"}), FEW)
    assert shares(answer, "feet differ")["return_rate"][0] == 3
    assert shares(answer, "low")["return_rate"][0] == 3
    assert list(dict.fromkeys(row.level for row in answer.figures)) == [None, "low", "feet differ"]  # no exam, no group


@pytest.mark.parametrize(("split", "levels"), [("visit_kind", ["first", "refit"]), ("side", []), ("age_band", [])])
def test_a_column_of_the_fit_groups_fits_and_a_side_does_not(memory: Warehouse, split: str, levels: list[str]) -> None:
    answer = returns.ask(studio(memory), parse_selection({"split": split}), FEW)
    assert list(dict.fromkeys(row.level for row in answer.figures)) == [None, *levels]
    told = {
        "side": ["A fit has two sides, so that returns are not split by side."],
        "age_band": ["No comparison: it needs at least two groups."],
    }
    if not levels:
        assert [row.words for row in answer.comparisons] == told[split]


KNEES = """
session_id | capture_no | side | knee_tilt_deg | knee_sway_mm
S1 | 1 | left | -3.0 | 14
S1 | 2 | left | -1.0 | 12
S1 | 1 | right | 3.0 | 14
S1 | 2 | right | 2.0 | 12
S2 | 1 | left | 1.0 | 10
S7 | 1 | left | 1.5 | 13
S7 | 2 | left | 0.0 | 11
S7 | 1 | right | 2.2 | 20
"""


def test_what_lasted_is_told_with_its_bounds(memory: Warehouse) -> None:
    """Recorded at departure in closed windows: S1 both knees, S2 the left one; found again: S1's two, at S7."""
    setups = ["session_id | capture_no | side | insole_level | shims_added | stance_mm"]
    captures = KNEES
    # Three pairs of repeats of one knee, differences 1, -1 and 0: typical error 1 / sqrt 2, MDC95 1.96.
    for n, step in ((3, 1.0), (4, -1.0), (5, 0.0)):
        captures += f"S{n} | 1 | left | 2.0 | 10\nS{n} | 2 | left | {2.0 + step} | {10 + step}\n"
        setups += [f"S{n} | {at} | left | none | 0 | 0" for at in (1, 2)]
    warehouse = studio(memory, knee_captures=captures, foot_setups="\n".join(setups))
    tilt, sway = returns.ask(warehouse, Selection(), Settings.model_validate({"minimum": {"rows_shown": 1}})).lasting
    assert tilt.n_knees == 2 + 1 + 3
    assert tilt.n_seen == 2
    # One rider only was found again: no interval, so no figure.
    assert tilt.words == "Tilt: not enough yet, 2 of 6 knees found again."
    warehouse.run("UPDATE core.follow_ups SET returned_session_id = 'S7' WHERE follow_up_id = 'B2'")
    mart.build(warehouse)
    tilt, sway = returns.ask(warehouse, Selection(), Settings.model_validate({"minimum": {"rows_shown": 1}})).lasting
    assert (tilt.n_seen, tilt.n_riders_seen) == (3, 2)
    assert tilt.mdc95 == pytest.approx(1.96)
    # Left 1.0, 2.0, 1.0 from neutral; found 1.5, 2.2, 1.5.
    assert tilt.mean_change == pytest.approx((0.5 + 0.2 + 0.5) / 3)
    assert (tilt.held, tilt.worst, tilt.best) == (1.0, pytest.approx(3 / 6), 1.0)
    assert tilt.words.startswith("Tilt: 3 of 6 knees were found again, 3 were not. Of all, 50 to 100\N{NO-BREAK SPACE}% held")
    assert "Whether it held for most cannot be told." in tilt.words
    # Sway left 12, 12, 10; found 13, 20, 13: only the first within 1.96 mm.
    assert sway.mean_change == pytest.approx((1 + 8 + 3) / 3)
    assert (sway.held, sway.worst, sway.best) == (pytest.approx(1 / 3), pytest.approx(1 / 6), pytest.approx((1 + 3) / 6))


def test_fits_that_held_are_told_first_and_those_not_seen_are_counted(memory: Warehouse) -> None:
    """Closed: S1 to S6. Found again at S7: S1 with both knees, S2 (came late) with the one it left on record. S4 came and was
    not measured; S3, S5 and S6 were not seen."""
    repeats = "".join(
        f"S{n} | 1 | left | 2.0 | 10\nS{n} | 2 | left | {2.0 + step} | {10 + step}\n"
        for n, step in ((3, 1.0), (4, -1.0), (5, 0.0))
    )
    setups = "\n".join(f"S{n} | {at} | left | none | 0 | 0" for n in (3, 4, 5) for at in (1, 2))
    head = "session_id | capture_no | side | insole_level | shims_added | stance_mm\n"
    warehouse = studio(memory, knee_captures=KNEES + repeats, foot_setups=head + setups)
    warehouse.run("UPDATE core.follow_ups SET returned_session_id = 'S7' WHERE follow_up_id = 'B2'")
    mart.build(warehouse)
    settings = Settings.model_validate({"minimum": {"rows_shown": 2}})
    answer = returns.ask(warehouse, Selection(), settings)
    assert [(row.became, row.n, row.n_fits) for row in answer.held] == [
        ("held", 2, 6), ("not_held", 0, 6), ("not_measured", 1, 6), ("not_seen", 3, 6)
    ]  # fmt: skip
    held = answer.held[0]
    assert (held.share, held.bounds_low, held.bounds_high) == (pytest.approx(2 / 6), pytest.approx(2 / 6), pytest.approx(6 / 6))
    assert held.chance_low is not None and held.chance_low < 2 / 6
    assert shares(answer)["held"] == (2, pytest.approx(1.0))
    assert answer.headline.startswith(
        "33\xa0% of fits held, 0\xa0% did not, of 67\xa0% it is not known; of 6 fits whose 42 days are over 3 were not seen "
        "again and 1 seen but not measured, so that 33 to 100\xa0% of all held."
    )
    # Left tilt found 3.0 from neutral, 2.0 further than both fits left it: more than the 1.96 of the repeats.
    warehouse.run(
        "UPDATE core.knee_captures SET knee_tilt_deg = -3.0 WHERE session_id = 'S7' AND side = 'left' AND capture_no = 1"
    )
    mart.build(warehouse)
    lost = returns.ask(warehouse, Selection(), settings)
    assert [row.n for row in lost.held] == [0, 2, 1, 3]
    assert (lost.held[0].bounds_low, lost.held[0].bounds_high) == (0.0, pytest.approx(4 / 6))


def test_too_few_are_counted_and_not_estimated(memory: Warehouse) -> None:
    answer = returns.ask(studio(memory), Selection(), Settings())
    assert all(row.estimate is None for row in answer.figures)
    words = {row.figure: row.words for row in answer.figures}
    assert words.pop("held").startswith("Held, of those measured again: not recorded here (knee_captures and foot_setups)")
    assert all("not enough yet" in told for told in words.values())
    assert answer.at_risk == ()  # nine fits ask for a follow-up
    with pytest.raises(TooFewError, match="No fit matches"):
        returns.ask(memory, parse_selection({"fitter": "nobody"}), FEW)
