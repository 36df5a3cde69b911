"""The plain-word verdict on one support. The words never claim more than the told interval and the q-value allow."""

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.numbers import spoken
from shared.statistics.told import NO_THIRD, NOT_NARROWER, OTHER_FORM, OUTSIDE, OVER_IDENTIFIED, PERSISTS, WEAK
from shared.units import UNITS

_SUPPORTS = {
    "insole_low": "A low insole",
    "insole_medium": "A medium insole",
    "insole_high": "A high insole",
    "insole_custom": "A custom insole",
    "shim": "One more varus shim",
    "stance": "One mm of outward stance",
}
_RISES = {
    "tilt": "raises the tilt",
    "sway": "adds sway",
    "offset": "moves the knee outward",
    "off_neutral": "takes the knee further from neutral",
}
_FALLS = {
    "tilt": "lowers the tilt",
    "sway": "takes sway away",
    "offset": "moves the knee inward",
    "off_neutral": "brings the knee nearer to neutral",
}
_NOUNS = {"off_neutral": "the distance from neutral"}


# How the two estimates stand to each other.
APART, UNSURE, AGREE = "apart", "unsure", "agree"
_SPOKEN = {AGREE: "both estimates agree", UNSURE: "no disagreement found, and little could be"}


def name_of(support: str) -> str:
    """A support as a sentence begins with it."""
    return _SUPPORTS[support]


def claim(row: EffectRow) -> str:
    """What may be claimed of a row: a change in its direction, otherwise the told interval itself."""
    name, sign = _SUPPORTS[row.support], UNITS[row.unit].sign
    low, high = row.told_low or 0.0, row.told_high or 0.0
    if row.direction > 0:
        return f"{name} {_RISES[row.outcome]} by {spoken(low, 2)} to {spoken(high, 2, sign)}"
    if row.direction < 0:
        return f"{name} {_FALLS[row.outcome]} by {spoken(-high, 2)} to {spoken(-low, 2, sign)}"
    noun = _NOUNS.get(row.outcome, row.outcome)
    words = f"{name} shows no clear change in {noun}: anything from {spoken(low, 2)} to {spoken(high, 2, sign)}"
    if low <= 0 <= high:
        return words
    return f"{words}, which among so many figures may be chance"


# Why the third estimate leaves a bracket as it is, as a sentence ends.
_WHY = {
    NO_THIRD: "too few riders have captures enough for the third",
    OTHER_FORM: "the third allows neither for a late effect nor for a drift by arch, and one was found",
    WEAK: "too few of the changes could be foreseen for the third to settle it",
    PERSISTS: "the third does not settle it, since the noise of one capture seems to reach the next",
    OVER_IDENTIFIED: "the third does not settle it, since the records it goes by contradict one another",
    OUTSIDE: "the third lies outside of both, so that none is believed over another",
    NOT_NARROWER: "the third is too uncertain to settle it",
}


def verdict(row: EffectRow, apart: str, why: str | None = None) -> str:
    """The claim, how the two estimates stand to each other (APART, UNSURE, AGREE), what the third makes of it (why: the reason
    where it does not narrow the bracket), and whether the p-value is rough."""
    words, sign = claim(row), UNITS[row.unit].sign
    if apart == APART:
        words += (
            f". The two estimates differ by more than their noise (pooled {spoken(row.pooled or 0.0, 2, sign)}, "
            f"within-knee {spoken(row.within or 0.0, 2, sign)}): "
        )
        if row.told_by == "sequential":
            words += (
                f"the third, by what was known before each capture, is {spoken(row.sequential or 0.0, 2, sign)} and narrows it"
            )
        else:
            words += f"the truth may lie anywhere between{f'; {_WHY[why]}' if why else ''}"
    else:
        words += f"; {_SPOKEN[apart]}"
    return f"{words}. {ROUGH}" if row.is_rough else f"{words}."


ROUGH = "It rests on so few riders that how often chance alone would bring it is a rough figure."


def not_enough(support: str, n_changes: int, n_riders: int, minimum: str) -> str:
    """The sentence for a support that was changed too seldom."""
    changes = f"{n_changes} change{'' if n_changes == 1 else 's'}"
    riders = f"{n_riders} rider{'' if n_riders == 1 else 's'}"
    return f"{_SUPPORTS[support]}: not enough yet, {changes} in {riders}; an estimate needs {minimum}."


def not_changed(support: str) -> str:
    """The sentence for a support that never changed within a knee."""
    return f"{_SUPPORTS[support]}: no figure, since it was never changed between two captures of one knee."


def changed_together(support: str, partners: list[str], with_order: bool) -> str:
    """The sentence for supports whose changes cannot be told apart, or not from the order of the captures."""
    tied = " and ".join(_SUPPORTS[partner].lower() for partner in dict.fromkeys(partners))
    if with_order:
        beside = f", beside {tied}," if tied else ""
        return (
            f"{_SUPPORTS[support]}: no figure, since its changes{beside} always came at the same place of the session and "
            "cannot be told from a drift of the session. Record a repeat capture, or vary the order."
        )
    return (
        f"{_SUPPORTS[support]}: no figure, since it was always changed together with {tied}. "
        "Change one support at a time to tell them apart."
    )


def one_rider(support: str) -> str:
    """The sentence for an effect that rests on one rider alone."""
    return f"{_SUPPORTS[support]}: not enough yet, since the figure would rest on one rider alone."
