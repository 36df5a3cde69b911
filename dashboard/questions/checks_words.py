"""The sentences of the checks: what was found of each, and what a verdict on a support carries of it."""

from dashboard.questions.answers_checks import CheckRow
from dashboard.questions.check_models import Ends, Tested
from dashboard.questions.numbers import spoken, spoken_percent
from dashboard.questions.scope import counted
from shared.settings import Settings
from shared.statistics.late import LateShare
from shared.units import UNITS

# What each check compares: its first and its other case, as a sentence begins with what moves the knee.
_CASES = {
    "insole_shim": ("One more varus shim moves the {outcome} by {first} without an insole and by {other} on one"),
    "shim_bend": ("The first varus shim moves the {outcome} by {first}, each further one by {other}"),
    "stance_bend": ("One mm of outward stance moves the {outcome} by {first} up to {bend} mm and by {other} beyond"),
}
_CARRIED = {
    "insole_shim": "It is not the same everywhere: {first} without an insole, {other} on one.",
    "shim_bend": "It is not the same at every step: {first} for the first shim, {other} for each further one.",
    "stance_bend": "It is not the same at every step: {first} for each mm up to {bend} mm, {other} beyond.",
}
_NOT_FOUND = {
    "insole_shim": "A varus shim was not found to do otherwise to the {outcome} on an insole: anything from {ends}",
    "shim_bend": "Further varus shims were not found to do otherwise to the {outcome} than the first: anything from {ends}",
    "stance_bend": "Stance beyond {bend} mm was not found to do otherwise to the {outcome}: anything from {ends} a mm",
    "order_arch": "The drift of the {outcome} was not found to differ by arch: anything from {ends} a capture, high less low",
}
_ASKED = {
    "insole_shim": "Whether a varus shim does the same to the {outcome} on an insole as without one",
    "shim_bend": "Whether further varus shims do the same to the {outcome} as the first",
    "stance_bend": "Whether stance beyond {bend} mm does the same to the {outcome} as up to there",
    "order_arch": "Whether the {outcome} drifts alike on every arch",
    "late": "Whether what a support does to the {outcome} comes late",
}


def joint_words(tested: Tested, outcome: str, unit: str, is_found: bool, settings: Settings) -> tuple[str, str]:
    """The sentence of one check of a joint fit, and what a verdict carries of it."""
    named = {"outcome": outcome, "bend": spoken(settings.checks.stance_bend_mm, 0)}
    if tested.ends is None:
        told = f"{counted(tested.counts.n_changes, 'change')} in {counted(tested.counts.n_riders, 'rider')}"
        if tested.check == "order_arch":
            told = f"{counted(tested.counts.n_riders, 'rider')}"
        return f"{_ASKED[tested.check].format(**named)}: not enough yet, {told}.", ""
    ends = _spoken(tested.ends, unit)
    if not is_found:
        return f"{_NOT_FOUND[tested.check].format(ends=ends, **named)}{_by_chance(tested.ends.low, tested.ends.high)}.", ""
    if tested.first is None or tested.other is None:
        return (
            f"From capture to capture the {outcome} drifts otherwise by arch: {ends} a capture more on a high one than on a "
            "low one. The figures allow for it."
        ), ""
    named |= {"first": _spoken(tested.first, unit), "other": _spoken(tested.other, unit)}
    return f"{_CASES[tested.check].format(**named)}, a difference of {ends}.", _CARRIED[tested.check].format(**named)


def late_words(found: LateShare | str, outcome: str, is_found: bool) -> tuple[str, str]:
    """The sentence on a late effect, and what a verdict carries of it; found: the share, or why there is none."""
    if isinstance(found, str):
        asked = _ASKED["late"].format(outcome=outcome)
        return f"{asked}: {found[:1].lower()}{found[1:]}", ""
    interval = f"{spoken(100 * found.low, 0)} to {spoken(100 * found.high, 0, '%')}"
    pairs = counted(found.n_pairs, "repeat")
    if not is_found:
        return (
            f"What a support does to the {outcome} was not found to come late: anything from {interval} of it shows one "
            f"capture later only ({pairs} after a change){_by_chance(found.low, found.high)}."
        ), ""
    share = spoken_percent(found.share)
    return (
        f"About {share} of what a support does to the {outcome} comes one capture late ({interval}; {pairs} after a change). "
        "The figures are those at the later capture."
    ), f"About {share} of it comes one capture late, which the figures allow for."


def _by_chance(low: float, high: float) -> str:
    """What is said of an interval without zero of which nothing is claimed."""
    return "" if low <= 0 <= high else ", which among so many figures may be chance"


def _spoken(ends: Ends, unit: str) -> str:
    return f"{spoken(ends.low, 2)} to {spoken(ends.high, 2, UNITS[unit].sign)}"


def headline_of(rows: list[CheckRow]) -> str:
    """What was found, or that nothing was."""
    found = [row.words for row in rows if row.is_found]
    if found:
        return " ".join(found)
    if any(row.p_value is not None for row in rows):
        return "Nothing was found that speaks against the effects as they are told."
    return "Too little was changed to look at the effects more closely."
