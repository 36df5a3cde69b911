"""The ratings question on scores small enough to count by hand."""

import numpy as np
import pytest
from scipy import stats

from dashboard.questions.selection.selection import Selection, parse_selection
from dashboard.questions.studio import ratings, studio
from dashboard.questions.studio.answers_ratings import RatingRow, Ratings
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})

SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
---------- | -------- | --------- | --------- | ------------ | ----------
S1         | R1       | F1        | quayside  | 2026-03-02   | first
S2         | R2       | F1        | quayside  | 2026-03-03   | first
S3         | R3       | F1        | quayside  | 2026-03-04   | first
S4         | R1       | F1        | quayside  | 2026-03-16   | follow_up
S5         | R2       | F1        | quayside  | 2026-03-20   | follow_up
S6         | R4       | F1        | quayside  | 2026-03-20   | first
"""
CAPTURES = """
session_id | capture_no | side | knee_tilt_deg
---------- | ---------- | ---- | -------------
S1         | 1          | left | 1
S1         | 2          | left | 1
S1         | 4          | left | 1
S2         | 1          | left | 1
S2         | 2          | left | 1
S3         | 1          | left | 1
S3         | 2          | left | 1
S4         | 2          | left | 1
S4         | 3          | left | 1
S5         | 1          | left | 1
S6         | 1          | left | 1
"""
# Comfort: R1 4 -> 7, at the follow-up 6 -> 8; R2 5 -> 5, at the follow-up 9; R3 6 -> 5; R4 rated once.
# Pain: R1's knee 3 -> 1, at the follow-up 0; R1's hand 0 -> 0; R2's knee 2 at arrival only, the hand at departure only;
# R3's knee 1 -> 4.
RATED = """
session_id | capture_no | topic   | body_part | score
---------- | ---------- | ------- | --------- | -----
S1         | 1          | comfort | whole     | 4
S1         | 2          | comfort | whole     | 10
S1         | 4          | comfort | whole     | 7
S2         | 1          | comfort | whole     | 5
S2         | 2          | comfort | whole     | 5
S3         | 1          | comfort | whole     | 6
S3         | 2          | comfort | whole     | 5
S4         | 2          | comfort | whole     | 6
S4         | 3          | comfort | whole     | 8
S5         | 1          | comfort | whole     | 9
S6         | 1          | comfort | whole     | 3
S1         | 1          | pain    | knee      | 3
S1         | 4          | pain    | knee      | 1
S1         | 1          | pain    | hand      | 0
S1         | 4          | pain    | hand      | 0
S4         | 2          | pain    | knee      | 0
S2         | 1          | pain    | knee      | 2
S2         | 2          | pain    | hand      | 1
S3         | 1          | pain    | knee      | 1
S3         | 2          | pain    | knee      | 4
"""
FOLLOW_UPS = """
follow_up_id | session_id | booked_on  | due_on     | state    | attended_on | returned_session_id
------------ | ---------- | ---------- | ---------- | -------- | ----------- | -------------------
B1           | S1         | 2026-03-02 | 2026-03-16 | attended | 2026-03-16  | S4
B2           | S2         | 2026-03-03 | 2026-03-17 | missed   | -           | -
B3           | S2         | 2026-03-05 | 2026-03-20 | attended | 2026-03-20  | S5
B4           | S3         | 2026-03-05 | 2026-03-20 | attended | 2026-03-20  | -
"""


def asked(memory: Warehouse, words: dict[str, str] | None = None, settings: Settings = FEW) -> Ratings:
    fill(
        memory,
        riders="rider_id | riding\nR1 | road\nR2 | gravel\nR3 | road\nR4 | road",
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions=SESSIONS,
        knee_captures=CAPTURES,
        rider_ratings=RATED,
        follow_ups=FOLLOW_UPS,
    )
    return ratings.ask(memory, parse_selection(words or {}), settings)


def row(answer: Ratings, topic: str, start: str, end: str, level: str | None = None) -> RatingRow:
    return next(
        row for row in answer.ratings if (row.topic, row.from_moment, row.to_moment, row.level) == (topic, start, end, level)
    )


def test_comfort_from_arrival_to_departure(memory: Warehouse) -> None:
    found = row(asked(memory), "comfort", "arrival", "departure")
    changes = [7 - 4, 5 - 5, 5 - 6, 8 - 6]  # S1, S2, S3, S4; S5 and S6 hold one capture
    assert (found.n_pairs, found.n_riders) == (4, 3)
    assert (found.share_better, found.share_same, found.share_worse) == (2 / 4, 1 / 4, 1 / 4)
    assert found.mean_change_points == pytest.approx(sum(changes) / 4)
    assert (found.median_change_points, found.median_from, found.median_to) == (1.0, 5.5, 6.0)
    expected = clustered_share(np.array([1.0, 0, 0, 1]), np.array([0, 1, 2, 0]), 0.95)
    assert (found.better_low, found.better_high) == pytest.approx((expected.low, expected.high))
    assert found.p_value is None  # three riders moved: no test reaches any level
    assert found.words.startswith("Comfort from arrival to departure: better in 50\N{NO-BREAK SPACE}%")


def test_comfort_at_the_follow_ups_first_capture(memory: Warehouse) -> None:
    answer = asked(memory)
    lasting = row(answer, "comfort", "arrival", "follow_up")
    assert (lasting.n_pairs, lasting.mean_change_points) == (2, ((6 - 4) + (9 - 5)) / 2)  # S1 by S4, S2 by S5
    since = row(answer, "comfort", "departure", "follow_up")
    assert (since.share_better, since.share_worse) == (1 / 2, 1 / 2)  # R1 7 -> 6, R2 5 -> 9
    assert since.words.startswith("Comfort from departure to follow-up")


def test_pain_is_better_when_lower_and_paired_by_part(memory: Warehouse) -> None:
    answer = asked(memory)
    pain = row(answer, "pain", "arrival", "departure")
    assert (pain.n_pairs, pain.n_riders, pain.n_at_best) == (3, 2, 1)  # R1's hand could not hurt less
    assert (pain.share_better, pain.share_same, pain.share_worse) == (1 / 3, 1 / 3, 1 / 3)
    assert pain.mean_change_points == pytest.approx((1 - 3 + 0 - 0 + 4 - 1) / 3)
    by_part = {(row.body_part, row.to_moment): row for row in answer.body_parts if row.from_moment == "arrival"}
    assert {part for part, _ in by_part} == {"hand", "knee"}
    knee, hand = by_part["knee", "departure"], by_part["hand", "departure"]
    assert (knee.topic, knee.n_pairs, knee.share_better) == ("pain", 2, 1 / 2)  # R2's knee was not rated at departure
    assert (hand.n_pairs, hand.words) == (1, "Pain, hand, from arrival to departure: not enough yet, 1 pair of 1 rider.")


def test_one_rider_has_no_interval_whatever_the_setting(memory: Warehouse) -> None:
    found = row(asked(memory, settings=Settings.model_validate({"minimum": {"rows_shown": 1}})), "pain", "arrival", "follow_up")
    assert (found.n_pairs, found.n_riders, found.share_better) == (1, 1, None)


def test_the_same_comfort_as_on_the_studio_page(memory: Warehouse) -> None:
    answer = asked(memory)
    gained = next(figure for figure in studio.ask(memory, Selection(), FEW).figures if figure.figure == "comfort_gained")
    found = row(answer, "comfort", "arrival", "departure")
    assert (found.mean_change_points, found.mean_low_points, found.mean_high_points) == pytest.approx(
        (gained.estimate, gained.low, gained.high)
    )


def test_split_by_riding_and_few_riders(memory: Warehouse) -> None:
    answer = asked(memory, {"split": "riding"})
    road = row(answer, "comfort", "arrival", "departure", "road")
    gravel = row(answer, "comfort", "arrival", "departure", "gravel")
    assert (road.n_pairs, road.n_riders, road.share_better) == (3, 2, 2 / 3)
    assert (gravel.n_pairs, gravel.share_better) == (1, None)
    assert gravel.words == "Comfort, riding gravel, from arrival to departure: not enough yet, 1 pair of 1 rider."
    assert row(answer, "stability", "arrival", "departure").n_pairs == 0


def test_zeros_are_ranked_and_left_out(memory: Warehouse) -> None:
    """Twelve riders: eight gain a point, four stay. the eight share the ranks 5 to 12, so z = 8 * 8.5 / sqrt(8 * 8.5^2)."""
    numbers = range(12)
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(f"R{n} | road" for n in numbers),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        + "\n".join(f"S{n} | R{n} | F1 | q | 2026-03-02 | first" for n in numbers),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n"
        + "\n".join(f"S{n} | {at} | left | 1" for n in numbers for at in (1, 2)),
        rider_ratings="session_id | capture_no | topic | body_part | score\n"
        + "\n".join(f"S{n} | {at} | comfort | whole | {5 + (at == 2 and n < 8)}" for n in numbers for at in (1, 2)),
    )
    found = row(ratings.ask(memory, Selection(), Settings()), "comfort", "arrival", "departure")
    z = 8 * 8.5 / (8 * 8.5**2) ** 0.5
    assert found.p_value == pytest.approx(2 * stats.norm.sf(z))
    assert found.q_value == found.p_value  # the only one tested


def test_who_was_not_rated_again_is_counted_with_what_they_may_have_said(memory: Warehouse) -> None:
    """Windows of ten days: comfort of R1 7 -> 6, of R2 5 -> 9, of R3 5 and not again, so 3 - 5 to 3 + 5 of three."""
    closed = Settings.model_validate({"minimum": {"rows_shown": 2}, "follow_up": {"returned_within_days": 10}})
    [row] = [row for row in asked(memory, settings=closed).ratings if (row.topic, row.from_moment) == ("comfort", "departure")]
    assert (row.n_pairs, row.n_not_again) == (2, 1)
    assert "1 more was rated at departure and not again" in row.words
    assert "lies between \N{MINUS SIGN}0.7 and 2.7" in row.words
