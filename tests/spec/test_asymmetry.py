"""The asymmetry question on tables small enough to count by hand."""

import re

import numpy as np
import pytest

from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.symmetry import asymmetry
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry
from dashboard.questions.symmetry.knee_patterns import PATTERNS, Knees, has_pattern, numbered, patterns
from shared.errors import TooFewError
from shared.settings import Knee, Settings
from shared.statistics.paired_shares import paired_shares
from shared.statistics.proportions import share_difference, wilson_interval
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})

# Tilts at arrival and departure; side differences R1 3.0 -> 1.0, R2 2.0 -> 4.0, R3 0.5 -> 2.0, R4 1.0 -> -, R5 2.5 -> 2.5.
RIDERS = """
rider_id | riding
-------- | ------
R1       | road
R2       | road
R3       | gravel
R4       | gravel
R5       | road
"""
SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
---------- | -------- | --------- | --------- | ------------ | ----------
S1         | R1       | F1        | quayside  | 2026-03-02   | first
S2         | R2       | F1        | quayside  | 2026-03-03   | first
S3         | R3       | F1        | ropewalk  | 2026-03-04   | first
S4         | R4       | F1        | ropewalk  | 2026-03-05   | first
S5         | R5       | F1        | quayside  | 2026-03-06   | first
S6         | R1       | F1        | quayside  | 2026-04-02   | refit
"""
CAPTURES = """
session_id | capture_no | side  | knee_tilt_deg | knee_sway_mm | knee_offset_mm
---------- | ---------- | ----- | ------------- | ------------ | --------------
S1         | 1          | left  | 1.5           | 10           | 10
S1         | 1          | right | -1.5          | 10           | -10
S1         | 2          | left  | 0.5           | 10           | 0
S1         | 2          | right | -0.5          | 12           | 0
S2         | 1          | left  | 1.3           | 10           | 0
S2         | 1          | right | 3.3           | 30           | 15
S2         | 2          | left  | -2.0          | 10           | -
S2         | 2          | right | 2.0           | 10           | 0
S3         | 1          | left  | -2.0          | 10           | 0
S3         | 1          | right | -1.5          | 10           | 0
S3         | 2          | left  | -3.0          | 10           | 0
S3         | 2          | right | -1.0          | 10           | 0
S4         | 1          | left  | 0.0           | -            | -
S4         | 1          | right | 1.0           | 10           | 0
S5         | 1          | left  | 0.0           | 10           | 0
S5         | 1          | right | 2.5           | 10           | 0
S5         | 3          | left  | 0.0           | 10           | 0
S5         | 3          | right | 2.5           | 10           | 0
S6         | 1          | left  | 0.0           | 10           | 0
S6         | 1          | right | 9.0           | 10           | 0
"""
EXAMS = """
session_id | side  | arch_height
---------- | ----- | -----------
S1         | left  | low
S1         | right | medium
S2         | left  | low
S2         | right | low
S3         | left  | high
S3         | right | high
S4         | left  | medium
S4         | right | medium
"""


def asked(memory: Warehouse, words: dict[str, str] | None = None, settings: Settings = FEW, **more: str) -> Asymmetry:
    tables = {"riders": RIDERS, "fitters": "fitter_id | fitter_name\nF1 | Alder", "fit_sessions": SESSIONS, "foot_exams": EXAMS}
    fill(memory, **tables, **{"knee_captures": CAPTURES, **more})
    return asymmetry.ask(memory, parse_selection(words or {}), settings)


def test_prevalence_counts_first_sessions_one_row_a_rider(memory: Warehouse) -> None:
    rows = {(row.quantity, row.moment): row for row in asked(memory).prevalence}
    arrival, departure = rows["tilt", "arrival"], rows["tilt", "departure"]
    assert (arrival.n_riders, arrival.n_beyond) == (5, 3)  # R1 3.0, R2 3.3 - 1.3 = the limit itself, R5 2.5
    assert (departure.n_riders, departure.n_beyond) == (4, 3)  # R4 was captured once
    expected = wilson_interval(3, 5, 0.95)
    assert (arrival.share, arrival.low, arrival.high) == (3 / 5, expected.low[0], expected.high[0])
    # Offset: R1 20 mm is beyond 15 mm, R2 15 mm is not; R4's left one is missing.
    assert (rows["offset", "arrival"].n_riders, rows["offset", "arrival"].n_beyond) == (4, 1)
    assert arrival.words.startswith("60\N{NO-BREAK SPACE}% of riders came with a side difference in tilt of 2° or more")
    assert ("sway", "arrival") not in rows


def test_the_limit_is_a_setting(memory: Warehouse) -> None:
    settings = Settings.model_validate({"minimum": {"rows_shown": 2}, "knee": {"side_difference_deg": 2.5}})
    row = asked(memory, settings=settings).prevalence[0]
    assert (row.limit, row.n_beyond) == (2.5, 2)  # R1 and R5


def test_resolved_persisting_new_none(memory: Warehouse) -> None:
    tilt, offset = asked(memory).change
    # R1 resolved, R2 and R5 persisting, R3 new; R4 was not recorded at departure.
    assert (tilt.n_riders, tilt.n_resolved, tilt.n_persisting, tilt.n_new, tilt.n_none) == (4, 1, 2, 1, 0)
    expected = paired_shares(1, 2, 1, 0, 0.95)
    assert (tilt.share_arrival, tilt.share_departure) == (3 / 4, 3 / 4)
    assert (tilt.difference, tilt.low, tilt.high, tilt.p_value) == (0.0, expected.low, expected.high, 1.0)
    assert tilt.q_value == 1.0
    assert "resolved in 1, persisted in 2, was new in 1 and absent at both in 0" in tilt.words
    assert (offset.n_riders, offset.n_resolved, offset.n_none) == (3, 1, 2)  # R2's left offset is missing at departure


def test_patterns_of_each_rider_by_hand(memory: Warehouse) -> None:
    answer = asked(memory)
    named_knees = {(row.session_id, row.moment): row.pattern for row in answer.knees}
    assert named_knees == {
        ("S1", "arrival"): "opposed",  # 1.5 and -1.5
        ("S2", "arrival"): "looping",  # 3.3 with sway 30 on the same side
        ("S3", "arrival"): "inward",
        ("S4", "arrival"): "neutral",  # 1.0 is within the limit
        ("S5", "arrival"): "outward",
        ("S1", "departure"): "neutral",
        ("S2", "departure"): "opposed",
        ("S3", "departure"): "inward",
        ("S5", "departure"): "outward",
    }
    flow = {(row.arrival_pattern, row.departure_pattern): row.n_riders for row in answer.flow if row.n_riders}
    assert flow == {
        ("opposed", "neutral"): 1,
        ("looping", "opposed"): 1,
        ("inward", "inward"): 1,
        ("outward", "outward"): 1,
    }
    changes = {row.finding: (row.n_resolved, row.n_persisting, row.n_new, row.n_none) for row in answer.patterns}
    assert changes["opposed"] == (1, 0, 1, 2)
    assert changes["outward"] == (1, 1, 0, 2)  # S2 is outward as well as looping at arrival
    assert changes["looping"] == (1, 0, 0, 3)
    assert changes["neutral"] == (0, 0, 1, 3)


def test_high_sway_is_the_studios_own(memory: Warehouse) -> None:
    """Ropewalk's knees all sway 100 mm; quayside's 80th percentile is still 10 mm, so that R2's 30 mm is high there."""
    swaying = re.sub(r"(?m)^(S[34] .*)\| 10 ", r"\1| 100 ", CAPTURES)
    assert swaying.count("| 100 ") == 5
    knees = {(row.session_id, row.moment): row.pattern for row in asked(memory, knee_captures=swaying).knees}
    assert knees["S2", "arrival"] == "looping"


