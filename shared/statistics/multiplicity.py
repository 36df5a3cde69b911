"""Families of tests."""

from collections.abc import Sequence

from statsmodels.stats.multitest import multipletests


def benjamini_hochberg(p_values: Sequence[float]) -> list[float]:
    """Adjusted p-values (q-values) of one family, in the order given; an empty family gives an empty list.

    Source: Benjamini & Hochberg 1995, J R Stat Soc B 57:289.
    """
    if not len(p_values):
        return []
    return [float(value) for value in multipletests(p_values, method="fdr_bh")[1]]
