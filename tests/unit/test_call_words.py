"""Whom to call, what settles a call, whether calling went along with coming, and what lasted: by entries and counts."""

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN
from dashboard.questions.returns import calling, calls, lasting
from dashboard.questions.returns.calls_marked import MARKS, Mark, mark_of
from dashboard.questions.returns.held import held_rows, held_words
from dashboard.questions.selection.scope import Scope
from shared.logbook.entries import Entry, Event
from shared.settings import Settings
from tests.unit.test_studio_words import bare

TODAY = date(2026, 7, 1)


def call(*said: tuple[str, str, date | None], key: str = "S1") -> Entry:
    """A call of which so much was said: when, what, and until which day."""
    events = tuple(Event(number, f"{on}T08:00:00Z", "anna", state, day) for number, (on, state, day) in enumerate(said, 1))
    return Entry("C-1", "call", "rider_follow_up", key, "", events[0].at, "anna", events)


@pytest.mark.parametrize(
    ("state", "day", "mark", "until", "is_settled", "words"),
    [
        ("called", date(2026, 6, 18), "called", None, True, "called on 18 Jun 2026, noted by anna"),
        ("called", date(2026, 6, 17), "called", None, False,
         "called on 17 Jun 2026, no booking loaded since, noted by anna"),
        ("booked", TODAY, "booked", TODAY, True, "booked for 1 Jul 2026, noted by anna"),
        ("booked", date(2026, 6, 30), "booked", date(2026, 6, 30), False,
         "booked for 30 Jun 2026, no visit loaded since, noted by anna"),
        ("again", date(2026, 7, 2), "again", date(2026, 7, 2), True,
         "to be called again on 2 Jul 2026, noted by anna"),
        ("again", TODAY, "again", TODAY, False, "to be called again on 1 Jul 2026, noted by anna"),
        ("declined", date(2020, 1, 1), "declined", None, True,
         "does not want a follow-up, said on 1 Jan 2020, noted by anna"),
    ],
)  # fmt: skip
def test_a_mark_settles_a_call_until_its_day(
    state: str, day: date, mark: str, until: date | None, is_settled: bool, words: str
) -> None:
    """With fourteen days until a rider who was called is called again."""
    assert mark_of(call(("2026-06-01", state, day)), TODAY, 14) == Mark(mark, until, words, is_settled)


def test_what_was_taken_back_or_never_said_is_no_mark() -> None:
    assert mark_of(None, TODAY, 14) is None
    assert mark_of(call(("2026-06-01", "called", TODAY), ("2026-06-02", "waiting", None)), TODAY, 14) is None
    assert mark_of(call(("2026-06-01", "done", TODAY)), TODAY, 14) is None
    assert MARKS == {
        "called": "called", "booked": "booked for", "declined": "does not want", "again": "try again on",
        "waiting": "back on the list",
    }  # fmt: skip


def test_how_a_fit_felt_is_told_where_it_was_rated_at_both_ends() -> None:
    row = {"comfort_arrival": 4.0, "comfort_departure": 7.5}
    assert calls._last_result(row) == "comfort 4, then 7.5"
    for name in row:
        assert calls._last_result({**row, name: None}) == "comfort not recorded"


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((18, 20, 5, 20), "65 points more (35 to 81)"),
        ((5, 20, 18, 20), "65 points fewer (35 to 81)"),
        ((11, 20, 10, 20), "no clear difference (−24 to 33 points)"),
    ],
)
def test_coming_after_a_call_is_told_by_the_interval_of_both_shares(counts: tuple[int, int, int, int], words: str) -> None:
    """Wilson's intervals by his formula: 18 of 20 is 0.699 to 0.972, 5 of 20 0.112 to 0.469, 11 of 20 0.342 to 0.742, 10 of 20
    0.299 to 0.701; Newcombe's of 0.65 is 0.65 − √(0.201² + 0.219²) to 0.65 + √(0.072² + 0.138²), that of 0.05 −0.24 to 0.33."""
    assert bare(calling._apart(counts, 0.95)) == words


