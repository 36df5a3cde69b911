"""The levels of a split brought together: each drawn toward the overall effect by how little it tells on its own."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.effects.answers_effects import FamilyRow
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.claims import CHOSEN_BY_ARRIVAL, Found
from dashboard.questions.models.frames import SUPPORTS
from dashboard.questions.models.verdict import name_of
from dashboard.questions.selection.numbers import spoken
from shared.settings import Settings
from shared.statistics.multiplicity import in_family
from shared.statistics.pooling import Pooled, combine_types
from shared.units import UNITS

Floats = NDArray[np.float64]


def shrunken(found: Sequence[Found], settings: Settings) -> tuple[list[Found], list[FamilyRow]]:
    """The rows of one outcome and split with their shrunken estimates, and one comparison a support of two or more levels,
    which is not judged yet."""
    families: list[FamilyRow] = []
    drawn: dict[tuple[str, str | None], Found] = {}
    for support in SUPPORTS:
        members = [one for one in found if one.row.support == support and one.row.pooled is not None]
        if len(members) < 2:
            continue
        rows = [one.row for one in members]
        combined = combine_types(*_estimates(rows, "pooled", settings), settings.intervals.level)
        within = combine_types(*_estimates(rows, "within", settings), settings.intervals.level)
        families.append(_family(rows, combined, within))
        for index, one in enumerate(members):
            row = replace(
                one.row,
                shrunk=float(combined.shrunk[index]),
                shrunk_low=float(combined.shrunk_low[index]),
                shrunk_high=float(combined.shrunk_high[index]),
            )
            drawn[support, row.level] = replace(one, row=row)
    return [drawn.get((one.row.support, one.row.level), one) for one in found], families


def compared(families: Sequence[FamilyRow], price: float = 1.0) -> list[FamilyRow]:
    """The comparisons of an outcome and split, judged beside one another, with their words; price: as in in_family."""
    q_values = in_family([row.p_value for row in families], price)
    judged = [replace(row, q_value=q_value) for row, q_value in zip(families, q_values, strict=True)]
    return [replace(row, words=_words(row)) for row in judged]


def left_uncompared(families: Sequence[FamilyRow]) -> list[FamilyRow]:
    """The same where the levels are chosen by the arrival: nothing is judged, and why."""
    return [
        replace(row, words=f"{name_of(row.support)} is not compared between levels, since {CHOSEN_BY_ARRIVAL}.")
        for row in families
    ]


def _estimates(rows: Sequence[EffectRow], estimate: str, settings: Settings) -> tuple[Floats, Floats]:
    """Pooled or within-knee estimates and their standard errors, taken back from the intervals at the normal quantile."""
    z = float(stats.norm.ppf(0.5 + settings.intervals.level / 2))
    low, high = (np.array([getattr(row, f"{estimate}_{end}") for row in rows], dtype=float) for end in ("low", "high"))
    return np.array([getattr(row, estimate) for row in rows], dtype=float), (high - low) / (2 * z)


def _family(rows: Sequence[EffectRow], pooled: Pooled, within: Pooled) -> FamilyRow:
    bounded = np.isfinite(pooled.prediction_low)
    return FamilyRow(
        outcome=rows[0].outcome,
        support=rows[0].support,
        unit=rows[0].unit,
        split=rows[0].split or "",
        n_levels=len(rows),
        overall=pooled.overall,
        overall_low=pooled.overall_low,
        overall_high=pooled.overall_high,
        between_sd=pooled.between_sd,
        prediction_low=pooled.prediction_low if bounded else None,
        prediction_high=pooled.prediction_high if bounded else None,
        # A difference is claimed only where each estimate would claim it.
        p_value=max(pooled.q_p_value, within.q_p_value),
        words="",
    )


def _words(row: FamilyRow) -> str:
    sign = UNITS[row.unit].sign
    spread = f"spread between levels {spoken(row.between_sd, 2, sign)}"
    if row.prediction_low is not None and row.prediction_high is not None:
        ends = f"{spoken(row.prediction_low, 2)} to {spoken(row.prediction_high, 2, sign)}"
        spread += f"; a level not yet seen would lie at {ends}"
    differs = "differs between levels" if row.differs else "shows no clear difference between levels"
    return f"{name_of(row.support)} {differs} in {row.outcome.replace('_', ' ')}: {spread}."