def test_a_level_holds_riders_with_one_such_foot_and_is_compared_with_the_others(memory: Warehouse) -> None:
    answer = asked(memory, {"split": "arch_height"})
    rows = {row.level: row for row in answer.prevalence if (row.quantity, row.moment) == ("tilt", "arrival")}
    # Low: R1 and R2, both beyond. Medium: R1 (right foot) and R4. High: R3 alone. R5 was not examined.
    assert {level: (row.n_riders, row.n_beyond) for level, row in rows.items()} == {
        None: (5, 3),
        "low": (2, 2),
        "medium": (2, 1),
        "high": (1, 0),
    }
    gap = share_difference(2, 2, 1, 3, 0.95)
    low = rows["low"]
    assert (low.split, low.other_share, low.difference) == ("arch_height", 1 / 3, pytest.approx(2 / 3))
    assert (low.difference_low, low.difference_high) == (gap.low[0], gap.high[0])
    assert (rows["high"].share, rows["high"].words) == (
        None,
        "Arch height high: not enough yet, 1 rider at their first session.",
    )
    assert "a rider with two kinds of feet counts under both" in answer.cautions[-1]


def test_split_by_side_is_told_and_not_made(memory: Warehouse) -> None:
    answer = asked(memory, {"split": "side", "side": "left"})
    assert {row.level for row in answer.prevalence} == {None}
    assert any("not split by side" in caution for caution in answer.cautions)
    assert any("takes both knees" in caution for caution in answer.cautions)


