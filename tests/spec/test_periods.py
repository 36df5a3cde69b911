"""Which periods are compared, and that the figures are those of the Studio answer."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from dashboard.questions.data import noise
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.scope import scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import Periods
from dashboard.questions.studio.answers_studio import Studio
from dashboard.questions.studio.periods import Span, span_a_year_before, span_before
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
    assert early.headline == "There is not enough yet to compare this period with an earlier one."
    assert all("not enough yet" in row.words and row.difference is None for row in early.changes)
    with pytest.raises(TooFewError):
        asker.ask("periods", Selection(date_from=date(1999, 1, 1), date_to=date(1999, 1, 2)))
