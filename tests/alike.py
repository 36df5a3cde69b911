"""Answers that are compared but for rounding."""

from typing import Any

import pytest


def assert_alike(answer: Any, expected: Any) -> None:
    """The same but for the order in which floats were summed: what outcomes share is summed with the one asked first."""
    if isinstance(expected, dict):
        assert answer.keys() == expected.keys()
        for key, value in expected.items():
            assert_alike(answer[key], value)
    elif isinstance(expected, list | tuple):
        assert len(answer) == len(expected)
        for one, other in zip(answer, expected, strict=True):
            assert_alike(one, other)
    elif isinstance(expected, float):
        assert answer == pytest.approx(expected, rel=1e-12, abs=1e-12)
    else:
        assert answer == expected
