"""The trends question on two fits a month: January to July 2026, none in April, one in August."""

from datetime import date

import numpy as np
import pytest

from dashboard.questions.selection.calendar import first_day, period_of, spoken_period
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio import trends
from dashboard.questions.studio.answers_trends import TrendRow, Trends
from shared.errors import UsageError
from shared.settings import Settings
from shared.statistics.change_point import chance_of_step
from shared.warehouse import Warehouse
from tests.spec.tables import fill

# So few months tell little: a false alarm may be frequent here.
SHORT = {"base_periods": 3, "base_minimum": 3, "false_alarm": 0.49}
NOTED = {"notes": [{"on": "2026-05-20", "words": "bookings at the desk"}]}
# Month, comfort gained by both of its fits, whether both, one or none of them was booked on the day, fitter.
MONTHS = ((1, 1, 1, "F1"), (2, 2, 1, "F1"), (3, 3, 0, "F1"), (5, 5, 2, "F2"), (6, 7, 2, "F2"), (7, 9, 2, "F1"))


def settings(**more: object) -> Settings:
    return Settings.model_validate({"minimum": {"rows_shown": 2}, "trends": {**SHORT, **more}})


def studio(memory: Warehouse) -> Warehouse:
    sessions, captures, setups, ratings, bookings = [], [], [], [], []
    for month, gained, booked, fitter in [*MONTHS, (8, 4, 0, "F1")]:
        for at in range(1 if month == 8 else 2):
            session = f"S{month}{at}"
            sessions.append(f"{session} | R{len(sessions)} | {fitter} | q | 2026-0{month}-1{at} | first")
            captures += [f"{session} | 1 | left | {month} | 12", f"{session} | 2 | left | {month - 0.1 * at:.1f} | 12"]
            setups += [f"{session} | 1 | left | none | 0 | 0", f"{session} | 2 | left | {'none' if at else 'low'} | 0 | 0"]
            ratings += [f"{session} | 1 | comfort | whole | 0", f"{session} | 2 | comfort | whole | {gained}"]
            if at < booked:
                bookings.append(f"B{session} | {session} | 2026-0{month}-1{at} | 2026-0{month}-25 | open")
    fill(
        memory,
        riders="rider_id\n" + "\n".join(f"R{n}" for n in range(len(sessions))),
        fitters="fitter_id | fitter_name\nF1 | Alder\nF2 | Birch",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        knee_captures="session_id | capture_no | side | knee_tilt_deg | knee_sway_mm\n" + "\n".join(captures),
        foot_setups="session_id | capture_no | side | insole_level | shims_added | stance_mm\n" + "\n".join(setups),
        rider_ratings="session_id | capture_no | topic | body_part | score\n" + "\n".join(ratings),
        follow_ups="follow_up_id | session_id | booked_on | due_on | state\n" + "\n".join(bookings),
    )
    return memory


def rows(answer: Trends, figure: str) -> dict[int, TrendRow]:
    return {row.period.month: row for row in answer.trend if row.figure == figure}


def test_means_are_charted_with_limits_frozen_from_the_base(memory: Warehouse) -> None:
    comfort = rows(trends.ask(studio(memory), Selection(), settings()), "comfort_gained")
    assert [row.estimate for row in comfort.values()] == [1, 2, 3, None, 5, 7, 9, None]
    assert [row.n for row in comfort.values()] == [2, 2, 2, 0, 2, 2, 2, 1]
    assert [month for month, row in comfort.items() if row.in_base] == [1, 2, 3]
    # Base 1, 2, 3: mean 2, moving ranges 1 and 1.
    assert (comfort[6].centre, comfort[6].limit_low, comfort[6].limit_high) == pytest.approx((2, 2 - 2.66, 2 + 2.66))


