"""Which rows of the answers an anonymous export gives out, and how coarsely: figures of groups, ten on either side.

Held back are rows that rest on too few; rows of which a share tells fewer than that many, or all but so few; what would give
such a row back as a difference; columns of sentences and notes. What remains is rounded, so that sums of unlike
lists cannot be taken from each other exactly.
"""

import dataclasses
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final


@dataclass(frozen=True)
class Told:
    """How one list is told: `parts`, the column whose values add up to the rows without it (levels, quarters): where some are
    held back, at least two are, of enough together; `together`: rows of one such word stand or fall as one.
    """

    parts: str | None = None
    together: Callable[[Any], Any] | None = None


def _kind_of_setup(row: Any) -> Any:
    return row.figure.startswith("setup_kept") or row.figure


# What is given out of each answer: lists of groups, none of which names a rider, a fit or a fitter. Not curves by day and of
# limits, of which each step is one rider; not months, of which a quarter is told; not what lies beside the selection.
LISTS: Final[dict[str, dict[str, Told]]] = {
    "studio": {"figures": Told()},
    "effects": {
        "effects": Told("level"),
        "families": Told(),
        "dose": Told(),
        "off_neutral": Told("arrival_direction"),
        "responders": Told(together=lambda row: row.outcome),
    },
    "noise": {"noise": Told()},
    "returns": {
        "figures": Told("level", _kind_of_setup),
        "comparisons": Told(),
        "lasting": Told(),
        "said": Told(),
    },
    "trends": {"trend": Told("period"), "charts": Told()},
    "asymmetry": {"prevalence": Told("level"), "change": Told("level"), "patterns": Told("level")},
    "ratings": {"ratings": Told("level")},
    "types": {"types": Told("level", lambda row: row.column), "alike": Told()},
    "agreement": {"agreement": Told("level"), "rules": Told(), "outcomes": Told()},
}
# A question that is told by period is asked by quarter, since an export is of whole quarters.
ASKED_WITH: Final[dict[str, dict[str, tuple[str, ...]]]] = {"trends": {"every": ("quarter",)}}
# Sentences repeat figures as they were before rounding; notes are the studio's own words.
LEFT_OUT: Final = ("words", "note")
# Columns that count riders, fits, feet or answers, in the order in which a share rests on them.
_BASES: Final = ("n_judged", "n_asked", "n_feet", "n_pairs", "n_seen", "n_knees", "total", "n", "n_changes", "n_riders")
# Columns that count feet or knees, of which a fit has two; in `total` of the responders.
_OF_BOTH_SIDES: Final = ("n_asked", "n_feet", "n_knees", "total")
_COUNTS_OF_OTHERS: Final = ("n_levels", "n_signals", "n_base", "n_effective")
# Of the literature.
_EXACT: Final = ("published_share",)
# Counts are rounded to this.
_ROUNDED_TO: Final = 5


def shown(question: str, name: str, rows: Iterable[Any], few: int, most_fits: int = 1) -> list[Any]:
    """The rows of a list that are given out, rounded; none of a list that is not in LISTS.

    `most_fits`: how many fits of one rider a row may hold, by which a count of fits, feet or knees becomes one of riders.
    """
    rule = LISTS.get(question, {}).get(name)
    if rule is None:
        return []
    every = list(rows)
    kept = [_rests_on_enough(row, few, most_fits) for row in every]
    if rule.together:
        kept = _stand_or_fall(every, kept, rule)
    if rule.parts:
        kept = _without_differences(every, kept, rule, few, most_fits)
    return [_rounded(row) for row, is_kept in zip(every, kept, strict=True) if is_kept]


def _rests_on_enough(row: Any, few: int, most_fits: int) -> bool:
    counts = [getattr(row, name) for name in _counts(row)]
    base = _base(row)
    if any(0 < count < few for count in counts) or (base is not None and _riders(row, most_fits) < few):
        return False
    return base is None or all(few <= share * base + 1e-6 and share * base <= base - few + 1e-6 for share in _shares(row))


