"""What the demo's riders answer when they are asked, at the follow-up, how much better it is than before the fit.

Told after the fits are there, from a stream of its own, so that no other figure of the demo changes: by the comfort gained from
the fit's arrival to the follow-up's, a little by the pain lost, and by chance.
"""

from typing import Final

import numpy as np
import pandas as pd

from warehouse_demo.truth import Truth

_STREAM: Final = 21
_ANSWER: Final = 0.93
# What a point of pain lost counts beside a point of comfort gained.
_PAIN: Final = 0.4
# Points beyond "much better" at which it is very much better, and from which on anything is better or worse at all.
_VERY_MUCH: Final = 1.6
_ANY: Final = 0.8


def change_ratings(truth: Truth, seed: int, tables: dict[str, pd.DataFrame]) -> pd.Series:
    """The answers of follow_ups, from -3 to 3 as text cells; None where nobody was asked or could compare."""
    bookings, said = tables["follow_ups"], truth.ratings
    rng = np.random.default_rng([seed, _STREAM])
    limit = rng.normal(said.much_better, said.much_better_spread, len(bookings))
    noise, answers = rng.normal(0, said.said_noise, len(bookings)), rng.random(len(bookings)) < _ANSWER
    gained = _gained(bookings, tables["rider_ratings"], "comfort") - _PAIN * _gained(
        bookings, tables["rider_ratings"], "pain"
    ).fillna(0)
    felt = gained.to_numpy() + noise
    ends = np.array([-_VERY_MUCH - limit, -limit, limit * 0 - _ANY, limit * 0 + _ANY, limit, limit + _VERY_MUCH])
    steps = (felt >= ends).sum(axis=0) - 3
    told = [str(step) if asked else None for step, asked in zip(steps, answers & np.isfinite(felt), strict=True)]
    return pd.Series(told, index=bookings.index, dtype=object)


def _gained(bookings: pd.DataFrame, ratings: pd.DataFrame, topic: str) -> pd.Series:
    """Points from each fit's arrival to the first capture of its follow-up, NaN where either was not rated."""
    at_first = ratings[(ratings["topic"] == topic) & (ratings["capture_no"] == "1")].set_index("session_id")["score"]
    points = at_first.astype(float)
    return bookings["returned_session_id"].map(points) - bookings["session_id"].map(points)
