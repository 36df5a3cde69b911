"""The sentences on what lasted, who came back and whom to call, from counts that are set by hand."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD
from dashboard.questions.returns import calls, lasting, returns
from dashboard.questions.returns.answers_returns import LastingRow, SaidRow
from dashboard.questions.returns.held import ENDS, held_rows, held_words
from shared.settings import Settings
from shared.statistics.clustered.means import Estimate
from shared.statistics.unseen import Bounds

SETTINGS = Settings.model_validate({"follow_up": {"returned_within_days": 120, "booked_within_days": 14}})


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


def held_of(held: int, not_held: int, not_measured: int, not_seen: int) -> list[Any]:
    """One fit a rider, so many of each end."""
    assert ENDS[:2] == (HELD, NOT_HELD)
    ends = np.repeat([BECAME.index(end) for end in ENDS], [held, not_held, not_measured, not_seen])
    return list(held_rows(ends.astype(np.int8), np.arange(len(ends)), SETTINGS))


def test_fits_that_held_are_told_with_those_of_whom_it_is_not_known_and_what_they_leave_open() -> None:
    """Of 40: 20 held, 10 did not, 4 were not measured, 6 not seen: between 20 and 30 of 40 held, and of 10 it is not known."""
    rows = held_of(20, 10, 4, 6)
    assert bare(held_words(rows, SETTINGS)) == (
        "50 % of fits held, 25 % did not, of 25 % it is not known; of 40 fits whose 120 days are over 6 were not seen again "
        "and 4 "
        "seen but not measured, so that 50 to 75 % of all held."
    )
    assert (rows[0].bounds_low, rows[0].bounds_high) == pytest.approx((0.5, 0.75))
    assert [(row.n, row.n_fits) for row in rows] == [(20, 40), (10, 40), (4, 40), (6, 40)]
    # Wilson's interval of 20 of 40 is 0.352 to 0.648, by his formula.
    assert bare(rows[0].words).endswith(": 50 % (35 to 65 %).") and rows[0].words.startswith("20 of 40 fits ")


def test_where_all_are_known_nothing_is_left_open_and_few_fits_tell_nothing() -> None:
    assert bare(held_words(held_of(30, 10, 0, 0), SETTINGS)) == (
        "75 % of fits held, 25 % did not; of 40 fits whose 120 days are over 30 held."
    )
    few = held_of(1, 1, 0, 0)
    assert held_words(few, SETTINGS) == "Whether fits held: not enough yet, 2 fits whose 120 days are over."
    assert {row.words for row in few} == {"Not enough yet, 2 fits."}
    unknown = held_words(held_of(0, 0, 20, 20), SETTINGS)
    assert unknown.endswith("20 were not seen again and 20 seen but not measured.")


def lasted(**figures: Any) -> LastingRow:
    given = {"n_knees": 100, "n_seen": 60, "n_riders_seen": 30, "held": 0.8, "held_low": 0.66, "held_high": 0.89, **figures}
    return LastingRow("tilt", "deg", **given)


def test_knees_found_again_are_told_with_the_bounds_of_all_and_with_those_alike() -> None:
    bounds = Bounds(0.48, 0.88, 0.38, 0.93)
    row = lasted(bounds_low=0.38, bounds_high=0.93, alike_low=0.61, alike_high=0.88)
    words = bare(lasting._held_words(row, bounds, Estimate(0.75, 0.61, 0.88, 100, 50, 100.0)))
    assert words == (
        "Tilt: 60 of 100 knees were found again, 40 were not. Of all, 48 to 88 % held: the one end if none of those not "
        "found did, "
        "the other if each did (38 to 93 % with chance). Whether it held for most cannot be told. Of those found again 80 % "
        "held; "
        "of all 75 % (61 to 88 %), if those not found held as did those who were alike when they left."
    )
    assert bare(lasting._held_words(row, bounds, None)).endswith("Of those found again 80 % held.")
    none = lasted(bounds_low=0.38, bounds_high=0.93, alike_low=0.0, alike_high=0.88)
    assert "; of all 75 % (0 to 88 %), if those" in bare(
        lasting._held_words(none, bounds, Estimate(0.75, 0.0, 0.88, 9, 9, 9.0))
    )
    whole = lasted(n_seen=100, bounds_low=0.66, bounds_high=0.89)
    assert bare(lasting._held_words(whole, Bounds(0.8, 0.8, 0.66, 0.89), None)) == (
        "Tilt: 100 of 100 knees were found again, and 80 % held (66 to 89 %). It held for most."
    )


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (0.51, 0.9, "It held for most, whatever became of the others."),
        (0.1, 0.49, "It did not hold for most, whatever became of the others."),
        (0.5, 0.9, "Whether it held for most cannot be told."),
        (0.1, 0.5, "Whether it held for most cannot be told."),
    ],
)
def test_most_is_more_than_half_by_both_ends_of_the_bounds(low: float, high: float, told: str) -> None:
    assert lasting.for_most(lasted(bounds_low=low, bounds_high=high)) == told


def test_a_change_until_the_follow_up_is_claimed_only_where_it_is_sure() -> None:
    mean = Estimate(-0.4, -0.7, -0.1, 60, 30, 60.0)
    assert bare(lasting._change_words(lasted(), mean, is_sure=True)) == (
        "In knees found again distance from neutral changed by −0.40° (−0.70 to −0.10°) on average from the fit's departure "
        "to the "
        "follow-up's arrival."
    )
    assert bare(lasting._change_words(LastingRow("sway", "mm", 9, 9, 9), mean, is_sure=False)).startswith(
        "No clear change in sway from the fit's departure to the follow-up's arrival in knees found again, −0.40 mm (−0.70 to"
    )


def test_what_was_said_is_told_with_quartiles_and_what_the_unasked_leave_open() -> None:
    row = SaidRow(
        "pain", 30, 2.0, 1.0, 3.5, "", 20, 50, 2.26, bounds_low_points=0.9, bounds_high_points=5.9, alike_points=2.4,
        alike_low_points=1.8, alike_high_points=3.1,
    )  # fmt: skip
    bounds = Bounds(1.35, 5.36, 0.9, 5.9)
    words = lasting._said_words(row, bounds)
    assert words == (
        "Pain at the follow-up, told of 30 of 50 fits: median 2 of 10, the middle half from 1 to 3.5, mean 2.3. The other 20 "
        "are not "
        "seen: over all fits the mean lies between 1.4 and 5.4, whatever they would have said (0.9 to 5.9 with chance). It "
        "is 2.4 "
        "(1.8 to 3.1) if they are as those who were alike when they left."
    )
    plain = SaidRow("satisfaction", 50, 8.0, 7.0, 9.0, "", 20, 50, 8.0)
    assert lasting._said_words(plain, bounds) == (
        "Satisfaction at the follow-up, told of 50 of 50 fits: median 8 of 10, the middle half from 7 to 9, mean 8.0."
    )


def group(**columns: list[float]) -> Any:
    rows = {name: np.array(values) for name, values in columns.items()}
    return returns._Group(None, None, rows)


def test_a_rate_is_told_by_its_own_sentence_with_its_days_and_counts() -> None:
    """Wilson's interval of 15 of 20 is 0.531 to 0.888, by his formula."""
    events, rider = np.repeat([1, 0], [15, 5]), np.arange(20)
    told = {
        figure: bare(returns._share(group(), figure, noun, events, rider, SETTINGS).words)
        for figure, noun in (("booked_same_day", "fit"), ("booked", "fit"), ("return_rate", "fit"), ("held", "fit"))
    }
    assert told == {
        "booked_same_day": "75 % of fits had a follow-up booked on the day (53 to 89 %; 20 fits).",
        "booked": "75 % of fits had a follow-up booked within 14 days (53 to 89 %; 20 fits).",
        "return_rate": "75 % of fits were seen again within 120 days (53 to 89 %; 20 fits whose window has closed).",
        "held": "Of 20 fits measured again 75 % held (53 to 89 %).",
    }
    for code, part in (("all", "the whole setup"), ("some", "a part of the setup"), ("none", "nothing of the setup")):
        words = returns._share(group(), f"setup_kept_{code}", "follow-up", events, rider, SETTINGS).words
        assert bare(words) == f"At 75 % of follow-ups {part} was still in use (53 to 89 %; 20 follow-ups)."
    few = returns._share(group(), "return_rate", "fit", events[:2], rider[:2], SETTINGS)
    assert (few.words, few.estimate, few.n, few.n_riders) == ("Came back: not enough yet, 2 fits.", None, 2, 2)


def test_calls_are_counted_by_why_and_say_since_when() -> None:
    today = date(2026, 7, 1)
    n = {"over": 2, "due": 0, "not_booked": 1, "booked": 1}
    assert calls._headline(n, today) == (
        "3 calls today, 1 Jul 2026: 2 with a follow-up over, 1 without a booking. 1 follow-up booked ahead."
    )
    none = {"over": 0, "due": 0, "not_booked": 0, "booked": 4}
    assert calls._headline(none, today) == "No calls today, 1 Jul 2026. 4 follow-ups booked ahead."
    assert calls._headline({**none, "due": 1}, today).startswith("1 call today, 1 Jul 2026: 1 due today. 4")
    row = {"state": "over", "due_on": date(2026, 6, 30), "since": date(2026, 6, 30)}
    assert calls._why(row, 1) == "The follow-up was due on 30 Jun 2026, 1 day ago."
    assert calls._why({**row, "state": "not_booked"}, 1_200) == "No follow-up was booked by 30 Jun 2026, 1,200 days ago."
    assert calls._why({**row, "state": "due"}, 0) == "The follow-up is due today."
