"""The plain-word verdict on one support, and the rule that makes it. The words never claim more than the bracket."""

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Figures:
    """Both estimates and the bracket from the lower to the higher end of their intervals, in the outcome's unit."""

    pooled: float
    within: float
    bracket_low: float
    bracket_high: float
    disagree: bool


def name_of(support: str) -> str:
    """A support as a sentence begins with it."""
    return _SUPPORTS[support]


def claim(support: str, outcome: str, unit: str, low: float, high: float) -> str:
    """What the bracket alone allows to say: a change where it lies on one side of zero, otherwise the bracket itself."""
    name, sign = _SUPPORTS[support], UNITS[unit].sign
    if low > 0:
        return f"{name} {_RISES[outcome]} by {spoken(low, 2)} to {spoken(high, 2, sign)}"
    if high < 0:
        return f"{name} {_FALLS[outcome]} by {spoken(-high, 2)} to {spoken(-low, 2, sign)}"
    noun = _NOUNS.get(outcome, outcome)
    return f"{name} shows no clear change in {noun}: anything from {spoken(low, 2)} to {spoken(high, 2, sign)}"


def verdict(support: str, outcome: str, unit: str, figures: Figures) -> str:
    """The claim, and whether the two estimates agree."""
    told, sign = claim(support, outcome, unit, figures.bracket_low, figures.bracket_high), UNITS[unit].sign
    if figures.disagree:
        return (
            f"{told}. The two estimates differ by more than their noise (pooled {spoken(figures.pooled, 2, sign)}, "
            f"within-knee {spoken(figures.within, 2, sign)}); a repeat capture before a change would tell which to trust."
        )
    return f"{told}; both estimates agree."


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