def test_differences_are_right_less_left_over_all_fits(memory: Warehouse) -> None:
    rows = {(row.quantity, row.moment): row for row in asked(memory).differences}
    tilt = rows["tilt", "arrival"]
    values = [-1.5 - 1.5, 3.3 - 1.3, -1.5 + 2.0, 1.0 - 0.0, 2.5 - 0.0, 9.0 - 0.0]  # the refit counts here
    assert (tilt.n_fits, tilt.n_riders) == (6, 5)
    assert tilt.mean == pytest.approx(sum(values) / 6)
    assert tilt.median_size == pytest.approx((2.0 + 2.5) / 2)
    assert tilt.low is not None and tilt.high is not None and tilt.low < sum(values) / 6 < tilt.high
    assert rows["sway", "arrival"].mean == pytest.approx((0 + 20 + 0 + 0 + 0) / 5)  # R4's left sway is missing


def test_the_curve_over_limits_passes_the_set_one(memory: Warehouse) -> None:
    answer = asked(memory)
    curve = {row.limit: row for row in answer.curve if (row.quantity, row.moment) == ("tilt", "arrival")}
    sizes = [3.0, 2.0, 0.5, 1.0, 2.5]
    for limit, row in curve.items():
        assert row.share == pytest.approx(sum(size >= limit for size in sizes) / 5)
    assert [limit for limit, row in curve.items() if row.is_set_limit] == [2.0]
    assert curve[2.0].share == answer.prevalence[0].share
    offset = {row.limit: row.share for row in answer.curve if (row.quantity, row.moment) == ("offset", "arrival")}
    assert (offset[12.5], offset[15.0], offset[20.0]) == (2 / 4, 1 / 4, 0.0)  # sizes 20, 15, 0, 0: strictly beyond


def test_repeats_tell_what_noise_alone_resolves(memory: Warehouse) -> None:
    """Ten riders 2.5 apart at arrival; in the repeat three of them are 1.5 apart. An eleventh changed a shim in between."""
    people, sessions, captures, setups = [], [], [], []
    for number in range(11):
        people.append(f"P{number} | road")
        sessions.append(f"T{number} | P{number} | F1 | quayside | 2026-03-02 | first")
        for at, right in ((1, 2.5), (2, 1.5 if number < 3 else 2.6)):
            captures += [f"T{number} | {at} | left | 0", f"T{number} | {at} | right | {right}"]
            shims = at if number == 10 else 0
            setups += [f"T{number} | {at} | {side} | none | {shims} | 0" for side in ("left", "right")]
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(people),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n" + "\n".join(captures),
        foot_setups="session_id | capture_no | side | insole_level | shims_added | stance_mm\n" + "\n".join(setups),
    )
    tilt, offset = asymmetry.ask(memory, parse_selection({}), Settings()).repeats
    assert (tilt.n_pairs, tilt.n_beyond, tilt.n_no_longer, tilt.share_no_longer) == (10, 10, 3, 3 / 10)
    assert (offset.n_pairs, offset.share_no_longer) == (0, None)
    assert "not enough yet" in offset.words


def test_few_riders_get_words_and_an_empty_selection_is_refused(memory: Warehouse) -> None:
    answer = asked(memory, settings=Settings())
    assert answer.prevalence[0].share is None and answer.prevalence[0].n_beyond == 3
    assert answer.headline == "Not enough yet, 5 riders at their first session."
    assert answer.curve[0].share is None and answer.change[0].p_value is None
    with pytest.raises(TooFewError, match="No fit matches this selection"):
        asymmetry.ask(memory, parse_selection({"studio": "elsewhere"}), FEW)


def test_patterns_at_their_limits() -> None:
    nan = np.nan
    rows = np.array(
        [  # tilt left, right, sway left, right, offset left, right
            (-1.0, 1.0, 0, 0, 0, 0),
            (-1.1, 1.0, 0, 0, 0, 0),
            (-1.1, 1.1, 0, 0, 0, 0),
            (0.0, 0.0, 0, 0, -8, 8),
            (0.0, 0.0, 0, 0, -7, 8),
            (0.0, 0.0, 0, 0, 1, 20),
            (1.1, 0.0, 21, 0, 0, 0),
            (1.1, 0.0, 20, 30, 0, 0),
            (1.1, 0.0, nan, 30, nan, 0),
            (nan, 2.0, 0, 30, 0, 0),
        ]
    )
    knees = Knees(*rows.T, high_sway_mm=np.full(len(rows), 20.0))
    shown = patterns(knees, Knee())
    assert [PATTERNS[number] for number in numbered(shown)[:9]] == [
        "neutral",
        "inward",
        "opposed",
        "opposed",  # 16 mm apart, on opposite sides of the foot
        "neutral",  # 15 mm is not above the limit
        "neutral",  # far apart, yet both outside
        "looping",
        "outward",  # sway at the limit; the other knee's sway does not count
        "outward",  # a missing sway or offset leaves its rule out
    ]
    assert shown["outward"][6] and shown["looping"][6]
    assert has_pattern(knees).tolist() == [True] * 9 + [False]
