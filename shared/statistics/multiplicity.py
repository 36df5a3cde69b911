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


def in_family(p_values: Sequence[float | None], price: float = 1.0) -> list[float | None]:
    """The q-values of one family in the order given; None stands for what was not tested and is no part of it.

    price: 1 or more, by which each q-value is multiplied, to 1 at most: what the family pays for others that may be looked at
    beside it. With n families like this one a price of n keeps a false claim in any of them as rare as in one (Bonferroni).
    """
    adjusted = iter(benjamini_hochberg([value for value in p_values if value is not None]))
    return [None if value is None else min(1.0, price * next(adjusted)) for value in p_values]
