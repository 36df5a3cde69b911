"""What the marts make of core rows, on tiny tables; expectations are written as the sums that make them."""

from shared.warehouse import Warehouse
from tests.spec.tables import fill

RIDERS = """
rider_id | riding
-------- | ------
R1       | road
R2       | gravel
"""
FITTERS = """
fitter_id | fitter_name
--------- | -----------
F1        | Alder
"""
SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
---------- | -------- | --------- | --------- | ------------ | ----------
S1         | R1       | F1        | quayside  | 2026-03-02   | first
S2         | R1       | F1        | quayside  | 2026-03-16   | follow_up
S3         | R2       | F1        | quayside  | 2026-03-01   | first
"""
CAPTURES = """
session_id | capture_no | side  | knee_tilt_deg | knee_sway_mm
---------- | ---------- | ----- | ------------- | ------------
S1         | 2          | left  | 3.0           | 20
S1         | 2          | right | 1.0           | 15
S1         | 3          | left  | 2.5           | 18
S1         | 5          | left  | 2.0           | 17
S1         | 5          | right | 1.5           | 14
S2         | 1          | left  | 2.2           | 16
"""
SETUPS = """
session_id | capture_no | side  | insole_level | shims_added | shims_built_in | stance_mm
---------- | ---------- | ----- | ------------ | ----------- | -------------- | ---------
S1         | 2          | left  | none         | 0           | 1              | 0
S1         | 2          | right | none         | 0           | -              | 0
S1         | 3          | left  | none         | 0           | 1              | 0
S1         | 5          | left  | medium       | -1          | 1              | 2
S1         | 5          | right | none         | 0           | -              | 0
"""
RATINGS = """
session_id | capture_no | topic   | body_part | score
---------- | ---------- | ------- | --------- | -----
S1         | 2          | comfort | whole     | 4
S1         | 2          | comfort | foot      | 5
S1         | 5          | comfort | whole     | 7
S1         | 5          | pain    | knee      | 3
"""
FOLLOW_UPS = """
follow_up_id | session_id | booked_on  | due_on     | state     | attended_on
------------ | ---------- | ---------- | ---------- | --------- | -----------
B1           | S1         | 2026-03-02 | 2026-03-16 | missed    | -
B2           | S1         | 2026-03-05 | 2026-03-20 | attended  | 2026-03-16
"""
EXAMS = """
session_id | side  | arch_height | forefoot_angle_deg
---------- | ----- | ----------- | ------------------
S1         | left  | low         | 4
S1         | right | low         | -
"""


def filled(memory: Warehouse) -> Warehouse:
    fill(
        memory,
        riders=RIDERS,
        fitters=FITTERS,
        fit_sessions=SESSIONS,
        knee_captures=CAPTURES,
        foot_setups=SETUPS,
        rider_ratings=RATINGS,
        follow_ups=FOLLOW_UPS,
        foot_exams=EXAMS,
    )
    return memory


def test_fits_are_one_row_a_session(memory: Warehouse) -> None:
    rows = filled(memory).rows(
        "SELECT session_id, visit_no, arrival_no, departure_no, n_captures, n_feet_examined FROM mart.fits ORDER BY 1"
    )
    assert [tuple(row.values()) for row in rows] == [
        ("S1", 1, 2, 5, 3, 1),  # captures 2, 3, 5; only the left foot's exam is complete
        ("S2", 2, 1, 1, 1, 0),
        ("S3", 1, None, None, 0, 0),
    ]


def test_a_fit_takes_comfort_from_its_ends_and_the_first_booking(memory: Warehouse) -> None:
    row = filled(memory).rows(
        "SELECT comfort_arrival, comfort_departure, CAST(booked_on AS VARCHAR) AS booked, "
        "CAST(attended_on AS VARCHAR) AS attended FROM mart.fits WHERE session_id = 'S1'"
    )[0]
    assert row == {
        "comfort_arrival": (4 + 5) / 2,
        "comfort_departure": 7,
        "booked": "2026-03-02",
        "attended": "2026-03-16",
    }


def test_captures_carry_order_setup_and_repeats(memory: Warehouse) -> None:
    rows = filled(memory).rows(
        "SELECT capture_no, side, capture_order, total_shims, is_arrival, is_departure, is_repeat FROM mart.captures "
        "WHERE session_id = 'S1' ORDER BY side, capture_no"
    )
    assert [tuple(row.values()) for row in rows] == [
        (2, "left", 0, 0 + 1, True, False, False),
        (3, "left", 1, 0 + 1, False, False, True),  # nothing changed since capture 2
        (5, "left", 2, -1 + 1, False, True, False),
        (2, "right", 0, 0, True, False, False),
        (5, "right", 2, 0, False, True, False),  # same setup, but capture 3 of this knee is missing between
    ]


def test_a_capture_without_setup_has_no_setup(memory: Warehouse) -> None:
    row = filled(memory).rows("SELECT insole_level, total_shims, is_repeat FROM mart.captures WHERE session_id = 'S2'")[0]
    assert row == {"insole_level": None, "total_shims": None, "is_repeat": False}


def test_knees_pair_arrival_with_departure(memory: Warehouse) -> None:
    rows = filled(memory).rows("SELECT session_id, side, tilt_arrival_deg, tilt_departure_deg FROM mart.knees ORDER BY 1, 2")
    assert [tuple(row.values()) for row in rows] == [("S1", "left", 3.0, 2.0), ("S1", "right", 1.0, 1.5)]


def test_fit_numbers_count_by_date_and_riders_by_id(memory: Warehouse) -> None:
    rows = filled(memory).rows("SELECT * FROM mart.fit_numbers")
    assert [tuple(row.values()) for row in rows] == [
        # fit_no, session, rider_no, visit_no, arrival_no, departure_no, n_captures; in the order of fit_no
        (0, "S3", 1, 1, None, None, 0),  # the earliest day, though its id comes last
        (1, "S1", 0, 1, 2, 5, 3),  # captures 2, 3 and 5
        (2, "S2", 0, 2, 1, 1, 1),
    ]


def test_feet_hold_both_feet_of_every_fit(memory: Warehouse) -> None:
    rows = filled(memory).rows(
        "SELECT fit_no, side, has_exam, arch_height, forefoot_angle_deg, tilt_arrival_deg, tilt_departure_deg, "
        "sway_departure_mm FROM mart.feet"
    )
    assert [tuple(row.values()) for row in rows] == [
        (0, "left", False, None, None, None, None, None),  # S3 holds no capture
        (0, "right", False, None, None, None, None, None),
        (1, "left", True, "low", 4, 3.0, 2.0, 17),  # captures 2 and 5 of 2, 3, 5
        (1, "right", True, "low", None, 1.0, 1.5, 14),
        (2, "left", False, None, None, 2.2, 2.2, 16),  # one capture is both
        (2, "right", False, None, None, None, None, None),  # that knee was not recorded
    ]


def test_feet_hold_the_setups_of_the_first_and_last_capture(memory: Warehouse) -> None:
    rows = filled(memory).rows(
        "SELECT side, insole_arrival, total_shims_arrival, stance_arrival_mm, insole_departure, shims_added, shims_built_in, "
        "stance_departure_mm FROM mart.feet WHERE fit_no = 1"
    )
    assert [tuple(row.values()) for row in rows] == [
        ("left", "none", 0 + 1, 0, "medium", -1, 1, 2),
        ("right", "none", 0, 0, "none", 0, 0, 0),  # built-in shims that are not told are none
    ]
    assert memory.value("SELECT count(insole_departure) FROM mart.feet WHERE fit_no <> 1") == 0


def test_changes_are_told_of_repeats_and_of_shim_steps_alone(memory: Warehouse) -> None:
    setups = """
    session_id | capture_no | side | insole_level | shims_added | shim_place | stance_mm
    ---------- | ---------- | ---- | ------------ | ----------- | ---------- | ---------
    S1         | 1          | left | none         | 0           | -          | 0
    S1         | 2          | left | none         | 0           | -          | 0
    S1         | 3          | left | none         | 2           | in_shoe    | 0
    S1         | 4          | left | low          | 2           | in_shoe    | 0
    """
    captures = """
    session_id | capture_no | side | knee_tilt_deg | knee_sway_mm
    ---------- | ---------- | ---- | ------------- | ------------
    S1         | 1          | left | 3.0           | 20
    S1         | 2          | left | 2.5           | 21
    S1         | 3          | left | 1.5           | 18
    S1         | 4          | left | 1.0           | 18
    """
    fill(memory, riders=RIDERS, fitters=FITTERS, fit_sessions=SESSIONS, foot_setups=setups, knee_captures=captures)
    rows = memory.rows(
        "SELECT is_repeat, shims_step, shims_step_place, tilt_change_deg, sway_change_mm FROM mart.capture_facts "
        "ORDER BY capture_no"
    )
    assert [tuple(row.values()) for row in rows] == [
        (False, None, None, None, None),
        (True, None, None, 2.5 - 3.0, 21 - 20),
        (False, 2 - 0, "in_shoe", 1.5 - 2.5, 18 - 21),
        (False, None, None, None, None),  # the insole was changed
    ]


def test_ratings_stand_beside_each_other_at_both_ends_and_the_follow_up(memory: Warehouse) -> None:
    ratings = """
    session_id | capture_no | topic   | body_part | score
    ---------- | ---------- | ------- | --------- | -----
    S1         | 2          | comfort | whole     | 4
    S1         | 3          | comfort | whole     | 9
    S1         | 5          | comfort | whole     | 7
    S1         | 5          | pain    | knee      | 3
    S2         | 1          | comfort | whole     | 6
    """
    follow_ups = """
    follow_up_id | session_id | booked_on  | due_on     | state    | attended_on | returned_session_id
    ------------ | ---------- | ---------- | ---------- | -------- | ----------- | -------------------
    B1           | S1         | 2026-03-02 | 2026-03-16 | attended | 2026-03-16  | S2
    """
    fill(
        memory,
        riders=RIDERS,
        fitters=FITTERS,
        fit_sessions=SESSIONS,
        knee_captures=CAPTURES,
        rider_ratings=ratings,
        follow_ups=follow_ups,
    )
    assert [tuple(row.values()) for row in memory.rows("SELECT * FROM mart.ratings")] == [
        (1, "comfort", "whole", 4, 7, 6),  # what was said in between, 9, is no end
        (1, "pain", "knee", None, 3, None),
        (2, "comfort", "whole", 6, None, None),  # the follow-up's own first capture is its arrival
    ]


def test_every_mart_keeps_its_key(memory: Warehouse) -> None:
    filled(memory)
    for mart, key in {
        "fits": "session_id",
        "captures": "session_id, capture_no, side",
        "knees": "session_id, side",
        "fit_numbers": "fit_no",
        "feet": "fit_no, side",
        "capture_facts": "session_id, capture_no, side",
        "ratings": "fit_no, topic, body_part",
    }.items():
        assert memory.value(f"SELECT count(*) FROM (SELECT {key} FROM mart.{mart} GROUP BY {key} HAVING count(*) > 1)") == 0
