"""The plain-word verdict on one support. The words never claim more than the told interval and the q-value allow."""

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.numbers import spoken
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
    told = f"{name} shows no clear change in {noun}: anything from {spoken(low, 2)} to {spoken(high, 2, sign)}"
    if low <= 0 <= high:
        return told
    return f"{told}, which among so many figures may be chance"


def verdict(row: EffectRow, apart: str) -> str:
    """The claim, how the two estimates stand to each other (APART, UNSURE, AGREE), and whether the p-value is rough."""
    told, sign = claim(row), UNITS[row.unit].sign
    if apart == APART:
        told += (
            f". The two estimates differ by more than their noise (pooled {spoken(row.pooled or 0.0, 2, sign)}, "
            f"within-knee {spoken(row.within or 0.0, 2, sign)}): the truth may lie anywhere between"
        )
    else:
        told += f"; {_SPOKEN[apart]}"
    return f"{told}. {ROUGH}" if row.is_rough else f"{told}."


ROUGH = "It rests on so few riders that how often chance alone would bring it is a rough figure."


def not_enough(support: str, n_changes: int, n_riders: int, minimum: str) -> str:
    """For a support that was changed too seldom."""
    changes = f"{n_changes} change{'' if n_changes == 1 else 's'}"
    riders = f"{n_riders} rider{'' if n_riders == 1 else 's'}"
    return f"{_SUPPORTS[support]}: not enough yet, {changes} in {riders}; an estimate needs {minimum}."


def not_changed(support: str) -> str:
    """For a support that never changed within a knee."""
    return f"{_SUPPORTS[support]}: no figure, since it was never changed between two captures of one knee."


def changed_together(support: str, partners: list[str], with_order: bool) -> str:
    """For supports whose changes cannot be told apart, or not from the order of the captures."""
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
    """For an effect that rests on one rider alone."""
    return f"{_SUPPORTS[support]}: not enough yet, since the figure would rest on one rider alone."
