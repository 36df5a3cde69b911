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


def test_every_mart_keeps_its_key(memory: Warehouse) -> None:
    filled(memory)
    for mart, key in {
        "fits": "session_id",
        "captures": "session_id, capture_no, side",
        "knees": "session_id, side",
    }.items():
        assert memory.value(f"SELECT count(*) FROM (SELECT {key} FROM mart.{mart} GROUP BY {key} HAVING count(*) > 1)") == 0
