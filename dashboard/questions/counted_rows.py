"""Which field of which list counts the riders behind a row, and what a row becomes that rests on too few."""

import inspect
from dataclasses import dataclass, replace
from typing import Any, Final

TOO_FEW: Final = "Rests on fewer riders than are told apart from their figures, so it is left out here."


@dataclass(frozen=True)
class Counted:
    """How the rows of a list name themselves and count.

    key: the fields that name a row. part: the one of them whose rows part a whole, so that a hidden row could be had by
    subtraction. riders: the fields that count riders, of which the smallest tells. cells: counts that are figures of their own,
    so that each must be nothing or enough. levels: whether `split` and `level` say which feet a row is of.
    """

    key: tuple[str, ...]
    part: str | None = None
    riders: tuple[str, ...] = ("n_riders",)
    cells: tuple[str, ...] = ()

    def name(self, row: Any) -> tuple[Any, ...]:
        return tuple(getattr(row, field) for field in self.key)

    def whole(self, row: Any) -> tuple[Any, ...]:
        """The name of what the row is a part of."""
        return tuple(getattr(row, field) for field in self.key if field != self.part)

    def tells_the_same(self, row: Any, other: Any) -> bool:
        """Whether two rows of one name tell the same of the same riders, whatever they are compared with."""
        return all(getattr(row, name) == getattr(other, name) for name in _kinds(type(row)) if name not in _COMPARED)

    def n_riders(self, row: Any) -> int:
        return min(int(getattr(row, field) or 0) for field in self.riders)

    def has_small_cell(self, row: Any, least: int) -> bool:
        return any(0 < getattr(row, cell) < least for cell in self.cells)

    def blank(self, row: Any) -> Any:
        """The row with its name alone; None where it would be none without its numbers."""
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
                emptied[name] = None
        return replace(row, **emptied)


# What a row is compared with.
_COMPARED: Final = frozenset({"q_value", "words", "centre", "limit_low", "limit_high", "in_base", "signals", "is_partial"})
# What describes a row and counts nothing.
_KEPT: Final = frozenset({"unit", "counted", "told", "dose_unit", "limit", "published_share", "is_partial", "in_base", "note"})


def _kinds(row: type) -> dict[str, str]:
    return {name: str(kind) for name, kind in inspect.get_annotations(row).items()}


_OF_LEVEL = ("split", "level")
_CHANGES = ("n_resolved", "n_persisting", "n_new", "n_none")
_MOMENTS = ("from_moment", "to_moment")
# Lists by question that a reader who may not see cases is given, row by row.
FIGURES: Final[dict[str, dict[str, Counted]]] = {
    "effects": {
        "effects": Counted(("outcome", "support", *_OF_LEVEL), "level"),
        "dose": Counted(("outcome", "support", "dose"), "dose"),
        "responders": Counted(("outcome", "response")),
        "off_neutral": Counted(("arrival_direction",), "arrival_direction"),
    },
    "studio": {"figures": Counted(("figure",)), "trend": Counted(("figure", "month"), "month")},
    "noise": {"noise": Counted(("outcome",)), "groups": Counted(("group", "level", "outcome"), "level")},
    "returns": {
        "figures": Counted(("figure", *_OF_LEVEL), "level"),
        "lasting": Counted(("outcome",), riders=("n_riders_seen",)),
        "said": Counted(("topic",)),
    },
    "trends": {"trend": Counted(("figure", "period"), "period")},
    "asymmetry": {
        "prevalence": Counted(("quantity", "moment", *_OF_LEVEL), "level"),
        "change": Counted(("finding", *_OF_LEVEL), "level", cells=_CHANGES),
        "patterns": Counted(("finding", *_OF_LEVEL), "level", cells=_CHANGES),
        "differences": Counted(("quantity", "moment", *_OF_LEVEL), "level"),
        "flow": Counted(("arrival_pattern", "departure_pattern"), cells=("n_riders",)),
        "repeats": Counted(("quantity",), cells=("n_no_longer",)),
    },
    "ratings": {
        "ratings": Counted(("topic", *_MOMENTS, *_OF_LEVEL), "level"),
        "body_parts": Counted(("topic", "body_part", *_MOMENTS), "body_part"),
    },
    "types": {
        "types": Counted(("column", "kind", *_OF_LEVEL), "level", cells=("n_feet_of_kind",)),
        "alike": Counted(("column",), cells=("n_alike",)),
    },
    "agreement": {
        "agreement": Counted(("by", "level"), "level"),
        "months": Counted(("by", "level"), "level"),
        "rules": Counted(("rule",), cells=("n_notes", "n_flags")),
        "outcomes": Counted(("outcome",)),
        "shim_places": Counted(("outcome", "place")),
    },
    "periods": {
        "periods": Counted(("figure", "which", "date_from", "date_to")),
        "changes": Counted(("figure", "against"), riders=("n_riders_this", "n_riders_against")),
    },
}