def test_a_gap_stays_a_gap_and_a_month_with_few_fits_is_marked(memory: Warehouse) -> None:
    comfort = rows(trends.ask(studio(memory), Selection(), settings()), "comfort_gained")
    assert [month for month, row in comfort.items() if row.is_few] == [4, 8]
    assert (comfort[4].limit_low, comfort[4].signals) == (None, "")
    assert [month for month, row in comfort.items() if row.is_partial] == [8]  # data end on 10 August


def test_a_step_after_the_base_is_told_with_its_means_and_its_chance(memory: Warehouse) -> None:
    """Two fits a month: 1 2 3, then 5 7 9. The largest step is that after the base, from 2 to 7. By periods, squares about both
    means are 2 * (2 + 8) on 6 - 2; by riders, of whom each has one fit, those about the mean of all, 4.5, are 95."""
    answer = trends.ask(studio(memory), Selection(), settings())
    [chart] = [chart for chart in answer.charts if chart.figure == "comfort_gained"]
    by_periods, by_riders = 5 / (20 / 4 * (1 / 6 + 1 / 6)) ** 0.5, 5 / (95**0.5 / 6)
    shares = np.array([6, 8, 10]) / 12
    assert chart.p_value == pytest.approx(max(chance_of_step(by_periods, shares, 4), chance_of_step(by_riders, shares, 10)))
    [signal] = [signal for signal in answer.signals if signal.figure == "comfort_gained"]
    assert (signal.rule, signal.direction, signal.period_from.month, signal.period_to.month) == ("step", "higher", 5, 7)
    assert (signal.n_periods, signal.mean, signal.before, signal.centre) == (3, 7, 2, 2)
    assert signal.words == (
        "Comfort gained: 7.0\N{NO-BREAK SPACE}points from about May 2026 on, 2.0\N{NO-BREAK SPACE}points before."
    )
    assert [month for month, row in rows(answer, "comfort_gained").items() if row.signals] == [5, 6, 7]
    assert chart.n_signals == 1 and chart.q_value < 0.49
    assert answer.headline.endswith(signal.words)


def test_what_moves_within_the_base_is_no_news(memory: Warehouse) -> None:
    """1 2 3 rise within the base, and the base may be all there is."""
    answer = trends.ask(studio(memory), Selection(), settings(base_periods=6))
    assert answer.signals == ()
    [chart] = [chart for chart in answer.charts if chart.figure == "comfort_gained"]
    assert (chart.p_value, chart.n_signals) == (None, 0)
    assert "was found to move" in answer.headline


def test_shares_are_charted_by_their_own_counts(memory: Warehouse) -> None:
    answer = trends.ask(studio(memory), Selection(), settings())
    booked = rows(answer, "booked")
    # Booked in January 1 of 2, February 1 of 2, March 0 of 2: p = 2/6; August's fit is less than 7 days old.
    assert [row.estimate for row in booked.values()] == [0.5, 0.5, 0, None, 1, 1, 1, None]
    assert booked[8].n == 0
    assert booked[5].centre == pytest.approx(2 / 6)
    assert (booked[5].limit_low, booked[5].limit_high) == (0, 1)  # 1/3 +- 3 sqrt(2/9/2) leaves the range
    [chart] = [chart for chart in answer.charts if chart.figure == "booked"]
    assert (chart.chart, chart.n_base, chart.design_effect) == ("p", 3, 1.0)
    assert rows(answer, "repeat_capture")[1].estimate == 0.5
    assert rows(answer, "captures_per_fit")[1].estimate == 2


def test_what_changed_stands_beside_a_signal(memory: Warehouse) -> None:
    answer = trends.ask(studio(memory), Selection(), settings())
    beside = {row.beside: row for row in answer.beside if (row.figure, row.rule) == ("comfort_gained", "step")}
    assert (beside["tilt_arrival"].base, beside["tilt_arrival"].here) == ((1 + 2 + 3) / 3, (5 + 6 + 7) / 3)
    assert (beside["sway_arrival"].base, beside["first_fits"].here) == (12, 1)
    # Base: F1 alone; May to July: F2 four of six.
    assert beside["fitter_mix"].here == pytest.approx(4 / 6)
    assert "widest step is F1, 100" in beside["fitter_mix"].words
    # Repeats of the second fit of each month, all with the same difference: no noise about its mean.
    assert beside["typical_error_tilt"].here == pytest.approx(0, abs=1e-6)


