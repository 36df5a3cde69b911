"""Which periods are compared, and that the figures are those of the Studio answer."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from dashboard.questions.data import noise
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.scope import scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import (
    Span,
    last_month,
    last_quarter,
    span_a_year_before,
    span_before,
    spoken_span,
    this_quarter,
    this_year,
)
from dashboard.questions.studio.answers_periods import PeriodChangeRow, Periods
from dashboard.questions.studio.answers_studio import Studio
from dashboard.questions.studio.headline_figures import judged
from dashboard.questions.studio.period_words import change_words
from dashboard.questions.studio.studio import measured
from shared.errors import TooFewError
from shared.settings import Settings
from shared.warehouse import open_reading


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.mark.parametrize(
    ("span", "before", "year_before"),
    [
        (("2026-01-01", "2026-03-31"), ("2025-10-01", "2025-12-31"), ("2025-01-01", "2025-03-31")),
        (("2026-03-01", "2026-03-31"), ("2026-02-01", "2026-02-28"), ("2025-03-01", "2025-03-31")),
        (("2024-02-01", "2024-02-29"), ("2024-01-01", "2024-01-31"), ("2023-02-01", "2023-02-28")),
        (("2025-02-01", "2025-02-28"), ("2025-01-01", "2025-01-31"), ("2024-02-01", "2024-02-29")),
        (("2026-03-10", "2026-03-19"), ("2026-02-28", "2026-03-09"), ("2025-03-10", "2025-03-19")),
        (("2025-01-01", "2025-12-31"), ("2024-01-01", "2024-12-31"), ("2024-01-01", "2024-12-31")),
    ],
)
def test_spans(span: tuple[str, str], before: tuple[str, str], year_before: tuple[str, str]) -> None:
    def made(days: tuple[str, str]) -> Span:
        return Span(*(date.fromisoformat(day) for day in days))

    assert span_before(made(span)) == made(before)
    assert span_a_year_before(made(span)) == made(year_before)


def test_spans_of_the_calendar_follow_today_and_are_said_in_words() -> None:
    """Also on the first and the last day of a month, and over the turn of a year."""
    assert spoken_span(last_month(date(2026, 8, 31))) == spoken_span(last_month(date(2026, 8, 1))) == "July 2026"
    assert last_month(date(2024, 3, 31)) == Span(date(2024, 2, 1), date(2024, 2, 29))
    assert last_month(date(2026, 1, 2)) == Span(date(2025, 12, 1), date(2025, 12, 31))
    assert spoken_span(this_quarter(date(2026, 8, 31))) == "July to September 2026"
    assert spoken_span(last_quarter(date(2026, 2, 3))) == "October to December 2025"
    assert spoken_span(this_year(date(2026, 8, 31))) == "2026"
    assert spoken_span(Span(date(2025, 7, 1), date(2026, 6, 30))) == "July 2025 to June 2026"
    assert spoken_span(Span(date(2026, 7, 1), date(2026, 8, 28))) == "1 Jul to 28 Aug 2026"
    assert spoken_span(Span(date(2025, 12, 30), date(2026, 1, 2))) == "30 Dec 2025 to 2 Jan 2026"


def test_without_dates_it_is_the_last_full_month_by_todays_calendar(demo_warehouse: Path) -> None:
    """The same object, to the last digit, as that month asked for by its dates."""
    asker = Asker(demo_warehouse, Settings(), lambda: date(2026, 8, 31))
    answer = asker.ask("periods", Selection())
    assert answer == asker.ask("periods", Selection(date_from=date(2026, 7, 1), date_to=date(2026, 7, 31)))
    assert isinstance(answer, Periods)
    assert answer.is_last_month
    assert answer.selection_words.startswith("50 fits, 1 Jul to 31 Jul 2026")
    late = Asker(demo_warehouse, Settings(), lambda: date(2026, 11, 30))
    with pytest.raises(
        TooFewError, match=r"No fit in October 2026, the last full month by today's calendar. The data reach to 28 A"
    ):
        late.ask("periods", Selection())


def test_an_open_end_is_closed_by_the_data(asker: Asker) -> None:
    answer = asker.ask("periods", Selection(date_from=date(2026, 7, 1)))
    assert isinstance(answer, Periods)
    assert answer.spans()["this"] == Span(date(2026, 7, 1), date(2026, 8, 28))
    assert "from the 59 days before, " in answer.changes[0].words
    assert "from the same days a year before, " in answer.changes[1].words
    assert not answer.is_last_month


def test_what_stands_out_and_may_not_be_claimed_is_told_as_no_clear_change(asker: Asker) -> None:
    """July 2026: 9 of 49 fits left a side difference, 19 of 47 in June; eight comparisons, of which this is the clearest."""
    answer = asker.ask("periods", Selection(date_from=date(2026, 7, 1), date_to=date(2026, 7, 31)))
    assert isinstance(answer, Periods)
    [row] = [one for one in answer.changes if (one.figure, one.against) == ("side_difference_left", "before")]
    assert (row.estimate, row.estimate_against) == pytest.approx((9 / 49, 19 / 47))
    assert row.high is not None
    assert row.q_value is not None
    assert row.high < 0 and row.q_value > 0.05 and row.judged == "no clear change"
    assert row.words == (
        "Fits with a side difference left: no clear change from June, −22\xa0points (−42 to −2; 49 and 47 fits)."
    )
    assert answer.headline == (
        "July 2026: no clear change from June or from July 2025 in any of the four figures. Most apart: fits with a side "
        "difference left, 18\xa0% and 40\xa0%, −22\xa0points from June (−42 to −2); among 8 comparisons chance alone often "
        "brings one like it."
    )


def test_what_is_clear_is_better_or_worse_with_its_size_and_interval(asker: Asker) -> None:
    """Over the change of practice in June 2025. A whole year has one earlier period, which is told once."""
    answer = asker.ask("periods", Selection(date_from=date(2025, 4, 1), date_to=date(2026, 3, 31)))
    assert isinstance(answer, Periods)
    told = {(row.figure, row.judged) for row in answer.changes}
    assert {figure for figure, judged in told if judged == "better"} == {"comfort_gained", "return_rate"}
    [comfort, *_] = answer.changes
    assert comfort.words == (
        "Comfort gained: better, 0.4\xa0points more than in April 2024 to March 2025, 0.3 to 0.6 (618 and 479 fits)."
    )
    assert answer.headline == (
        "April 2025 to March 2026 was better in comfort gained and fits seen again in time. Comfort gained: 0.4\xa0points more "
        "than in April 2024 to March 2025, 0.3 to 0.6; fits seen again in time: 26\xa0points more than in April 2024 to March "
        "2025, 19 to 33. No clear change in the other 2 figures."
    )


def test_several_figures_are_listed_each_with_one_comparison(asker: Asker) -> None:
    """Clear against both earlier periods, and told against the one before; days that are no whole months are counted."""
    answer = asker.ask("periods", Selection(date_from=date(2025, 9, 1)))
    assert isinstance(answer, Periods)
    first, *sizes, last = answer.headline.replace("; ", ". ").split(". ")
    assert (
        first == "1 Sep 2025 to 28 Aug 2026 was better in comfort gained, fits seen again in time and knees better at departure"
    )
    names = [words.partition(": ")[0] for words in sizes]
    assert names == ["Comfort gained", "fits seen again in time", "knees better at departure"]
    assert "than in the 362 days before" in sizes[0]
    assert last == "No clear change in the other figure."


def test_fewer_side_differences_are_better_and_less_comfort_is_worse() -> None:
    def row(figure: str, unit: str, difference: float) -> PeriodChangeRow:
        low, high = difference - 0.06, difference + 0.06
        made = PeriodChangeRow(figure, "before", unit, 90, 80, None, None, difference, low, high, "fit")
        return replace(made, judged=judged(figure, 1 if difference > 0 else -1))

    june = {"this": last_month(date(2026, 8, 1)), "before": last_month(date(2026, 7, 1))}
    assert change_words(row("side_difference_left", "share", -0.22), june) == (
        "Fits with a side difference left: better, 22\xa0points fewer than in June, 16 to 28 (90 and 80 fits)."
    )
    assert change_words(row("comfort_gained", "points", -0.4), june) == (
        "Comfort gained: worse, 0.4\xa0points less than in June, 0.3 to 0.5 (90 and 80 fits)."
    )


def test_knees_better_worse_and_neither_are_all_knees(asker: Asker) -> None:
    answer = asker.ask("periods", Selection(date_from=date(2026, 7, 1), date_to=date(2026, 7, 31)))
    assert isinstance(answer, Periods)
    this = {row.outcome: row for row in answer.knees if row.which == "this"}
    assert list(this) == ["better", "no_clear_change", "worse"]
    assert sum(row.n_outcome for row in this.values()) == 99 == this["worse"].n
    assert this["better"].share == next(row.estimate for row in answer.changes if row.figure == "knees_better")


def test_this_period_is_the_studio_s_own_figure(asker: Asker) -> None:
    selection = Selection(date_from=date(2026, 1, 1), date_to=date(2026, 6, 30))
    periods, studio = asker.ask("periods", selection), asker.ask("studio", selection)
    assert isinstance(periods, Periods)
    assert isinstance(studio, Studio)
    told = {row.figure: (row.n, row.estimate, row.low, row.high) for row in periods.periods if row.which == "this"}
    assert told == {one.figure: (one.n, one.estimate, one.low, one.high) for one in studio.figures}


def test_a_change_is_the_difference_of_both_periods(asker: Asker) -> None:
    answer = asker.ask("periods", Selection(date_from=date(2026, 1, 1), date_to=date(2026, 6, 30)))
    assert isinstance(answer, Periods)
    by_which = {(row.figure, row.which): row for row in answer.periods}
    for change in answer.changes:
        this, then = by_which[change.figure, "this"], by_which[change.figure, change.against]
        assert this.estimate is not None
        assert then.estimate is not None
        assert change.difference == pytest.approx(this.estimate - then.estimate, abs=1e-12)
        assert change.low is not None
        assert change.high is not None
        assert change.low < change.difference < change.high
        assert (change.n_this, change.n_against) == (this.n, then.n)


def test_the_interval_of_a_difference_is_that_of_two_means_where_no_rider_is_in_both(asker: Asker) -> None:
    """Welch 1947, Biometrika 34:28, by hand on side differences of first visits, of which each rider has one."""
    first, then = Span(date(2026, 1, 1), date(2026, 3, 31)), Span(date(2025, 10, 1), date(2025, 12, 31))
    selection = Selection(date_from=first.first, date_to=first.last, visit_kind=("first",))
    answer = asker.ask("periods", selection)
    assert isinstance(answer, Periods)
    row = next(one for one in answer.changes if one.figure == "comfort_gained" and one.against == "before")
    warehouse = open_reading(asker.path)
    scope = scope_of(warehouse, Selection(visit_kind=("first",)), Settings())
    found = {
        one.figure: one
        for one in measured(warehouse, scope, Settings(), noise.own_noise("tilt", noise.pairs_of(warehouse, scope), Settings()))
    }
    comfort = found["comfort_gained"]
    assert len(np.unique(comfort.rider)) == len(comfort.rider)
    groups = [comfort.values[span.holds(comfort.day.astype("datetime64[D]"))] for span in (first, then)]
    error = sum(group.var(ddof=1) / len(group) for group in groups) ** 0.5
    assert row.difference == pytest.approx(groups[0].mean() - groups[1].mean())
    assert row.high is not None
    assert row.difference is not None
    # t on Welch's degrees of freedom is within a hundredth of 1.98 at some hundred fits.
    assert (row.high - row.difference) / error == pytest.approx(1.98, abs=0.02)


def test_too_few_and_none_are_told(asker: Asker) -> None:
    early = asker.ask("periods", Selection(date_from=date(2024, 3, 1), date_to=date(2024, 5, 31)))
    assert isinstance(early, Periods)
    assert early.headline.startswith(
        "March to May 2024: not enough yet to compare with an earlier period. Comfort gained 1.1\xa0points, fits with a side "
    )
    assert {row.judged for row in early.changes} == {"not enough yet"}
    assert all("not enough yet" in row.words and row.difference is None for row in early.changes)
    with pytest.raises(TooFewError):
        asker.ask("periods", Selection(date_from=date(1999, 1, 1), date_to=date(1999, 1, 2)))
