"""Periods, levels, answers as CSV and the sentences on control charts, from what is set by hand."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboard.questions.selection import levels
from dashboard.questions.selection.answers import cells_to_csv, rows_to_csv
from dashboard.questions.selection.calendar import first_day, period_of, quarter_of, spoken_period
from dashboard.questions.selection.coded import CODES, code_sql, kinds
from dashboard.questions.selection.levels import count_riders, level_words, split_caution
from dashboard.questions.selection.numbers import (
    spoken,
    spoken_chance,
    spoken_p,
    spoken_percent_below,
    spoken_percents,
    spoken_points,
)
from dashboard.questions.selection.recorded import FIGURES, SPLIT_BY, Recorded, _is_held
from dashboard.questions.selection.scope import Scope, _words
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import Span, spoken_beside, spoken_span
from dashboard.questions.studio import trends
from dashboard.questions.studio.trends_news import news
from shared.errors import TooFewError
from tests.unit.made_answers import made_studio


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


def test_numbers_are_written_with_their_unit_and_a_zero_has_no_sign() -> None:
    assert [bare(spoken(*given)) for given in ((-0.26, 1, "°"), (-0.04, 1, "mm"), (12, 0, ""), (0.0, 2, "points"))] == [
        "−0.3°", "0.0 mm", "12", "0.00 points",
    ]  # fmt: skip
    assert (bare(spoken_percents(0.494, 0.555)), bare(spoken_points(-0.124))) == ("49 to 56 %", "−12 points")
    assert [bare(spoken_percent_below(share)) for share in (0.9999, 0.5, 0.1239)] == ["99.9 %", "50.0 %", "12.3 %"]
    assert [spoken_p(p) for p in (0.0009, 0.001, 0.0124)] == ["p < 0.001", "p = 0.001", "p = 0.012"]
    assert [bare(spoken_chance(p)) for p in (0.0009, 0.0124, 0.0999, 0.1, 0.126)] == [
        "less than once in 1,000 times", "in 1.2 % of cases", "in 10.0 % of cases", "in 10 % of cases", "in 13 % of cases",
    ]  # fmt: skip


def test_what_a_spreadsheet_would_run_is_text_and_a_number_stays_one() -> None:
    runs, stays = ["=1+1", "+49 30", "-x", "@a", "'=b"], ["-1.5", "+2e3", "plain"]
    told = rows_to_csv([{"words": value, "n": 1} for value in (*runs, *stays, "3,5")])
    assert told.split("\r\n") == [
        "words,n",
        *(f"'{value},1" for value in runs),
        *(f"{value},1" for value in stays),
        '"3,5",1',
        "",
    ]
    assert rows_to_csv([]) == ""
    assert cells_to_csv(["a", "a"], [[1, None]]) == "a,a\r\n1,\r\n"


@pytest.mark.parametrize(
    ("every", "first", "words"),
    [
        ("week", date(2026, 6, 29), "week of 29 Jun 2026"),
        ("month", date(2026, 7, 1), "July 2026"),
        ("quarter", date(2026, 7, 1), "quarter 3 of 2026"),
    ],
)
def test_a_day_lies_in_its_week_month_and_quarter(every: str, first: date, words: str) -> None:
    """The first of July 2026 is a Wednesday."""
    [period] = period_of(np.array(["2026-07-01"], "datetime64[D]"), every).tolist()
    assert (first_day(period, every), spoken_period(first, every)) == (first, words)


def test_quarters_are_counted_from_1970_and_told_by_their_number() -> None:
    days = (date(1970, 1, 1), date(1970, 3, 31), date(1970, 4, 1), date(1971, 12, 31))
    assert [quarter_of(day) for day in days] == [0, 0, 1, 7]
    assert [spoken_period(date(2026, month, 1), "quarter") for month in (1, 4, 10)] == [
        "quarter 1 of 2026", "quarter 2 of 2026", "quarter 4 of 2026",
    ]  # fmt: skip


def test_levels_are_named_and_riders_counted_once() -> None:
    assert level_words("arch_height", "low") == "arch height low"
    assert level_words(None, "low") == level_words("side", None) == ""
    assert (count_riders(np.array([3, 3, 0])), count_riders(np.array([], int))) == (2, 0)
    assert split_caution(None) == split_caution("riding") == ()
    assert (split_caution("side"), split_caution("foot_type")) == ((levels.NOT_BY_SIDE,), (levels.BOTH_FEET,))


def test_a_move_is_news_of_the_periods_that_it_began_in_or_next_to() -> None:
    def moved(*months: int) -> Any:
        signals = [SimpleNamespace(period_from=date(2026, month, 1)) for month in months]
        return SimpleNamespace(every="month", signals=signals)

    span = Span(date(2026, 4, 10), date(2026, 5, 20))
    assert [row.period_from.month for row in news(moved(2, 3, 4, 5, 6, 7), span)] == [3, 4, 5, 6]


def charted(figure: str, unit: str, *, p_value: float = 0.01, has_moved: bool = True, has_limits: bool = True) -> Any:
    """Three months of base from January 2026, a step in May from 2 to 7 (or 20 to 70 %)."""
    periods = period_of(np.array([f"2026-0{month}-01" for month in range(1, 7)], "datetime64[D]"), "month")
    by = 10 if unit == "share" else 1
    step = SimpleNamespace(first=int(periods[4]), before=2 / by, after=7 / by, p_value=p_value)
    series = SimpleNamespace(measured=SimpleNamespace(figure=figure, unit=unit), periods=periods, base=np.arange(6) < 3)
    return SimpleNamespace(
        series=series, step=step, limits=SimpleNamespace(centre=2 / by) if has_limits else None, has_moved=has_moved,
        reason="not enough yet.", design_effect=1.0, q_value=0.02,
    )  # fmt: skip


def test_a_chart_tells_whether_it_moved_and_what_it_is_compared_with() -> None:
    row = trends._chart_row(charted("comfort_gained", "points"), "month")
    assert bare(row.words) == (
        "Comfort gained: moved by more than its usual scatter. The centre of 2.0 points is what was usual in 3 months, "
        "January 2026 to "
        "March 2026. Each month is compared with it."
    )
    assert (row.chart, row.n_base, row.n_signals, row.p_value, row.q_value, row.base_from, row.base_to) == (
        "xmr", 3, 1, 0.01, 0.02, date(2026, 1, 1), date(2026, 3, 1),
    )  # fmt: skip
    still = trends._chart_row(charted("return_rate", "share", has_moved=False), "month")
    assert ": not found to move beyond its usual scatter. The centre of 20 %" in bare(still.words)
    assert (still.chart, still.n_signals) == ("p", 0)
    none = trends._chart_row(charted("return_rate", "share", has_limits=False), "month")
    assert (none.words, none.centre, none.p_value) == ("Fits seen again in time: not enough yet.", None, None)


def test_the_headline_counts_what_moved_and_tells_the_clearest() -> None:
    moved, clearer = charted("comfort_gained", "points", p_value=0.02), charted("return_rate", "share", p_value=0.01)
    still = charted("knees_better", "share", has_moved=False)
    assert bare(trends.headline_of([moved, clearer, still], "month")) == (
        "2 of 3 figures moved by more than their usual scatter. Fits seen again in time: 70 % from about May 2026 on, 20 % "
        "before."
    )
    assert trends.headline_of([still], "month") == "None of 1 figures was found to move by more than its usual scatter."
    none = charted("knees_better", "share", has_limits=False)
    assert trends.headline_of([none], "week") == "Not enough yet: no figure has a base period of weeks to compare with."
    assert trends._span(date(2026, 5, 4), date(2026, 5, 11), "week") == "the week of 4 May 2026 to the week of 11 May 2026"


def test_rows_that_are_alike_get_one_number_and_the_first_of_each_kind_is_told() -> None:
    """Missing is a kind of its own, and so is a number below zero; (3, missing) comes twice."""
    columns = {"whole": np.array([3, -2, 3, 3, -2]), "part": np.array([np.nan, 1.0, 2.0, np.nan, 1.0])}
    number, first = kinds(columns)
    assert [number.tolist().index(one) for one in number] == [0, 1, 2, 0, 1]
    assert sorted(first[first >= 0]) == [0, 1, 2] and [int(first[one]) for one in number] == [0, 1, 2, 0, 1]
    assert set(kinds({"none": np.array([np.nan, np.nan])})[0].tolist()) == {0}
    # So many that they are not counted through.
    far = {name: np.array([0, 10_000, 0, 20_000, 10_000]) for name in ("one", "other")}
    assert kinds(far)[0].tolist() == [0, 1, 0, 2, 1] and kinds(far)[1].tolist() == [0, 1, 3]


def test_the_codes_of_a_column_are_numbered_from_one_in_the_catalogues_order() -> None:
    assert CODES["insole_level"] == ("none", "low", "medium", "high", "custom")
    assert code_sql("x.kind", "visit_kind") == (
        "(CASE x.kind WHEN 'first' THEN 1 WHEN 'follow_up' THEN 2 WHEN 'refit' THEN 3 ELSE 0 END)::TINYINT"
    )


def test_the_rows_of_an_answer_are_its_own_list_or_the_one_named() -> None:
    answer = replace(made_studio(), trend=())
    assert [row["figure"] for row in answer.rows()] == [row.figure for row in answer.figures]
    assert (answer.rows("trend"), answer.to_csv("trend")) == ([], "")
    assert answer.to_csv().splitlines()[0].startswith("figure,unit,counted,n,")


OF_TILT = {"tilt", "off_neutral", "nearer_neutral", "side_difference_left", "knees_better", "held"}


@pytest.mark.parametrize(
    ("absent", "figures", "splits"),
    [
        ("rider_ratings", {"comfort_gained"}, set()),
        ("knee_captures.knee_tilt_deg", OF_TILT, {"arrival_direction"}),
        ("knee_captures.knee_sway_mm", {"sway"}, set()),
        ("knee_captures.knee_offset_mm", {"offset"}, set()),
        ("knee_captures", {*OF_TILT, "sway", "offset", "captures_per_fit", "recorded_twice", "repeat_capture"},
         {"arrival_direction"}),
        ("foot_exams", {"exam_complete", "exam_missing", "agreement"},
         {"foot_type", "arch_height", "forefoot", "arch_collapse", "heel_posture", "squat_knee_path", "foot_posture",
          "hip_flexion"}),
        ("foot_setups", {"repeat_capture", "agreement"}, {"shim_place", "stance_by"}),
        ("bike_measures", {"bike_measured"}, set()),
        ("follow_ups", {"return_rate", "booked", "follow_up_booked", "setup_kept_all", "setup_kept_some", "setup_kept_none",
                        "satisfaction", "pain"}, set()),
        ("follow_ups.setup_kept", {"setup_kept_all", "setup_kept_some", "setup_kept_none"}, set()),
        ("follow_ups.satisfaction", {"satisfaction"}, set()),
        ("follow_ups.pain", {"pain"}, set()),
    ],
)  # fmt: skip
def test_what_stands_on_what_is_not_recorded_is_not_told(absent: str, figures: set[str], splits: set[str]) -> None:
    recorded = Recorded(frozenset({absent}))
    assert {figure for figure in FIGURES if recorded.instead(figure)} == figures
    assert {split for split, stands_on in SPLIT_BY.items() if recorded.lacking(stands_on)} == splits
    told = f"not recorded here ({absent})"
    assert {recorded.instead(figure) for figure in figures} == {told}


def test_a_table_that_is_absent_is_named_once_for_all_of_its_columns() -> None:
    absent = Recorded(frozenset({"follow_ups", "foot_exams"}))
    assert absent.lacking(("follow_ups.pain", "follow_ups", "foot_exams", "riders")) == ("follow_ups", "foot_exams")
    assert Recorded().instead("pain") == Recorded(frozenset({"riders"})).instead("of no name") == ""
    assert (
        _is_held("follow_ups.pain") == 'EXISTS (SELECT 1 FROM core."follow_ups" WHERE "pain" IS NOT NULL) AS "follow_ups.pain"'
    )
    assert _is_held("follow_ups") == 'EXISTS (SELECT 1 FROM core."follow_ups") AS "follow_ups"'


def test_a_selection_of_nothing_says_how_far_the_data_reach() -> None:
    nothing = {"n_fits": 0, "first_date": None, "last_date": None, "studios": []}
    assert _words(Selection(), nothing) == "0 fits"
    assert _words(Selection(date_from=date(2026, 9, 1)), nothing) == "0 fits"
    one_day = {**nothing, "n_fits": 1, "first_date": date(2026, 6, 1), "last_date": date(2026, 6, 1), "studios": ["quay"]}
    assert _words(Selection(), one_day) == "1 fit, 1 Jun 2026, studio quay"
    scope = Scope(as_of=date(2026, 7, 1), n_fits=0, n_riders=0, words="0 fits", parameters={}, recorded=Recorded())
    end = "Widen it, or reset it to see all fits."
    for empty, reach in ((scope, " The data reach to 1 Jul 2026."), (replace(scope, as_of=None), "")):
        with pytest.raises(TooFewError) as refused:
            empty.require_fits()
        assert str(refused.value) == f"No fit matches this selection (0 fits).{reach} {end}"
    replace(scope, n_fits=1).require_fits()


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ("2025-11-01", "2026-01-31", "November 2025 to January 2026"),
        ("2026-04-01", "2026-06-30", "April to June 2026"),
        ("2025-02-01", "2026-01-31", "February 2025 to January 2026"),
        ("2025-01-01", "2025-12-31", "2025"),
        ("2025-12-30", "2026-01-02", "30 Dec 2025 to 2 Jan 2026"),
        ("2026-07-01", "2026-08-28", "1 Jul to 28 Aug 2026"),
    ],
)
def test_a_span_is_told_by_its_months_with_each_year_once(first: str, last: str, words: str) -> None:
    span = Span(date.fromisoformat(first), date.fromisoformat(last))
    assert spoken_span(span) == words
    assert spoken_beside(span, Span(date(2026, 7, 1), date(2026, 7, 31))) == (
        words.removesuffix(" 2026") if span.first.year == 2026 else words
    )