def _counts(row: Any) -> list[str]:
    names = [field.name for field in dataclasses.fields(row)]
    return [
        name
        for name in names
        if (name.startswith("n_") or name in ("n", "total"))
        and name not in _COUNTS_OF_OTHERS
        and isinstance(getattr(row, name), int)
    ]


def _base(row: Any) -> int | None:
    """The count that a row's shares rest on."""
    return next((value for name in _BASES if isinstance(value := getattr(row, name, None), int)), None)


def _riders(row: Any, most_fits: int) -> float:
    """At least so many riders a row rests on: as it says, or what it counts by the most that one rider can bring."""
    for name in ("n_riders", "n_riders_seen"):
        if isinstance(n_riders := getattr(row, name, None), int):
            return n_riders
    of_both_sides = getattr(row, "counted", None) == "knee" or any(hasattr(row, name) for name in _OF_BOTH_SIDES)
    return (_base(row) or 0) / (most_fits * (2 if of_both_sides else 1))


def _shares(row: Any) -> list[float]:
    names = [field.name for field in dataclasses.fields(row) if field.name.startswith("share") or field.name == "held"]
    if getattr(row, "unit", None) == "share" and hasattr(row, "estimate"):
        names.append("estimate")
    return [value for name in names if (value := getattr(row, name)) is not None]


def _stand_or_fall(rows: list[Any], kept: list[bool], rule: Told) -> list[bool]:
    """Where one of the rows that belong together is held back, all are: the others would give it back."""
    assert rule.together is not None
    fallen = {(_level(row), rule.together(row)) for row, is_kept in zip(rows, kept, strict=True) if not is_kept}
    return [is_kept and (_level(row), rule.together(row)) not in fallen for row, is_kept in zip(rows, kept, strict=True)]


def _level(row: Any) -> Any:
    return getattr(row, "split", None), getattr(row, "level", None)


def _without_differences(rows: list[Any], kept: list[bool], rule: Told, few: int, most_fits: int) -> list[bool]:
    """Holds back the smallest row beside one that is held back, until those held back are at least two, of enough together."""
    kept = list(kept)
    families: dict[Any, list[int]] = {}
    for place, row in enumerate(rows):
        if getattr(row, rule.parts or "") is not None:
            families.setdefault(_words_but(row, rule.parts), []).append(place)
    for places in families.values():
        riders = {place: _riders(rows[place], most_fits) for place in places}
        while _is_a_difference([riders[place] for place in places if not kept[place]], few):
            left = [place for place in places if kept[place]]
            if not left:
                break
            kept[min(left, key=lambda place: riders[place])] = False
    return kept


def _is_a_difference(held_back: list[float], few: int) -> bool:
    """Whether what is held back is one row, or of too few together, so that the whole less the others tells it."""
    of_some = [count for count in held_back if count]
    return bool(of_some) and (len(of_some) == 1 or sum(of_some) < few)


def _words_but(row: Any, parts: str | None) -> Any:
    """What names a row beside the column of its parts: its words and classes."""
    return tuple(
        value
        for field in dataclasses.fields(row)
        if field.name not in (parts, "told_by", *LEFT_OUT) and not field.name.startswith(("signals", "is_", "in_"))
        if isinstance(value := getattr(row, field.name), str)
    )


def _rounded(row: Any) -> Any:
    is_of_shares = bool(_shares(row))
    counts = _counts(row)
    return dataclasses.replace(
        row,
        **{name: _ROUNDED_TO * round(getattr(row, name) / _ROUNDED_TO) for name in counts},
        **{
            field.name: round(value, 2) if is_of_shares or field.name.endswith(("p_value", "q_value")) else _three_digits(value)
            for field in dataclasses.fields(row)
            if isinstance(value := getattr(row, field.name), float) and field.name not in _EXACT
        },
    )


def _three_digits(value: float) -> float:
    if value == 0 or not math.isfinite(value):
        return value
    return round(value, 2 - math.floor(math.log10(abs(value))))
