"""Does an estimate rest on one rider, and are its residuals what the intervals assume?"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.answers_effects import InfluenceRow, ResidualRow
from dashboard.questions.effect_models import OUTCOMES, Fits
from dashboard.questions.supports import SUPPORTS, Rows
from shared.statistics.estimability import demeaned

_PROBABILITIES = (0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999)


def riders_by_code(rows: Rows) -> NDArray[np.generic]:
    """The studio's id of each rider code, shape (riders,)."""
    codes, first = np.unique(rows["rider"], return_index=True)
    names = np.empty(int(codes.max()) + 1, dtype=object)
    names[codes] = rows["rider_id"][first]
    return names


def influence_rows(outcome: str, fits: Fits, rider_ids: NDArray[np.generic]) -> Iterator[InfluenceRow]:
    """One row a support: each estimate with any one rider left out, to first order (estimate less the rider's influence)."""
    for support in SUPPORTS:
        if support not in fits.within_table or support not in fits.pooled_table:
            continue
        pooled, within = fits.pooled_table[support].estimate, fits.within_table[support].estimate
        by_rider = fits.pooled.influence[:, fits.pooled.terms.index(support)]
        inside = fits.within.influence[:, fits.within.terms.index(support)]
        lowest, highest = int(np.argmax(by_rider)), int(np.argmin(by_rider))
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
        )


def residual_rows(outcome: str, fits: Fits, rows: Rows) -> Iterator[ResidualRow]:
    """Quantiles of the within-knee residuals, scaled for the means taken off, beside the normal curve's."""
    present = np.isfinite(rows[outcome].astype(float))
    knee = rows["session_knee"][present]
    columns = {column.term: index for index, column in enumerate(fits.design.columns)}
    others = {term: index for index, term in enumerate(fits.design.within_terms)}
    design = np.column_stack(
        [
            fits.design.supports[:, columns[term]] if term in columns else fits.design.within_others[:, others[term]]
            for term in fits.within.terms
        ]
    )
    counts = np.bincount(knee)[knee]
    repeated = counts > 1
    left = demeaned(np.column_stack([rows[outcome].astype(float)[present], design]), knee)
    residual = (left[:, 0] - left[:, 1:] @ fits.within.estimate)[repeated] * np.sqrt(counts / np.maximum(counts - 1, 1))[
        repeated
    ]
    spread = float(residual.std())
    for probability in _PROBABILITIES:
        yield ResidualRow(
            outcome=outcome,
            unit=OUTCOMES[outcome],
            probability=probability,
            residual=float(np.quantile(residual, probability)),
            normal=float(stats.norm.ppf(probability)) * spread,
        )
