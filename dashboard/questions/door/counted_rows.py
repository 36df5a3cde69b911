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
_COMPARED: Final = frozenset({"q_value", "words", "centre", "limit_low", "limit_high", "in_base", "signals", "is_partial"})
# What describes a row and counts nothing.
_KEPT: Final = frozenset({"unit", "counted", "told", "dose_unit", "limit", "published_share", "is_partial", "in_base", "note"})


def _kinds(row: type) -> dict[str, str]:
    return {name: str(kind) for name, kind in inspect.get_annotations(row).items()}


_PATTERNS = ("arrival_pattern", "departure_pattern")
_OF_LEVEL = ("split", "level")
_CHANGES = ("n_resolved", "n_persisting", "n_new", "n_none")
_MOMENTS = ("from_moment", "to_moment")
# Lists by question that a reader who may not see cases is given, row by row.
FIGURES: Final[dict[str, dict[str, Counted]]] = {
    "effects": {
        "effects": Counted(("outcome", "support", *_OF_LEVEL), ("level",)),
        "dose": Counted(("outcome", "support", "dose"), ("dose",)),
        "responders": Counted(("outcome", "response"), cells=("n",), units="total"),
        "off_neutral": Counted(("arrival_direction",), ("arrival_direction",), units="n_knees"),
    },
    "studio": {"figures": Counted(("figure",), units="n"), "trend": Counted(("figure", "month"), ("month",), units="n")},
    "noise": {"noise": Counted(("outcome",)), "groups": Counted(("group", "level", "outcome"), ("level",))},
    "returns": {
        "figures": Counted(("figure", *_OF_LEVEL), ("level",), units="n"),
        "curve": Counted((*_OF_LEVEL, "days"), riders=("n_at_risk",), visits=2),
        "at_risk": Counted((*_OF_LEVEL, "days"), riders=("n_at_risk",), visits=2),
        "lasting": Counted(("outcome",), riders=("n_riders_seen",), units="n_seen"),
        "said": Counted(("topic",), units="n"),
    },
    "trends": {"trend": Counted(("figure", "period"), ("period",), units="n")},
    "asymmetry": {
        "prevalence": Counted(("quantity", "moment", *_OF_LEVEL), ("level",)),
        "change": Counted(("finding", *_OF_LEVEL), ("level",), cells=_CHANGES),
        "patterns": Counted(("finding", *_OF_LEVEL), ("level",), cells=_CHANGES),
        "differences": Counted(("quantity", "moment", *_OF_LEVEL), ("level",), units="n_fits"),
        "curve": Counted(("quantity", "moment", "limit")),
        "flow": Counted(_PATTERNS, _PATTERNS, cells=("n_riders",)),
        "repeats": Counted(("quantity",), cells=("n_no_longer",)),
    },
    "ratings": {
        "ratings": Counted(("topic", *_MOMENTS, *_OF_LEVEL), ("level",)),
        "body_parts": Counted(("topic", "body_part", *_MOMENTS), ("body_part",)),
    },
    "types": {
        "types": Counted(("column", "kind", *_OF_LEVEL), ("level",), cells=("n_feet_of_kind",), units="n_feet"),
        "alike": Counted(("column",), cells=("n_alike",)),
    },
    "agreement": {
        "agreement": Counted(("by", "level"), ("level",), units="n_judged"),
        "months": Counted(("by", "level"), ("level",), units="n_judged"),
        "rules": Counted(("rule",), cells=("n_notes", "n_flags"), units="n_asked"),
        "outcomes": Counted(("outcome",), units="n_fits"),
        "shim_places": Counted(("outcome", "place")),
    },
    "periods": {
        "periods": Counted(("figure", "which", "date_from", "date_to"), units="n"),
        "changes": Counted(("figure", "against"), riders=("n_riders_this", "n_riders_against")),
    },
}
