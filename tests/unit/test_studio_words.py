"""The sentences on a studio's period, on studios beside each other and on ratings, from figures that are set by hand."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from dashboard.questions.selection.spans import Span, span_a_year_before, span_before
from dashboard.questions.studio import ratings, studio, studios
from dashboard.questions.studio.answers_periods import PeriodChangeRow
from dashboard.questions.studio.answers_ratings import RatingRow
from dashboard.questions.studio.answers_studios import BetweenStudiosRow
from dashboard.questions.studio.period_words import change_words, earlier, few_words, headline_of
from shared.settings import Settings

JUNE = Span(date(2026, 6, 1), date(2026, 6, 30))
JUNES = {"this": JUNE, "before": span_before(JUNE), "year_before": span_a_year_before(JUNE)}


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


def change(
    figure: str, against: str, difference: tuple[float, float, float] | None, judged: str, p_value: float = 0.01
) -> PeriodChangeRow:
    """One comparison of 50 with 1,047 fits; 1.8 and 1.4 points, or 12 and 18 %."""
    unit = "points" if figure == "comfort_gained" else "share"
    now, then = (1.8, 1.4) if unit == "points" else (0.12, 0.18)
    ends = difference or (None, None, None)
    return PeriodChangeRow(figure, against, unit, 50, 1047, now, then, *ends, "fit", p_value=p_value, judged=judged)


def test_a_change_is_told_by_its_size_and_ends_without_a_sign_beside_the_period_it_is_less_than() -> None:
    gained = change("comfort_gained", "before", (0.4, 0.1, 0.7), "better")
    assert bare(change_words(gained, JUNES)) == (
        "Comfort gained: better, 0.4 points more than in May, 0.1 to 0.7 (50 and 1,047 fits)."
    )
    left = change("side_difference_left", "year_before", (-0.22, -0.42, -0.02), "better")
    assert bare(change_words(left, JUNES)) == (
        "Fits with a side difference left: better, 22 points fewer than in June 2025, 2 to 42 (50 and 1,047 fits)."
    )
    less = change("comfort_gained", "before", (-0.4, -0.7, -0.1), "worse")
    assert bare(change_words(less, JUNES)).startswith("Comfort gained: worse, 0.4 points less than in May, 0.1 to 0.7 (")


def test_what_is_not_clear_keeps_its_signs() -> None:
    row = change("return_rate", "before", (0.05, -0.1, 0.2), "no clear change")
    assert bare(change_words(row, JUNES)) == (
        "Fits seen again in time: no clear change from May, 5 points (−10 to 20; 50 and 1,047 fits)."
    )


def test_two_periods_with_too_little_say_what_each_has() -> None:
    row = change("knees_better", "before", None, "not enough yet")
    assert few_words(row, "knee", JUNES) == (
        "Knees better at departure: not enough yet to compare with May. 50 knees now, 1,047 knees then."
    )
    assert few_words(row, "knee", JUNES, "too few riders.").endswith("to compare with May. Too few riders.")


@pytest.mark.parametrize(
    ("first", "last", "before", "a_year_before"),
    [
        (date(2026, 7, 1), date(2026, 8, 28), "the 59 days before", "the same days a year before"),
        (date(2026, 7, 3), date(2026, 7, 3), "the day before", "the same days a year before"),
        (date(2026, 1, 1), date(2026, 3, 31), "October to December 2025", "January to March 2025"),
    ],
)
def test_earlier_periods_by_their_months_or_else_by_their_days(
    first: date, last: date, before: str, a_year_before: str
) -> None:
    span = Span(first, last)
    spans = {"this": span, "before": span_before(span), "year_before": span_a_year_before(span)}
    assert (earlier("before", spans), earlier("year_before", spans)) == (before, a_year_before)


def test_a_month_is_said_by_what_is_clear_once_a_figure_and_counts_the_rest() -> None:
    """Comfort is better than both earlier periods: told once, with the period before."""
    rows = [
        change("comfort_gained", "before", (0.4, 0.1, 0.7), "better"),
        change("comfort_gained", "year_before", (0.5, 0.2, 0.8), "better"),
        change("side_difference_left", "before", (0.2, 0.05, 0.35), "worse"),
        change("return_rate", "before", (0.05, -0.1, 0.2), "no clear change"),
        change("knees_better", "before", (0.05, -0.1, 0.2), "no clear change"),
    ]
    assert bare(headline_of(rows, JUNES)) == (
        "June 2026 was better in comfort gained, worse in fits with a side difference left. Comfort gained: 0.4 points more "
        "than in May, 0.1 to 0.7; fits with a side difference left: 20 points more than in May, 5 to 35. No clear change in "
        "the other 2 figures."
    )
    assert headline_of(rows[:4], JUNES).endswith("No clear change in the other figure.")
    three = [rows[0], replace(rows[2], judged="better"), replace(rows[3], judged="better")]
    words = headline_of(three, JUNES)
    assert words.startswith(
        "June 2026 was better in comfort gained, fits with a side difference left and fits seen again in time. Comfort"
    )
    assert "No clear change" not in words


def test_where_nothing_is_clear_the_difference_most_apart_is_told_as_chance() -> None:
    rows = [
        change("comfort_gained", "before", (0.4, 0.1, 0.7), "no clear change", 0.04),
        change("comfort_gained", "year_before", (0.1, -0.2, 0.4), "no clear change", 0.5),
        change("return_rate", "before", (-0.06, -0.11, -0.01), "no clear change", 0.02),
    ]
    assert bare(headline_of(rows, JUNES)) == (
        "June 2026: no clear change from May or from June 2025 in any of the two figures. Most apart: fits seen again in time, "
        "12 % and 18 %, −6 points from May (−11 to −1); among 3 comparisons chance alone often brings one like it."
    )
    assert bare(headline_of(rows[:1], JUNES)).startswith(
        "June 2026: no clear change from May in comfort gained. Most apart: comfort gained, 1.8 points and 1.4 points, 0.4"
    )
    assert headline_of(rows[1:2], JUNES) == "June 2026: no clear change from June 2025 in comfort gained."


def test_a_period_without_an_earlier_one_tells_what_it_has_itself() -> None:
    rows = [
        change("comfort_gained", "before", None, "not enough yet"),
        change("knees_better", "before", None, "not enough yet"),
    ]
    assert bare(headline_of(rows, JUNES)) == (
        "June 2026: not enough yet to compare with an earlier period. Comfort gained 1.8 points, knees better at departure "
        "12 %."
    )
    none = [replace(row, estimate=None) for row in rows]
    assert headline_of(none, JUNES) == "June 2026: not enough yet to compare with an earlier period."


def test_of_a_whole_year_both_earlier_periods_are_one() -> None:
    year = Span(date(2025, 1, 1), date(2025, 12, 31))
    spans = {"this": year, "before": span_before(year), "year_before": span_a_year_before(year)}
    rows = [
        change("comfort_gained", against, (0.4, 0.1, 0.7), "no clear change", 0.04) for against in ("before", "year_before")
    ]
    assert "2025: no clear change from 2024 in comfort gained. Most apart" in headline_of(rows, spans)
    assert "among 1 comparison chance" in headline_of(rows, spans)


def between(difference: tuple[float, float, float] | None, judged: str) -> BetweenStudiosRow:
    ends = difference or (None, None, None)
    return BetweenStudiosRow("return_rate", "quay", "mill", "share", 1200, 300, *ends, "fits", judged=judged)


def test_studios_are_told_apart_by_what_is_clear_and_else_together() -> None:
    better, unclear = between((0.12, 0.02, 0.22), "better"), between((-0.03, -0.1, 0.04), "no clear difference")
    assert bare(studios._words(better)) == (
        "Fits seen again in time: better at quay, 12 points more than at mill, 2 to 22 (1,200 and 300 fits)."
    )
    assert bare(studios._words(unclear)) == (
        "Fits seen again in time: no clear difference, quay less mill −3 points (−10 to 4; 1,200 and 300 fits)."
    )
    assert studios._headline([replace(better, words="It is."), unclear], ["mill", "quay"]) == "It is."
    assert studios._headline([unclear], ["mill", "quay"]) == "No clear difference between mill and quay."
    assert studios._headline([unclear], ["a", "b", "c"]) == "No clear difference between the 3 studios."
    assert studios._headline([between(None, "not enough yet")], ["a", "b"]).startswith("Not enough yet to compare the studios")
    assert studios._headline([], ["a"]) == "There is one studio in this selection, and nothing to compare it with."


def made(figure: str, unit: str, values: list[float], worse: list[float] | None = None) -> studio.Measured:
    n = len(values)
    days = np.full(n, np.datetime64("2026-06-01"))
    flags = None if worse is None else np.array(worse)
    return studio.Measured(figure, unit, "fit", np.array(values), np.arange(n), days, worse=flags)


def test_a_headline_figure_tells_the_way_it_went_only_where_that_is_clear() -> None:
    """Ten riders at +1 and +3: mean 2, standard deviation 1.054, t with 9 degrees 2.262: 2 ∓ 2.262 · 1.054/√10 = 1.2 to 2.8."""
    gained = studio._figure(made("comfort_gained", "points", [1.0, 3.0] * 5), Settings())
    assert bare(gained.words) == "Comfort rose by 2.0 points of 10 on average (1.2 to 2.8; 10 fits rated at both ends)."
    fell = studio._figure(made("comfort_gained", "points", [-1.0, -3.0] * 5), Settings())
    assert bare(fell.words) == "Comfort fell by 2.0 points of 10 on average (−2.8 to −1.2; 10 fits rated at both ends)."
    unclear = studio._figure(made("comfort_gained", "points", [-1.0, 1.0] * 5), Settings())
    assert bare(unclear.words).startswith("Comfort shows no clear change: 0.0 points of 10 on average (−0.8 to 0.8; 10 fits")


def test_shares_of_knees_better_worse_and_neither_add_up() -> None:
    """Of 20 knees 5 better and 2 worse; Wilson's interval of 5 of 20 is 0.112 to 0.469 (by his formula)."""
    row = studio._figure(made("knees_better", "share", [1.0] * 5 + [0.0] * 15, [0.0] * 18 + [1.0] * 2), Settings())
    assert bare(row.words) == (
        "25 % of knees left nearer to neutral than they came, by more than the noise (11 to 47 %; 20 fits); 65 % showed no "
        "clear change, 10 % left further from it."
    )
    few = studio._figure(made("return_rate", "share", [1.0]), Settings())
    assert (few.words, few.estimate, few.n) == ("Fits seen again in time: not enough yet, 1 fit.", None, 1)


