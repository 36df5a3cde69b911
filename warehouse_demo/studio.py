"""The two invented studios: fitters, opening days, the season, and who fits whom."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from warehouse_demo.riders import Rider
from warehouse_demo.truth import Scale


@dataclass(frozen=True)
class Fitter:
    """`share` of the ordinary fits; `skill` is what the fitter adds to the comfort gained, in points."""

    fitter_id: str
    fitter_name: str
    trained_on: str
    studio_id: str
    share: float
    skill: float


FITTERS = (
    Fitter("F1", "Fitter Alder", "2019-04-12", "quayside", 0.24, 0.0),
    Fitter("F2", "Fitter Birch", "2020-02-28", "quayside", 0.22, 0.1),
    Fitter("F3", "Fitter Cedar", "2021-09-17", "ropewalk", 0.20, -0.2),
    Fitter("F4", "Fitter Hazel", "2022-05-06", "ropewalk", 0.15, 0.0),
    Fitter("F5", "Fitter Rowan", "2023-11-03", "quayside", 0.11, -0.1),
    Fitter("F6", "Fitter Willow", "2026-07-01", "ropewalk", 0.0, 0.0),
    Fitter("F7", "Fitter Plover", "2017-06-23", "quayside", 0.08, 0.4),
)
FITTER_OF = {fitter.fitter_id: fitter for fitter in FITTERS}
_NEW_FITTER, _NEW_FITTER_FROM = "F6", date(2026, 8, 6)
_REFERRED_TO, _HARD_CASE_DEG = "F7", 3.6
# Relative number of first visits by month: busy in spring.
_SEASON = (0.7, 0.9, 1.5, 1.8, 1.6, 1.1, 0.9, 0.8, 0.9, 0.8, 0.7, 0.5)
_BUSY_MONTHS = (3, 4, 5)
_SUNDAY = 6


def is_busy(day: date) -> bool:
    """Whether a day is in the spring rush, when fits are shorter."""
    return day.month in _BUSY_MONTHS


def open_day(day: date) -> date:
    """The day itself, or Monday where it is a Sunday: both studios are closed then."""
    return day + timedelta(days=1) if day.weekday() == _SUNDAY else day


def first_days(scale: Scale, rng: np.random.Generator, n: int) -> list[date]:
    """The days of `n` first visits, in order."""
    days = [scale.first_day + timedelta(days=offset) for offset in range((scale.last_day - scale.first_day).days + 1)]
    days = [day for day in days if day.weekday() != _SUNDAY]
    weights = np.array([_SEASON[day.month - 1] for day in days])
    picked = rng.choice(len(days), size=n, p=weights / weights.sum())
    return [days[int(index)] for index in np.sort(picked)]


def choose_fitter(rng: np.random.Generator, person: Rider, day: date) -> str:
    """The new fitter once there is one, the fitter who takes referrals for hard cases, or one by share."""
    if day >= _NEW_FITTER_FROM and rng.random() < 0.28:
        return _NEW_FITTER
    if person.severity_deg > _HARD_CASE_DEG and rng.random() < 0.35:
        return _REFERRED_TO
    shares = np.array([fitter.share for fitter in FITTERS])
    return FITTERS[int(rng.choice(len(FITTERS), p=shares / shares.sum()))].fitter_id