@pytest.mark.parametrize("state", ["called", "booked", "declined", "again"])
def test_who_was_spoken_to_from_the_day_on_the_list_to_the_landmark_was_called(state: str) -> None:
    """Ten on the list from 1 May: six called on that day or a week on, four the day before, after it or never."""
    since, landmark = date(2026, 5, 1), date(2026, 5, 8)
    called_on = [since] * 3 + [landmark] * 3 + [since - timedelta(1), landmark + timedelta(1)]
    said = [call((f"{day}", state, None), key=f"S{number}") for number, day in enumerate(called_on)]
    rows = [
        {"session_id": f"S{number}", "since": since, "landmark": landmark, "has_come": number in {0, 1, 2, 6}}
        for number in range(10)
    ]
    warehouse = cast(Any, SimpleNamespace(rows=lambda *_, **__: rows))
    scope = cast(Scope, SimpleNamespace(parameters={}, as_of=TODAY))
    own = Settings.model_validate({"minimum": {"rows_shown": 4}, "follow_up": {"returned_within_days": 120}})
    words = bare(calling.calling_words(warehouse, scope, own, said))
    assert words.startswith(
        "Of 6 riders called within 7 days of coming on this list 50 % came in the 120 days after these, of 4 not called until "
        "then 25 %: no clear difference ("
    )
    assert words.endswith(" points). " + calling._CAUTION)
    fewer = Settings.model_validate({"minimum": {"rows_shown": 5}})
    assert calling.calling_words(warehouse, scope, fewer, said) == ""
    taken_back = [call(("2026-05-01", "waiting", None))]
    assert calling.calling_words(warehouse, scope, own, taken_back) == calling.calling_words(warehouse, scope, own, []) == ""


def test_without_a_smallest_real_change_no_fit_is_told_to_have_held() -> None:
    ends = np.repeat([BECAME.index(end) for end in (NOT_MEASURED, NOT_SEEN)], [30, 10]).astype(np.int8)
    why = "there are too few repeat captures yet."
    rows = {row.became: row for row in held_rows(ends, np.arange(40), Settings(), why)}
    assert rows[HELD].words == f"How many fits held is not told: {why}"
    assert rows[NOT_HELD].words == f"How many fits did not hold is not told: {why}"
    assert bare(rows[NOT_MEASURED].words).startswith("30 of 40 fits were seen again: 75 % (")
    assert bare(rows[NOT_SEEN].words).startswith("10 of 40 fits were not seen again: 25 % (")
    assert [rows[end].share for end in (HELD, NOT_HELD)] == [None, None]
    own = Settings.model_validate({"follow_up": {"returned_within_days": 120}})
    assert held_words(list(rows.values()), own, why) == (
        f"Of 40 fits whose 120 days are over 30 were seen again and 10 were not. Whether they held is not told: {why}"
    )


@pytest.mark.parametrize(("shift", "is_sure"), [(0.8, False), (0.95, True), (-0.8, False), (-0.95, True)])
def test_of_two_changes_each_is_sure_where_half_the_chance_of_an_error_would_do(shift: float, is_sure: bool) -> None:
    """Ten riders, five a degree over the mean and five below: by t on nine degrees of freedom 95 % reach 0.754, 97.5 % 0.895 to
    either side."""
    change = shift + np.array([1.0, -1.0] * 5)
    knees = {"rider": np.arange(10), "fit_no": np.arange(10)}
    noise = SimpleNamespace(mdc95=None, unit="deg", words="No noise is known.")
    row = lasting._lasting("tilt", knees, np.ones(10, bool), change, cast(Any, None), cast(Any, noise), Settings())
    assert row.words.startswith("In knees found again distance" if is_sure else "No clear change in distance from neutral")
    assert row.words.endswith(". No noise is known.")
    assert (row.mean_change, row.mean_change_high) == (pytest.approx(shift), pytest.approx(shift + 0.754, abs=1e-3))
