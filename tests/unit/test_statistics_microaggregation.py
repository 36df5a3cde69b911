"""Groups of rows that lie close together: sizes, neighbours, refusal."""

import numpy as np
import pytest

from shared.errors import TooFewError
from shared.statistics.microaggregation import groups_of


@pytest.mark.parametrize("n", [10, 11, 19, 20, 29, 30, 31, 997, 4_321])
def test_every_group_holds_at_least_so_many_and_fewer_than_twice(n: int) -> None:
    labels = groups_of(np.random.default_rng(n).normal(size=(n, 4)), 10)
    sizes = np.bincount(labels)
    assert sizes.min() >= 10 and sizes.max() < 20 and sizes.sum() == n


def test_clusters_of_the_smallest_size_are_the_groups() -> None:
    """By definition of the method: the row farthest from the mean takes its nearest along, which are its own cluster."""
    centres = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 20.0], [30.0, 30.0]])
    generator = np.random.default_rng(3)
    order = generator.permutation(20)
    values = np.repeat(centres, 5, axis=0)[order] + generator.normal(scale=0.1, size=(20, 2))
    labels = groups_of(values, 5)
    assert len({(of, label) for of, label in zip(np.repeat(range(4), 5)[order], labels, strict=True)}) == 4


def test_rows_that_are_all_alike_are_parted_all_the_same() -> None:
    assert np.bincount(groups_of(np.zeros((25, 3)), 10)).tolist() == [10, 15]
    assert np.bincount(groups_of(np.zeros((25, 0)), 10)).tolist() == [10, 15]


def test_fewer_rows_than_one_group_are_refused() -> None:
    with pytest.raises(TooFewError, match="found 9 rows, expected at least 10"):
        groups_of(np.zeros((9, 2)), 10)
