"""Which groups of fits may be told side by side: any two differ by no rider, or by enough of them.

A group is a set of places, three a fit: its left foot, its right foot, and the fit itself. Groups are taken in a fixed
order, family by family, and a group is given out where it holds enough riders and stands far enough from all that were
given out before; so the choice is the same at any time, for every reader of the same fits, and nothing needs to be noted of
who asked what. The reader's own fits count for nothing, since the reader knows them.
"""

from collections.abc import Collection, Hashable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

PLACES: Final = 3
# Groups of two families that share most of their places must be this many times further apart: of a figure that only some
# riders have, what they differ by is a part of it.
_ALIKE_APART: Final = 5


@dataclass(frozen=True)
class Places:
    """Whose each place is: `rider` (places,), and `others`, whether it is of a fit that is not the reader's own."""

    rider: Ints
    others: Flags
    # The most places that one rider has, of which two a fit are feet.
    most: int

    def everyone(self, group: Flags) -> int:
        """How many riders have a place in a group, the reader's own fits among them."""
        return int(np.count_nonzero(np.bincount(self.rider[group])))

    def riders(self, group: Flags) -> int:
        """How many riders have a place in a group, the reader's own fits left aside."""
        return int(np.count_nonzero(np.bincount(self.rider[group & self.others])))

    def own_riders(self, group: Flags) -> int:
        """How many riders have a place of the reader's own fits in a group."""
        return int(np.count_nonzero(np.bincount(self.rider[group & ~self.others])))

    def reaches(self, group: Flags, least: int) -> bool:
        """Whether a group has no rider, or at least so many."""
        n = int(np.count_nonzero(group & self.others))
        # So many places cannot belong to fewer riders.
        return n == 0 or n >= least * self.most or self.riders(group) >= least


def places_of(fit_no: Ints, rider: Ints, is_own: Flags) -> Places:
    """The places of fits whose numbers rise; of numbers in between that are no fit's, nobody's."""
    size = PLACES * (int(fit_no.max(initial=-1)) + 1)
    whose, others = np.zeros(size, dtype=np.int64), np.zeros(size, dtype=bool)
    at = (PLACES * fit_no[:, None] + np.arange(PLACES)).ravel()
    whose[at], others[at] = np.repeat(rider, PLACES), np.repeat(~is_own, PLACES)
    return Places(whose, others, int(np.bincount(np.repeat(rider, PLACES)).max(initial=1)))


def given_out(families: Mapping[str, Mapping[Hashable, Flags]], places: Places, least: int) -> dict[str, dict[Any, Flags]]:
    """The groups of each family that may be told; the first family holds the group that all others are part of."""
    given: dict[str, dict[Any, Flags]] = {}
    for family, groups in families.items():
        own: dict[Any, Flags] = {}
        given[family] = own
        for name, group in groups.items():
            if places.riders(group) >= least and _stands_apart(group, family, given, places, least):
                own[name] = group
        _leave_no_rest(given, family, places, least)
        if not given[next(iter(given))]:
            return {name: {} for name in families}
    return given


def _stands_apart(group: Flags, family: str, given: Mapping[str, Mapping[Any, Flags]], places: Places, least: int) -> bool:
    for name, others in given.items():
        for other in others.values():
            alike = name != family and 2 * np.count_nonzero(group & other) > np.count_nonzero(group | other)
            if not places.reaches(group ^ other, least * (_ALIKE_APART if alike else 1)):
                return False
        if not places.reaches(_rest(group, others)[0], least):
            return False
    return True


def _rest(group: Flags, others: Mapping[Any, Flags]) -> tuple[Flags, list[Any]]:
    """What is left of a group without those of `others` that lie in it, and which they are; nothing where there is none."""
    inside = [name for name, other in others.items() if not (other & ~group).any() and other is not group]
    if not inside:
        return np.zeros_like(group), inside
    return group & ~np.logical_or.reduce([others[name] for name in inside]), inside


def _leave_no_rest(given: dict[str, dict[Any, Flags]], family: str, places: Places, least: int) -> None:
    """Takes back the smallest groups of a family until none given out before less those in it leaves too few riders."""
    for group in _all_but(given, family):
        while True:
            rest, inside = _rest(group, given[family])
            if places.reaches(rest, least):
                break
            del given[family][min(inside, key=lambda name: places.riders(given[family][name]))]


def _all_but(given: Mapping[str, Mapping[Any, Flags]], family: str) -> Iterator[Flags]:
    for name, groups in given.items():
        if name != family:
            yield from groups.values()


# What a row counts, riders first.
Counts = tuple[int, ...]


def parts_to_hide(parts: Mapping[Any, Counts], whole: Counts | None, hidden: Collection[Any], least: int) -> Iterator[Any]:
    """The shown parts of a whole to be hidden as well, smallest first, so that nothing of too few is left by subtraction.

    parts, whole: what each counts. What is hidden holds at least as many riders as its largest part; what is left of the whole
    without the shown parts must be nothing or enough in each count.
    """
    behind = max((counts[0] for part, counts in parts.items() if part in hidden), default=0)
    shown = {part: counts for part, counts in parts.items() if part not in hidden and counts[0]}
    for part in sorted(shown, key=lambda one: shown[one]):
        rests = [] if whole is None else [n - sum(of) for n, *of in zip(whole, *shown.values(), strict=True)]
        if (behind == 0 or behind >= least) and not any(0 < rest < least for rest in rests):
            return
        behind = max(behind, shown.pop(part)[0])
        yield part
