"""Does an estimate rest on one rider, and are its residuals what the intervals assume?"""

from collections.abc import Collection, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.effects.answers_effects import InfluenceRow, ResidualRow
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.effect_models import OUTCOMES, Fits
from dashboard.questions.models.frames import ORDER, SUPPORTS, Varying, straight_columns
from shared.statistics.estimability import demeaned

# Two riders who moved an estimate alike differ by no more than this share of the largest influence.
EQUAL = 1e-9
_PROBABILITIES = (0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999)


def riders_by_code(captures: Captures) -> NDArray[np.generic]:
    """The studio's id of each rider code, shape (highest code + 1,)."""
    names = np.empty(int(captures.rider.max()) + 1, dtype=object)
    names[captures.rider] = captures.rider_id
    return names


def influence_rows(outcome: str, fits: Fits, rider_ids: NDArray[np.generic], told: Collection[str]) -> Iterator[InfluenceRow]:
    """One row a support that is told: each estimate with any one rider left out, to first order (estimate less influence)."""
    for support in (one for one in SUPPORTS if one in told):
        pooled, within = fits.pooled_table[support].estimate, fits.within_table[support].estimate
        by_rider = fits.pooled.influence[:, fits.pooled.terms.index(support)]
        inside = fits.within.influence[:, fits.within.terms.index(support)]
        lowest, highest = _first_highest(by_rider), _first_highest(-by_rider)
        least, most = _first_highest(inside), _first_highest(-inside)
        yield InfluenceRow(
            outcome=outcome,
            support=support,
            unit=OUTCOMES[outcome],
            pooled=pooled,
            pooled_without_low=pooled - float(by_rider.max()),
            pooled_without_high=pooled - float(by_rider.min()),
            within=within,
            within_without_low=within - float(inside.max()),
            within_without_high=within - float(inside.min()),
            rider_low=str(rider_ids[int(fits.pooled.riders[lowest])]),
            rider_high=str(rider_ids[int(fits.pooled.riders[highest])]),
            within_rider_low=str(rider_ids[int(fits.within.riders[least])]),
            within_rider_high=str(rider_ids[int(fits.within.riders[most])]),
        )


def _first_highest(values: NDArray[np.float64]) -> int:
    """Where the highest value stands, shape (n,): the first of riders built alike, whose values differ by rounding alone."""
    return int(np.argmax(values >= values.max() - EQUAL * np.abs(values).max()))


def residual_rows(
    captures: Captures, outcome: str, within: Mapping[str, float], columns: tuple[Varying, ...]
) -> Iterator[ResidualRow]:
    """Quantiles of the within-knee residuals, scaled for the means taken off, beside the normal curve's.

    within: the within-knee estimates by term, of `columns`; without any there is nothing to tell.
    """
    if not within:
        return
    present = captures.with_rows(np.isfinite(captures.rows[outcome]))
    columns = straight_columns() if ORDER in within else columns
    left = present.rows[outcome].copy()
    for column in columns:
        if column.term in within:
            left -= within[column.term] * column.values(present)
    left = demeaned(left[:, None], present.cell_of_row)[:, 0]
    scale = np.sqrt(present.n / np.maximum(present.n - 1, 1))
    residual = (left * scale[present.cell_of_row])[(present.n > 1)[present.cell_of_row]]
    spread = float(residual.std())
    quantiles = np.quantile(residual, _PROBABILITIES)
    for probability, quantile in zip(_PROBABILITIES, quantiles, strict=True):
        yield ResidualRow(
            outcome=outcome,
            unit=OUTCOMES[outcome],
            probability=probability,
            residual=float(quantile),
            normal=float(stats.norm.ppf(probability)) * spread,
        )
