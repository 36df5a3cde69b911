"""What a period, a goal, a chart and a rating are counted from, and what is told where there is nothing, set by hand."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from dashboard.questions.data.fitter_noise import FitterNoise
from dashboard.questions.selection.levels import Levels
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import Span
from dashboard.questions.studio import (
    beside,
    goals,
    headline_figures,
    periods,
    ratings,
    studio,
    studios,
    trends,
    trends_charted,
    trends_fits,
)
from dashboard.questions.studio.answers_trends import GoalRow, TrendRow
from dashboard.questions.studio.period_words import headline_of
from shared.errors import TooFewError
from shared.logbook.entries import Entry, Event
from shared.settings import Settings
from shared.statistics.goals import reach
from tests.unit.test_studio_words import JUNE, JUNES, bare, change, made, rated

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})


@pytest.mark.parametrize(
    ("figure", "higher"),
    [
        ("comfort_gained", "better"),
        ("side_difference_left", "worse"),
        ("return_rate", "better"),
        ("knees_better", "better"),
        ("booked", "better"),
        ("repeat_capture", "better"),
        ("captures_per_fit", "no clear change"),
    ],
)
def test_which_way_of_each_figure_is_better(figure: str, higher: str) -> None:
    lower = {"better": "worse", "worse": "better"}.get(higher, higher)
    assert [headline_figures.judged(figure, way) for way in (1, -1, 0)] == [higher, lower, "no clear change"]


GOAL = GoalRow("return_rate", "share", 0.75, None, "olga", "2025-07-02", "misses it", date(2026, 5, 1), 12, 0.6, 0.55, 0.68, "")
TODAY = date(2026, 7, 1)


@pytest.mark.parametrize(
    ("changed", "why", "words"),
    [
        ({}, "", "Goal 75 % or more: misses it. Nearly every month since May 2026 lies at 55 to 68 %."),
        ({"figure": "side_difference_left", "verdict": "reaches it"}, "",
         "Goal 75 % or less: reaches it. Nearly every month since May 2026 lies at 55 to 68 %."),
        ({"figure": "comfort_gained", "unit": "points", "goal": 2.5, "low": -0.25, "high": 1.84}, "",
         "Goal 2.5 points or more: misses it. Nearly every month since May 2026 lies at −0.2 to 1.8 points."),
        ({"valid_from": date(2026, 7, 2)}, "",
         "Goal 75 % or more from 2 July 2026 on: misses it. Nearly every month since May 2026 lies at 55 to 68 %."),
        ({"valid_from": TODAY}, "", "Goal 75 % or more: misses it. Nearly every month since May 2026 lies at 55 to 68 %."),
        ({"low": None, "verdict": "not enough yet"}, "not enough yet, 2 of 6.", "Goal 75 % or more: not enough yet; 2 of 6."),
        ({"high": None, "verdict": "not enough yet"}, "", "Goal 75 % or more: not enough yet."),
    ],
)  # fmt: skip
def test_a_goal_is_told_with_the_ends_of_its_process(changed: dict[str, Any], why: str, words: str) -> None:
    row = replace(GOAL, **changed)
    assert bare(goals._words(row, "month", why, TODAY)) == words


def test_goals_are_told_together_by_verdict_the_many_as_the_others() -> None:
    def told(*verdicts: str) -> str:
        figures = headline_figures.HEADLINE
        return goals.told_together(
            replace(GOAL, figure=figure, verdict=v) for figure, v in zip(figures, verdicts, strict=False)
        )

    assert told() == ""
    assert told("misses it") == "Goals. Misses it: Comfort gained."
    assert told("misses it", "reaches it", "reaches it") == "Goals. Misses it: Comfort gained. Reaches it: the others."
    assert told("misses it", "misses it") == "Goals. Misses it: all."
    assert goals.named(replace(GOAL, words="Goal 75 % or more: misses it.")) == (
        "Fits seen again in time, goal 75 % or more: misses it."
    )


def entry(number: int, day: date, key: str = "opening") -> Entry:
    event = Event(1, "2026-07-03T08:00:00Z", "olga", "open", day, text=f"note {number}")
    return Entry(f"N-{number}", "note", "period", key, "", event.at, event.by, (event,))


def test_the_newest_twelve_notes_stand_on_a_chart_in_their_months() -> None:
    written = [entry(number, date(2026, 1, number)) for number in range(1, 15)]
    told = trends_fits.notes_of(Settings().trends, written)
    assert [row.words for row in told] == [f"note {number}" for number in range(3, 15)]
    assert {row.period for row in told} == {date(2026, 1, 1)}
    assert [row.freezes for row in trends_fits.notes_of(Settings().trends, [entry(1, TODAY, "limits"), entry(2, TODAY)])] == [
        True, False,
    ]  # fmt: skip


def test_limits_are_frozen_anew_from_the_last_note_that_says_so_for_as_many_periods() -> None:
    own = Settings.model_validate({"trends": {"base_periods": 6}}).trends
    written = [entry(1, date(2026, 1, 9), "limits"), entry(2, date(2026, 2, 9), "limits"), entry(3, date(2026, 5, 9))]
    found = trends_fits.frozen_anew(own, written)
    assert (found.base_from, found.base_to) == (date(2026, 2, 9), date(2026, 7, 1))
    assert trends_fits.frozen_anew(own, written[2:]) is own


@pytest.mark.parametrize(
    ("dates", "base"),
    [
        ({"base_periods": 2}, [1, 3]),
        ({"base_periods": 2, "base_from": "2026-03-20"}, [3, 4, 5]),
        ({"base_periods": 2, "base_to": "2026-04-01"}, [1, 3, 4]),
        ({"base_from": "2026-03-31", "base_to": "2026-04-01"}, [3, 4]),
    ],
)
def test_a_base_is_the_first_periods_with_a_figure_or_those_between_its_dates(dates: dict[str, Any], base: list[int]) -> None:
    """January to May 2026, none in February; January 2026 is the month 12 · 56 since 1970."""
    calendar, enough = 12 * 56 + np.arange(5), np.array([True, False, True, True, True])
    own = Settings.model_validate({"trends": dates}).trends
    assert (np.flatnonzero(trends_charted._base(calendar, enough, own)) + 1).tolist() == base


def test_a_figure_of_nothing_is_told_as_nothing() -> None:
    """None of 50 is 0 %, not the figure of another row."""
    rows = [replace(change("return_rate", "before", None, "not enough yet"), estimate=0.0)]
    assert bare(headline_of(rows, JUNES)).endswith("Fits seen again in time 0 %.")


def test_a_period_needs_a_day_at_either_end() -> None:
    scope = cast(Scope, SimpleNamespace(as_of=TODAY))
    assert periods._this_span([made("return_rate", "share", [1.0])], Selection(), scope) == Span(date(2026, 6, 1), TODAY)
    for figures, of in (([made("return_rate", "share", [])], scope), ([], cast(Scope, SimpleNamespace(as_of=None)))):
        with pytest.raises(TooFewError, match="no fit of this selection has a figure"):
            periods._this_span(figures or [made("return_rate", "share", [1.0])], Selection(), of)


def test_the_period_itself_is_told_of_what_is_selected_and_earlier_ones_of_everything() -> None:
    """Of this June one of two was seen again, by what is selected; May holds none of the rows, which all lie in June."""
    everything, present = made("return_rate", "share", [1.0, 1.0, 1.0]), made("return_rate", "share", [1.0, 0.0])
    spans = {"this": JUNE, "before": JUNES["before"], "year_before": JUNE}
    rows = list(periods._period_rows(everything, present, spans, FEW))
    assert [(row.which, row.n, row.estimate, row.n_riders) for row in rows] == [
        ("this", 2, 0.5, 2), ("before", 0, None, 0), ("year_before", 3, 1.0, 3),
    ]  # fmt: skip


def test_studios_too_small_to_compare_say_how_many_each_has() -> None:
    one = made("return_rate", "share", [1.0, 0.0, 1.0])
    row = studios._between(one, np.array([True, False, False]), ("quay", "mill"), Settings())
    assert row.words == "Fits seen again in time: not enough yet to compare. 1 fit at quay, 2 fits at mill."
    refused = replace(one, refusal="follow-ups are not recorded.")
    assert studios._between(refused, np.ones(3, bool), ("quay", "mill"), Settings()).words == (
        "Fits seen again in time: follow-ups are not recorded."
    )


def test_a_knee_at_the_smallest_real_change_itself_is_neither_better_nor_worse() -> None:
    noise = cast(FitterNoise, SimpleNamespace(mdc95=0.5, limits=lambda fitter: np.full(len(fitter), 0.5)))
    knees = {"nearer_neutral_deg": np.array([0.5, 0.51, -0.5, -0.51, 0.0]), "fitter": np.zeros(5, int),
             "rider": np.arange(5), "day": np.full(5, np.datetime64("2026-06-01"))}  # fmt: skip
    warehouse = cast(Any, SimpleNamespace(arrays=lambda *_, **__: knees))
    found = studio._knees(warehouse, cast(Scope, SimpleNamespace(parameters={})), noise, None)
    assert found.values.tolist() == [0, 1, 0, 0, 0]
    assert [found.hits(outcome).tolist() for outcome in ("worse", "no_clear_change")] == [[0, 0, 0, 1, 0], [1, 0, 1, 0, 1]]


def test_knees_without_a_smallest_real_change_tell_why_and_count_knees() -> None:
    row = SimpleNamespace(words="Typical error of tilt: not enough yet, 3 repeat pairs.")
    noise = cast(FitterNoise, SimpleNamespace(mdc95=None, row=row))
    found = studio._knees(cast(Any, None), cast(Scope, SimpleNamespace(recorded=Recorded())), noise, None)
    told = studio._figure(found, Settings())
    assert (told.words, told.counted) == ("Knees better at departure: not enough yet, 3 repeat pairs.", "knee")


def test_ratings_of_a_follow_up_that_nobody_records_say_so() -> None:
    rows = [rated([2.0] * 10), replace(rated([2.0] * 10), to_moment="departure")]
    absent, told = ratings._if_recorded(rows, Recorded(frozenset({"follow_ups"})))
    assert told is rows[1]
    assert absent.words.startswith("Comfort, riding gravel, from departure to follow-up: not recorded")
    assert ratings._if_recorded(rows, Recorded()) == tuple(rows)


def test_a_fit_belongs_to_the_level_of_either_foot() -> None:
    """Fits 4, 7 and 9: low and low, low and high, high and high. Two of them are of each level."""
    levels = cast(Levels, SimpleNamespace(
        fit_no=np.array([4, 7, 9]), number=np.array([[0, 0], [0, 1], [1, 1]], order="F"), names=("low", "high")
    ))  # fmt: skip
    pairs = {"fit_no": np.array([9, 4, 7]), "rider": np.arange(3), "part": np.zeros(3, int), "before": np.array([1.0, 2, 3]),
             "after": np.array([2.0, 4, 6])}  # fmt: skip
    both = {("comfort", ("arrival", "departure")): pairs}
    low, high = ratings._by_level(cast(Any, both), levels, "arch_height", FEW)
    assert [(row.level, row.n_pairs, row.mean_change_points) for row in (low, high)] == [("low", 2, 2.5), ("high", 2, 2.0)]


def month(number: int, estimate: float | None, *, is_partial: bool = False) -> TrendRow:
    """Forty rows in a month of 2026."""
    return TrendRow(
        "return_rate", "share", "fit", date(2026, number, 1), 40, estimate, None, None, None, False, False, is_partial, "", ""
    )


def test_a_goal_is_held_against_the_periods_since_the_figure_moved_and_against_all_since_the_base_where_it_did_not() -> None:
    """A step in April, months since 1970; the last month is not over."""
    rows = [month(number, 0.5, is_partial=number == 6) for number in range(1, 7)]
    series = SimpleNamespace(periods=12 * 56 + np.arange(6), base=np.array([False, True, True, False, False, False]))

    def since(has_moved: bool, step: Any) -> list[int]:
        chart: Any = SimpleNamespace(step=step, has_moved=has_moved, series=series)
        return [row.period.month for row in goals._own_periods(chart, rows, "month")]

    april = SimpleNamespace(first=12 * 56 + 3)
    assert since(True, april) == [4, 5]
    assert since(False, april) == since(False, None) == [2, 3, 4, 5]


def test_a_share_that_never_changes_is_as_sure_as_its_rows_whether_a_month_is_missing_or_not() -> None:
    """Half of forty rows in each of two months: (40 + 2)/(80 + 4) is a half, and √(1/4/40) the error of a month."""
    for rows in ([month(1, 0.5), month(2, 0.5)], [month(1, 0.5), month(2, None), month(3, 0.5)]):
        process = goals._process(rows, "share", 1.0, 2)
        assert (process.centre, process.n) == (0.5, 2)
        assert process.high - process.centre == pytest.approx(reach(2) * (0.25 / 40) ** 0.5)
    assert goals._process([month(1, 0.5), month(2, 0.5)], "points", 1.0, 2).high == 0.5


def test_what_stands_beside_a_move_is_told_here_and_in_the_base_period() -> None:
    assert [(name, unit, words.format(here="1.00°", base="2.00°")) for name, unit, _, words in beside._FIGURES] == [
        ("tilt_arrival", "deg", "Knees arrived 1.00° from neutral, 2.00° in the base period."),
        ("sway_arrival", "mm", "Knees arrived with a sway of 1.00°, 2.00° in the base period."),
        ("first_fits", "share", "1.00° of fits were first fits, 2.00° in the base period."),
        ("typical_error_tilt", "deg", "The typical error of a knee's tilt was 1.00°, 2.00° in the base period."),
    ]


@pytest.mark.parametrize(("every", "periods"), [("month", 60), ("quarter", 20), ("week", 261)])
def test_a_base_of_five_years_is_as_long_in_other_periods(every: str, periods: int) -> None:
    """Five years are 60 months, 20 quarters, and 5 · 365.25/7 = 260.9 weeks."""
    own = Settings.model_validate({"trends": {"base_periods": 60, "base_minimum": 6}})
    found = trends._settings_by_period(own, (every,)).trends
    assert (found.every, found.base_periods) == (every, periods)
    assert trends._base_in_time(own, 12 * 56).trends.base_to == date(2030, 12, 1)
    dated = Settings.model_validate({"trends": {"base_to": "2026-03-01"}})
    assert trends._base_in_time(dated, 12 * 56) is dated