def test_the_base_and_the_notes_come_from_the_settings(memory: Warehouse) -> None:
    answer = trends.ask(studio(memory), Selection(), settings(base_from="2026-05-15", base_to="2026-07-01", **NOTED))
    comfort = rows(answer, "comfort_gained")
    assert [month for month, row in comfort.items() if row.in_base] == [5, 6, 7]
    assert comfort[1].centre == pytest.approx((5 + 7 + 9) / 3)
    assert comfort[5].note == "bookings at the desk"
    [note] = answer.notes
    assert (note.on, note.period) == (date(2026, 5, 20), date(2026, 5, 1))


def test_a_short_base_has_no_limits_and_says_so(memory: Warehouse) -> None:
    answer = trends.ask(
        studio(memory), Selection(), Settings.model_validate({"minimum": {"rows_shown": 2}, "trends": {"base_minimum": 9}})
    )
    [chart] = [chart for chart in answer.charts if chart.figure == "comfort_gained"]
    assert chart.words == "Comfort gained: not enough yet, 6 of the 9 months that a base needs."
    assert answer.signals == () and answer.beside == ()
    assert answer.headline.startswith("Not enough yet")


@pytest.mark.parametrize(("every", "n"), [("week", 32), ("quarter", 3)])
def test_weeks_and_quarters(memory: Warehouse, every: str, n: int) -> None:
    answer = trends.ask(studio(memory), Selection(), settings(every=every))
    # From the week of Monday 5 January to that of 10 August, and the quarters from January, April and July.
    assert len([row for row in answer.trend if row.figure == "comfort_gained"]) == n
    assert answer.every == every


@pytest.mark.parametrize(
    ("every", "day", "first"),
    [
        ("week", "2026-08-30", date(2026, 8, 24)),
        ("week", "2026-08-31", date(2026, 8, 31)),
        ("month", "2026-08-31", date(2026, 8, 1)),
        ("quarter", "2026-08-31", date(2026, 7, 1)),
        ("quarter", "1969-12-31", date(1969, 10, 1)),
    ],
)
def test_the_first_day_of_a_period(every: str, day: str, first: date) -> None:
    [period] = period_of(np.array([day], "datetime64[us]"), every).tolist()
    assert first_day(period, every) == first
    told = {"week": f"week of {first.day} {first:%b %Y}", "month": "August 2026", "quarter": f"of {first.year}"}[every]
    assert spoken_period(first, every).endswith(told)


def test_periods_are_asked_for_beside_the_selection(memory: Warehouse) -> None:
    """12 base months are 12 x 365.25 / 12 / 7 = 52 weeks from that of 5 January 2026, and 4 quarters, fewer than the 6 that a
    base needs: so much time, whether there is a figure in it or not."""
    warehouse, own = studio(memory), Settings()
    for every, last, periods in (("week", date(2026, 12, 28), 52), ("quarter", date(2027, 4, 1), 6)):
        changed = {"every": every, "base_to": last, "base_periods": periods}
        by = own.model_copy(update={"trends": own.trends.model_copy(update=changed)})
        asked = trends.ask(warehouse, Selection(), own, every=(every,))
        assert asked == trends.ask(warehouse, Selection(), by)
        assert asked.every == every
    assert trends.ask(warehouse, Selection(), own) == trends.ask(warehouse, Selection(), own, every=("month",))
    with pytest.raises(UsageError, match="every: found 'day', expected one of week, month, quarter"):
        trends.ask(warehouse, Selection(), own, every=("day",))


def test_quarters_are_told_by_their_numbers() -> None:
    told = [spoken_period(date(2026, month, 1), "quarter") for month in (1, 4, 7, 10)]
    assert told == [f"quarter {number} of 2026" for number in (1, 2, 3, 4)]
