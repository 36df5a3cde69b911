"""The levels of a split brought together: each drawn toward the overall effect by how little it tells on its own."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.effects.answers_effects import FamilyRow
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.frames import SUPPORTS
from dashboard.questions.models.verdict import name_of
from dashboard.questions.selection.numbers import spoken
from shared.settings import Settings
from shared.statistics.pooling import Pooled, combine_types
from shared.units import UNITS

Floats = NDArray[np.float64]


def shrunken(rows: list[EffectRow], settings: Settings) -> tuple[list[EffectRow], list[FamilyRow]]:
    """The rows of one outcome and split with their shrunken estimates, and one family a support of two or more levels."""
    families: list[FamilyRow] = []
    drawn: dict[tuple[str, str | None], EffectRow] = {}
    for support in SUPPORTS:
        members = [row for row in rows if row.support == support and row.pooled is not None]
        if len(members) < 2:
            continue
        combined = combine_types(*_estimates(members, settings), settings.intervals.level)
        families.append(_family(members, combined))
        for index, row in enumerate(members):
            drawn[support, row.level] = replace(
                row,
                shrunk=float(combined.shrunk[index]),
                shrunk_low=float(combined.shrunk_low[index]),
                shrunk_high=float(combined.shrunk_high[index]),
            )
    return [drawn.get((row.support, row.level), row) for row in rows], families


def _estimates(members: Sequence[EffectRow], settings: Settings) -> tuple[Floats, Floats]:
    """Pooled estimates and their standard errors, taken back from the intervals at the normal quantile."""
    z = float(stats.norm.ppf(0.5 + settings.intervals.level / 2))
    estimate = np.array([row.pooled for row in members], dtype=float)
    return estimate, np.array([((row.pooled_high or 0.0) - (row.pooled_low or 0.0)) / (2 * z) for row in members])


def _family(members: list[EffectRow], combined: Pooled) -> FamilyRow:
    first = members[0]
    sign = UNITS[first.unit].sign
    bounded = np.isfinite(combined.prediction_low)
    spread = f"spread between levels {spoken(combined.between_sd, 2, sign)}"
    if bounded:
        ends = f"{spoken(combined.prediction_low, 2)} to {spoken(combined.prediction_high, 2, sign)}"
        spread += f"; a level not yet seen would lie at {ends}"
    differs = "differs between levels" if combined.q_p_value < 0.05 else "shows no clear difference between levels"
    return FamilyRow(
        outcome=first.outcome,
        support=first.support,
        unit=first.unit,
        split=first.split or "",
        n_levels=len(members),
        overall=combined.overall,
        overall_low=combined.overall_low,
        overall_high=combined.overall_high,
        between_sd=combined.between_sd,
        prediction_low=combined.prediction_low if bounded else None,
        prediction_high=combined.prediction_high if bounded else None,
        p_value=combined.q_p_value,
        words=f"{name_of(first.support)} {differs} in {first.outcome.replace('_', ' ')}: {spread}.",
    )
