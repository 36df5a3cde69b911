"""What the front desk and the rider add to a fit: bookings, ratings, bicycle record, notes."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import numpy as np

from warehouse_demo.fits import Fit
from warehouse_demo.riders import SIDES, Feeling, Rider, Setup
from warehouse_demo.studio import open_day
from warehouse_demo.truth import Truth

_DUE_DAYS = 14
_NOT_YET_CALLED_DAYS = 60
_PAIN_PARTS = ("knee", "foot", "lower_back", "hand")
_NOTES = (
    "Came with new shoes, laces a little short.",
    "Prefers a quiet room, likes to see the numbers.",
    'Said: "feels steadier",\nwants to try it on the coast road first.',
    "<img src=x onerror=alert(1)> typed by mistake",
    "=no change wanted today",
    "Saddle rail checked, tightened.",
)


def booking(truth: Truth, rng: np.random.Generator, day: date, has_practice: bool) -> dict[str, Any] | None:
    """The follow-up booked for a fit, or None; attended, missed or cancelled, open where it is due after the last day."""
    practice, last = truth.practice, truth.scale.last_day
    if rng.random() >= practice.booked[has_practice]:
        return None
    delay = 0 if rng.random() < practice.booked_same_day[has_practice] else int(rng.integers(1, 16))
    booked_on = open_day(day + timedelta(days=delay))
    if booked_on > last:
        return None
    row: dict[str, Any] = {"booked_on": booked_on, "due_on": open_day(day + timedelta(days=_DUE_DAYS))}
    came = open_day(day + timedelta(days=max(delay + 1, round(rng.gamma(9.0, 1.9)))))
    draw, attended = rng.random(), practice.attended[has_practice]
    row["state"] = "attended" if draw < attended else "missed" if draw < attended + 0.6 * (1 - attended) else "cancelled"
    if row["due_on"] > last or (row["state"] == "attended" and came > last):
        row["state"] = "open"
    # The desk has not yet gone after the latest ones who did not come: these are overdue.
    if row["state"] == "missed" and row["due_on"] > last - timedelta(days=_NOT_YET_CALLED_DAYS):
        row["state"] = "open"
    if row["state"] == "attended":
        row["attended_on"] = came
    return row


def return_answers(rng: np.random.Generator, has_practice: bool) -> dict[str, Any]:
    """What a rider who came back says, and how much of the setup was kept."""
    kept = str(rng.choice(["all", "some", "none"], p=(0.76, 0.19, 0.05) if has_practice else (0.62, 0.27, 0.11)))
    mood = {"all": 8.0, "some": 6.6, "none": 4.8}[kept]
    return {
        "setup_kept": kept,
        "satisfaction": int(np.clip(round(rng.normal(mood, 1.3)), 0, 10)),
        "pain": int(np.clip(round(rng.gamma(1.2, 1.2)), 0, 10)),
    }


def keep_setup(truth: Truth, rider: Rider, kept: str) -> None:
    """What stands in the rider's shoes at the next visit, and what is left of the comfort gained so far.

    Who keeps some of the setup took the insoles out, or else the shims.
    """
    rider.gained *= getattr(truth.ratings, f"held_{kept}")
    setups = [rider.knees[side].setup for side in SIDES]
    if kept == "none":
        for side, setup in zip(SIDES, setups, strict=True):
            rider.knees[side].setup = Setup(shims_built_in=setup.shims_built_in)
    elif kept == "some" and any(setup.insole_level != "none" for setup in setups):
        for setup in setups:
            setup.insole_level = "none"
    elif kept == "some":
        for setup in setups:
            setup.shims_added, setup.shim_place = 0, None


def ratings(
    truth: Truth, rng: np.random.Generator, rider: Rider, fit: Fit, skill: float, has_practice: bool
) -> Iterator[dict[str, Any]]:
    """Ratings at arrival and departure; comfort follows how much nearer to neutral the knees came, and the practice.

    A rider arrives with what is left of the gain of earlier fits, and leaves with this fit's gain on top.
    """
    better = np.mean([abs(fit.true_tilt[0][side]) - abs(fit.true_tilt[-1][side]) for side in SIDES])
    mood = float(rng.normal(truth.ratings.mood, truth.ratings.mood_spread))
    gain = truth.practice.comfort_gain[has_practice] + 0.5 * float(better) + skill + float(rng.normal(0, 1.1))
    part = str(rng.choice(_PAIN_PARTS))
    hurts = float(rng.gamma(1.5, 1.4)) if rng.random() < 0.55 else 0.0
    today = _feeling_today(truth, rider, Feeling(mood, hurts, part))
    held, rider.gained = rider.gained, rider.gained + gain
    for capture_no, risen in ((1, held), (fit.n_captures, rider.gained)):
        for topic, level in (
            ("comfort", today.mood + risen),
            ("stability", today.mood + 0.3 + 0.8 * risen),
            ("foot_room", 6.5 + 0.2 * risen),
        ):
            yield {"capture_no": capture_no, "topic": topic, "body_part": "whole", "score": _score(rng, level)}
        pain = _score(rng, today.hurts - 0.6 * risen)
        yield {"capture_no": capture_no, "topic": "pain", "body_part": today.part, "score": pain}


def _feeling_today(truth: Truth, rider: Rider, drawn: Feeling) -> Feeling:
    """The rider's own feeling with a share of what this day alone would have drawn; the first visit's is the rider's own.

    The spread between riders is the same at every visit, and two visits of one rider correlate by about `persists`.
    """
    if rider.feeling is None:
        rider.feeling = drawn
        return drawn
    own, share, usual = rider.feeling, truth.ratings.persists, truth.ratings.mood
    mood = usual + share * (own.mood - usual) + (1 - share**2) ** 0.5 * (drawn.mood - usual)
    return Feeling(mood, share * own.hurts + (1 - share) * drawn.hurts, own.part)


def _score(rng: np.random.Generator, level: float) -> int:
    return int(np.clip(round(level + rng.normal(0, 0.6)), 0, 10))


def bicycle(truth: Truth, rng: np.random.Generator, rider: Rider, has_practice: bool) -> Iterator[dict[str, Any]]:
    """Measures at arrival, and before leaving where they were taken; the bicycle stays as the rider leaves with it."""
    taken = rng.random() < truth.practice.bike_measured[has_practice]
    for measure, value_mm in rider.bike.measures_mm.items():
        yield {"moment": "arrival", "measure": measure, "value_mm": value_mm}
        left = value_mm + round(float(rng.normal(0, 4)))
        rider.bike.measures_mm[measure] = left
        if taken:
            yield {"moment": "departure", "measure": measure, "value_mm": left}


def note(rng: np.random.Generator) -> str | None:
    """Now and then a note, some of them awkward to read."""
    return str(rng.choice(_NOTES)) if rng.random() < 0.04 else None