def rated(gains: list[float], topic: str = "comfort", missing: int = 0) -> RatingRow:
    """Riders with one pair each, all from 4; `missing` of them were not rated again."""
    after = np.array([4 + gain for gain in gains] + [np.nan] * missing)
    pairs = {"before": np.full(len(after), 4.0), "after": after, "rider": np.arange(len(after))}
    return ratings._rating_row(pairs, topic, ("departure", "follow_up"), Settings(), "riding gravel")


def test_ratings_tell_shares_and_the_mean_and_between_what_it_lies_with_those_who_were_not_asked_again() -> None:
    """From 4 all, eight of ten to 6. Over twelve, the two unseen at 0, it is (8 · 2 − 2 · 4)/12; at 10, (8 · 2 + 2 · 6)/12."""
    row = rated([2.0] * 8 + [0.0] * 2, missing=2)
    assert bare(row.words).startswith(
        "Comfort, riding gravel, from departure to follow-up: better in 80 % (49 to 94 %), the same"
    )
    assert "the same in 20 %, worse in 0 %; +1.6 points of 10 on average (1.0 to 2.2; 10 pairs of 10 riders)." in bare(
        row.words
    )
    assert bare(row.words).endswith(
        " 2 more were rated at departure and not again: over all the mean change lies between 0.7 and 2.3, whatever they would "
        "have said."
    )
    assert (row.n_not_again, row.n_pairs, row.median_from, row.median_to) == (2, 10, 4.0, 6.0)
    assert " 1 more was rated at departure" in rated([2.0] * 8 + [0.0] * 2, missing=1).words


def test_less_pain_is_better_and_what_is_not_sure_is_said_to_be_unclear() -> None:
    row = rated([-2.0] * 8 + [0.0] * 2, "pain")
    assert (row.share_better, row.share_worse) == (0.8, 0.0)
    assert "; −1.6 points of 10" in bare(row.words)
    [sure] = ratings._judged([row])
    assert sure.words == row.words
    [unclear] = ratings._judged([rated([-1.0, 1.0] * 5)])
    assert unclear.words.endswith("; 10 pairs of 10 riders): no clear change.")


@pytest.mark.parametrize(
    ("ends", "q_value", "told"),
    [((0.1, 0.7), 0.01, "higher"), ((-0.7, -0.1), 0.01, "lower"), ((0.1, 0.7), 0.05, "no clear change"),
     ((-0.1, 0.7), 0.01, "no clear change"), ((None, None), None, "no clear change")],
)  # fmt: skip
def test_a_period_is_higher_or_lower_only_where_that_may_be_claimed(ends: Any, q_value: float | None, told: str) -> None:
    row = PeriodChangeRow("comfort_gained", "before", "points", 9, 9, 1.0, 1.0, 0.4, *ends, "", q_value=q_value)
    assert row.told == told
