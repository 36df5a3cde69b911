"""Studios in which nothing moves and studios in which one figure does: what the charts say of each, by month and by week."""

import numpy as np
import pytest

from dashboard.questions.selection.calendar import period_of
from dashboard.questions.studio.studio import Measured
from dashboard.questions.studio.trends_charted import charts_of
from shared.settings import Settings

DAYS, FITS_A_DAY = 3 * 365, 1.5
# Periods of the base: a year.
BASE = {"month": 12, "week": 52}


def studio(rng: np.random.Generator, booked_later: float = 0.7) -> list[Measured]:
    """Three years of four figures. Riders come once or twice and resemble themselves; of bookings, 70 % are made, and from the
    middle of the second year on `booked_later`."""
    n = int(DAYS * FITS_A_DAY / 1.5)
    first, comes_back = rng.integers(0, DAYS, n), rng.random(n) < 0.5
    rider = np.concatenate([np.arange(n), np.flatnonzero(comes_back)])
    day = np.concatenate([first, (first + rng.integers(10, 60, n))[comes_back]])
    order = np.argsort(day, kind="stable")
    rider, day = rider[order], np.datetime64("2024-01-01") + day[order]
    own, noise = rng.normal(size=n)[rider], rng.normal(size=len(rider))
    is_later = day >= np.datetime64("2025-07-01")
    booked = rng.random(len(rider)) < np.where(is_later, booked_later, 0.7)
    figures = {
        "knees_better": ("share", own + noise > 0.8),
        "comfort_gained": ("points", np.round(1.4 + own + noise)),
        "booked": ("share", booked),
        "captures_per_fit": ("captures", 2 + rng.poisson(2.0, len(rider))),
    }
    return [Measured(name, unit, "fit", values.astype(float), rider, day) for name, (unit, values) in figures.items()]


def moved(outcomes: list[Measured], every: str) -> dict[str, bool]:
    settings = Settings.model_validate({"trends": {"every": every, "base_periods": BASE[every]}})
    period = period_of(outcomes[0].day, every)
    charts = charts_of(outcomes, np.arange(period.min(), period.max() + 1), settings)
    return {chart.series.measured.figure: chart.has_moved for chart in charts}


@pytest.mark.parametrize("every", ["month", "week"])
def test_where_nothing_moves_no_figure_is_said_to(every: str) -> None:
    """The three rules that stood here before said so of 92 % of such studios by month and of 97 % by week."""
    said = [any(moved(studio(np.random.default_rng([1620, seed])), every).values()) for seed in range(30)]
    assert sum(said) <= 2


def test_a_change_of_practice_is_found_and_nothing_else() -> None:
    """Bookings from 70 to 90 %: about two and a half standard deviations of a month."""
    said = [moved(studio(np.random.default_rng([1621, seed]), booked_later=0.9), "month") for seed in range(20)]
    assert sum(each.pop("booked") for each in said) >= 19
    assert sum(any(each.values()) for each in said) <= 2
