"""What the data cannot tell apart is named with its partners."""

import numpy as np

from shared.statistics.estimability import demeaned, not_estimable

GROUP = np.repeat(np.arange(4), 3)
A = np.tile([0.0, 1.0, 2.0], 4)
B = np.tile([0.0, 0.0, 1.0], 4)


def test_independent_columns_are_estimable() -> None:
    assert not_estimable(np.column_stack([A, B]), ("a", "b"), GROUP) == {}


def test_a_column_that_never_changes_within_a_group_has_no_partner() -> None:
    constant = GROUP.astype(float)
    assert not_estimable(np.column_stack([A, constant]), ("a", "constant"), GROUP) == {"constant": ()}


def test_two_columns_always_changed_together_name_each_other() -> None:
    together = 0.5 * A + GROUP
    found = not_estimable(np.column_stack([A, B, together]), ("a", "b", "together"), GROUP)
    assert found == {"a": ("together",), "together": ("a",)}


def test_a_sum_of_two_ties_all_three() -> None:
    found = not_estimable(np.column_stack([A, B, A + B]), ("a", "b", "sum"), GROUP)
    assert set(found) == {"a", "b", "sum"}


def test_nothing_to_estimate() -> None:
    assert not_estimable(np.empty((12, 0)), (), GROUP) == {}


def test_group_means_are_taken_off_and_absent_codes_do_no_harm() -> None:
    left = demeaned(np.column_stack([A]), GROUP * 2)
    assert np.allclose(left[:, 0], A - 1.0)
