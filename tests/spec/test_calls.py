"""Whom to call, on eleven fits small enough to follow by hand. The data's last date is 28 June 2026."""

from datetime import date

import pytest

from dashboard.questions.returns import calls
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.selection.selection import parse_selection
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import fill

# A fit without a booking is called about from 7 days on, for 90 more.
SETTINGS = Settings.model_validate({"follow_up": {"called_for_days": 90}})
# R5 of S5 comes again at S11; S7 is a follow-up visit, which asks for none.
SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
S1  | R1 | F1 | q | 2026-04-01 | first
S2  | R2 | F1 | q | 2026-04-01 | first
S3  | R3 | F2 | w | 2026-04-15 | first
S4  | R4 | F1 | q | 2026-01-10 | first
S5  | R5 | F1 | q | 2026-04-20 | first
S6  | R6 | F1 | q | 2026-04-01 | refit
S7  | R1 | F1 | q | 2026-04-15 | follow_up
S9  | R8 | F2 | w | 2026-06-10 | first
S10 | R9 | F1 | q | 2026-06-25 | first
S11 | R5 | F1 | q | 2026-06-20 | refit
S12 | R7 | F1 | q | 2026-06-28 | first
"""
# S1 came; S2 missed, none open; S6 open since 20 April; S9 due on 1 July; S10 booked ahead, twice. S3, S4, S5, S11, S12: none.
FOLLOW_UPS = """
follow_up_id | session_id | booked_on | due_on | state | attended_on
B1 | S1  | 2026-04-01 | 2026-04-15 | attended | 2026-04-15
B2 | S2  | 2026-04-01 | 2026-04-15 | missed   | -
B3 | S6  | 2026-04-10 | 2026-04-20 | open     | -
B4 | S9  | 2026-06-10 | 2026-07-01 | open     | -
B5 | S10 | 2026-06-25 | 2026-07-20 | open     | -
B6 | S10 | 2026-06-26 | 2026-07-09 | open     | -
"""


@pytest.fixture
def studio(memory: Warehouse) -> Warehouse:
    fill(
        memory,
        riders="rider_id\n" + "\n".join(f"R{n}" for n in range(1, 10)),
        fitters="fitter_id | fitter_name\nF1 | Alder\nF2 | Birch",
        fit_sessions=SESSIONS,
        follow_ups=FOLLOW_UPS,
    )
    return memory


def asked(warehouse: Warehouse, today: date | None, **words: str) -> Calls:
    return calls.ask(warehouse, parse_selection(words), SETTINGS, today)


def test_due_over_and_not_booked_stand_in_one_list_longest_over_first(studio: Warehouse) -> None:
    answer = asked(studio, date(2026, 7, 1))
    assert [(row.rider_id, row.state, row.days_over, row.due_on, row.follow_up_id) for row in answer.calls] == [
        ("R6", "over", (date(2026, 7, 1) - date(2026, 4, 20)).days, date(2026, 4, 20), "B3"),
        ("R3", "not_booked", (date(2026, 7, 1) - date(2026, 4, 22)).days, None, None),
        ("R5", "not_booked", (date(2026, 7, 1) - date(2026, 6, 27)).days, None, None),
        ("R8", "due", 0, date(2026, 7, 1), "B4"),
    ]
    assert [row.words for row in answer.calls][::3] == [
        "The follow-up was due on 20 Apr 2026, 72 days ago.", "The follow-up is due today."
    ]  # fmt: skip
    assert answer.calls[2].words == "No follow-up was booked by 27 Jun 2026, 4 days ago."
    assert answer.headline == (
        "4 calls today, 1 Jul 2026: 1 with a follow-up over, 1 due today, 2 without a booking. 1 follow-up booked ahead."
    )


def test_every_fit_that_asks_for_a_follow_up_stands_in_one_state(studio: Warehouse) -> None:
    answer = asked(studio, date(2026, 7, 1))
    # S4: 17 January and 90 days are past; S5 was never booked, and its rider has come since; S12 may be booked until 5 July.
    assert {row.state: row.n_fits for row in answer.states} == {
        "over": 1, "due": 1, "not_booked": 2, "booked": 1, "to_book": 1, "came": 1, "closed": 1, "later": 1, "left_off": 1
    }  # fmt: skip
    # Of two open bookings of one fit the earlier one counts.
    assert [(row.rider_id, row.due_on, row.days_ahead, row.follow_up_id) for row in answer.booked] == [
        ("R9", date(2026, 7, 9), 8, "B6")
    ]


def test_a_booking_of_today_is_due_and_one_of_yesterday_is_over(studio: Warehouse) -> None:
    states = {day: {row.rider_id: row.state for row in asked(studio, date(2026, 7, day)).calls} for day in (1, 2)}
    assert (states[1]["R8"], states[2]["R8"]) == ("due", "over")
    assert "R8" not in {row.rider_id for row in asked(studio, None).calls}  # the data end on 28 June
    assert asked(studio, date(2026, 5, 1)).today == date(2026, 6, 28)  # a clock behind the data


def test_the_selection_bounds_the_list_and_no_call_is_a_sentence(studio: Warehouse) -> None:
    assert [row.rider_id for row in asked(studio, date(2026, 7, 1), studio="w").calls] == ["R3", "R8"]
    none = asked(studio, date(2026, 7, 1), rider="R1")
    assert (none.calls, none.headline) == ((), "No calls today, 1 Jul 2026. 0 follow-ups booked ahead.")
    assert none.to_csv() == ""
