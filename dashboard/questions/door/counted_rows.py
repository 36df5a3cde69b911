"""Which field of which list counts the riders behind a row, and what a row becomes that rests on too few."""

import inspect
from dataclasses import dataclass, replace
from typing import Any, Final

TOO_FEW: Final = "Rests on fewer riders than are told apart from their figures, so it is left out here."


class _Few(int):
    """A count that is not told: nothing where it is added up or compared, "few" where it is read, empty in a table of text."""

    def __format__(self, form: str) -> str:
        return "few"

    def __str__(self) -> str:
        return ""


FEW: Final = _Few(0)


def is_few(count: int) -> bool:
    """Whether a count is one that is not told."""
    return isinstance(count, _Few)


@dataclass(frozen=True)
class Counted:
    """How the rows of a list name themselves and count.

    key: the fields that name a row. parts: those of them by which rows part a whole, so that a hidden row could be had by
    subtraction. riders: the fields that count riders, of which the smallest tells. cells: counts that are figures of their
    own, so that each must be nothing or enough. units: a count of fits, or of feet, which are at most two a fit.
    visits: how many of what `riders` counts one rider is taken to have, where it counts fits.
    """

    key: tuple[str, ...]
    parts: tuple[str, ...] = ()
    riders: tuple[str, ...] = ("n_riders",)
    cells: tuple[str, ...] = ()
    units: str = ""
    visits: int = 1

    def name(self, row: Any) -> tuple[Any, ...]:
        return tuple(getattr(row, field) for field in self.key)

    def parted(self, row: Any) -> tuple[Any, ...]:
        """The name that the row shares with the other parts of the same whole."""
        return tuple(getattr(row, field) for field in self.key if field not in self.parts)

    def whole(self, row: Any) -> tuple[Any, ...]:
        """The name of the row that tells of the whole which the row is a part of."""
        return tuple(None if field in (*self.parts, *_SPLIT_BY) else getattr(row, field) for field in self.key)

    def counts(self, row: Any) -> tuple[int, ...]:
        """All that the row rests on, riders first."""
        rests_on = (name for name in _kinds(type(row)) if name in _RESTS_ON)
        return (self.n_riders(row), *(int(getattr(row, name) or 0) for name in rests_on))

    def tells_the_same(self, row: Any, other: Any) -> bool:
        """Whether two rows of one name tell the same of the same riders, whatever they are compared with."""
        return all(getattr(row, name) == getattr(other, name) for name in _kinds(type(row)) if name not in _COMPARED)

    def n_riders(self, row: Any) -> int:
        return min(int(getattr(row, field) or 0) for field in self.riders) // self.visits

    def gap(self, row: Any, other: Any, most: int) -> int:
        """At least how many riders two rows of one name differ by, where a rider has at most `most` units."""
        riders = abs(self.n_riders(row) - self.n_riders(other))
        units = abs(int(getattr(row, self.units) or 0) - int(getattr(other, self.units) or 0)) if self.units else 0
        return max(riders, -(-units // most))

    def has_small_cell(self, row: Any, least: int) -> bool:
        return any(0 < getattr(row, cell) < least for cell in self.cells)

    def blank(self, row: Any) -> Any:
        """The row with its name alone."""
        emptied: dict[str, Any] = {}
        for name, kind in _kinds(type(row)).items():
            if name in self.key or name in _KEPT:
                continue
            if name == "words":
                emptied[name] = TOO_FEW
            elif "str" in kind:
                emptied[name] = ""
            elif "bool" in kind:
                emptied[name] = name == "is_few"
            else:
                emptied[name] = None if "None" in kind else FEW
        return replace(row, **emptied)


# The columns by which the rows of a list are parted, where `parts` is the level.
_SPLIT_BY: Final = ("split", "by", "group")
# Counts of what a row rests on.
_RESTS_ON: Final = frozenset(
    {"n", "total", "n_fits", "n_knees", "n_feet", "n_pairs", "n_judged", "n_asked", "n_seen", "n_changes", "n_at_risk"}
)
# What a row is compared with.
_COMPARED: Final = frozenset(
    {"q_value", "line_q_value", "words", "centre", "limit_low", "limit_high", "in_base", "signals", "is_partial"}
)
# What describes a row and counts nothing.
_KEPT: Final = frozenset({"unit", "counted", "told", "dose_unit", "limit", "published_share", "is_partial", "in_base", "note"})


def _kinds(row: type) -> dict[str, str]:
    return {name: str(kind) for name, kind in inspect.get_annotations(row).items()}
