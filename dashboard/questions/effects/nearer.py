"""What brings a knee nearer to neutral, and for whom: the sentence on each support's effect on the distance from neutral, for
knees that came inward, near neutral and outward."""

from collections.abc import Callable, Iterable, Sequence

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.frames import SUPPORTS
from dashboard.questions.models.verdict import name_of
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted

SPLIT = "arrival_direction"
# Where a knee can come nearer from, in the order in which it is told.
_AWAY = ("inward", "outward")
NOT_ENOUGH = "Not enough yet: no support was changed often enough to say whether it brings a knee nearer to neutral."


def rows_by_arrival(rows: Iterable[EffectRow]) -> list[EffectRow]:
    """The rows on the distance from neutral by arrival direction, out of all rows of an answer."""
    return [row for row in rows if row.split == SPLIT and row.outcome == "off_neutral"]


def headline_of(rows: Iterable[EffectRow], carried: Callable[[EffectRow], Sequence[str]] = lambda _: ()) -> str:
    """The sentence that answers: for knees that came inward and outward the support that clearly brings them nearer (one more
    shim where that is clear, else the surest); without any, what clearly takes them further; else that nothing is clear.

    carried: what the checks of the effects on the tilt found of the support of a row, which a claim carries.
    """
    told = [row for row in rows_by_arrival(rows) if row.told_low is not None]
    if not told:
        return NOT_ENOUGH
    nearer = [row for direction in _AWAY if (row := _leading(_of(told, direction), -1))]
    if nearer:
        silent = [direction for direction in _AWAY if all(row.level != direction for row in nearer)]
        brought, *also = nearer
        told_of = "; ".join((_brought(brought), *map(_brought_too, also)))
        others = [_for_others(_of(told, one), one) for one in silent]
        return " ".join((f"{told_of}.", *others, *_carried(nearer, carried)))
    if further := _leading(told, 1):
        words = f"{_taken(further)}. No support clearly brings a knee nearer."
        return " ".join((words, *_carried([further], carried)))
    first = _surest(told)
    assert first is not None
    all_told = len(told) == len(rows_by_arrival(rows))
    by_any = "by any support" if all_told else f"in what can be told yet, {counted(len(told), 'figure')}"
    return (
        f"No clear change in the distance from neutral {by_any}: with {_inside(name_of(first.support))}, knees that came "
        f"{first.level} moved anything from {shift_words(first)} ({_riders(first)})."
    )


def shift_words(row: EffectRow) -> str:
    """The told interval as a shift: 0.55° nearer to 0.02° further; 0.05 to 0.55° nearer."""
    low, high = row.told_low or 0.0, row.told_high or 0.0
    if high <= 0:
        return f"{spoken(-high, 2)} to {spoken(-low, 2, '°')} nearer"
    if low >= 0:
        return f"{spoken(low, 2)} to {spoken(high, 2, '°')} further"
    return f"{spoken(-low, 2, '°')} nearer to {spoken(high, 2, '°')} further"


def _of(rows: Sequence[EffectRow], direction: str) -> list[EffectRow]:
    return [row for row in rows if row.level == direction]


def _leading(rows: Sequence[EffectRow], direction: int) -> EffectRow | None:
    return _surest([row for row in rows if row.direction == direction])


def _surest(rows: Sequence[EffectRow]) -> EffectRow | None:
    """One more shim where it is among them, else the support of the smallest q."""
    return min(rows, key=lambda row: (row.support != "shim", row.q_value or 0.0, SUPPORTS.index(row.support)), default=None)


def _brought(row: EffectRow) -> str:
    return f"{name_of(row.support)} brings knees that came {row.level} nearer to neutral by {_size(row)} ({_riders(row)})"


def _brought_too(row: EffectRow) -> str:
    return f"{_inside(name_of(row.support))} those that came {row.level}, by {_size(row)} ({_riders(row)})"


def _taken(row: EffectRow) -> str:
    return f"{name_of(row.support)} takes knees that came {row.level} further from neutral by {_size(row)} ({_riders(row)})"


def _carried(rows: Sequence[EffectRow], carried: Callable[[EffectRow], Sequence[str]]) -> list[str]:
    return [f"On the tilt, {_inside(words)}" for words in dict.fromkeys(words for row in rows for words in carried(row))]


def _for_others(rows: Sequence[EffectRow], direction: str) -> str:
    if not rows:
        return f"For knees that came {direction}: not enough yet."
    return f"For knees that came {direction} none clearly does."


def _size(row: EffectRow) -> str:
    least, most = sorted((abs(row.told_low or 0.0), abs(row.told_high or 0.0)))
    return f"{spoken(least, 2)} to {spoken(most, 2, '°')}"


def _inside(words: str) -> str:
    """Words that began a sentence, as they stand within one."""
    return words[:1].lower() + words[1:]


def _riders(row: EffectRow) -> str:
    return counted(row.n_riders, "rider")
