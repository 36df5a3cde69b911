"""The sentences of the checks: what was found of each, and what a verdict on a support carries of it."""

from dashboard.questions.effects.answers_checks import CheckRow
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.scope import counted
from shared.settings import Settings
from shared.units import UNITS

# The support whose verdict each check qualifies, where it compares two cases of one.
QUALIFIES = {"insole_shim": "shim", "shim_bend": "shim", "stance_bend": "stance"}
_FOUND = {
    "insole_shim": "One more varus shim moves the {outcome} by {first} without an insole and by {other} on one, a "
    "difference of {ends}.",
    "shim_bend": "The first varus shim moves the {outcome} by {first}, each further one by {other}, a difference of {ends}.",
    "stance_bend": "One mm of outward stance moves the {outcome} by {first} up to {bend} mm and by {other} beyond, a "
    "difference of {ends}.",
    "order_arch": "From capture to capture the {outcome} drifts otherwise by arch: {ends} a capture more on a high one than on "
    "a low one. The figures allow for it.",
    "late": "About {share} of what a support does to the {outcome} comes one capture late ({percents}; {n} after a change). "
    "The figures are those at the later capture.",
}
_CARRIED = {
    "insole_shim": "It is not the same everywhere: {first} without an insole, {other} on one.",
    "shim_bend": "It is not the same at every step: {first} for the first shim, {other} for each further one.",
    "stance_bend": "It is not the same at every step: {first} for each mm up to {bend} mm, {other} beyond.",
    "late": "About {share} of it comes one capture late, which the figures allow for.",
}
_NOT_FOUND = {
    "insole_shim": "A varus shim was not found to do otherwise to the {outcome} on an insole: anything from {ends}{chance}.",
    "shim_bend": "Further varus shims were not found to do otherwise to the {outcome} than the first: anything from "
    "{ends}{chance}.",
    "stance_bend": "Stance beyond {bend} mm was not found to do otherwise to the {outcome}: anything from {ends} a mm{chance}.",
    "order_arch": "The drift of the {outcome} was not found to differ by arch: anything from {ends} a capture, high less "
    "low{chance}.",
    "late": "What a support does to the {outcome} was not found to come late: anything from {percents} of it shows one capture "
    "later only ({n} after a change){chance}.",
}
_ASKED = {
    "insole_shim": "Whether a varus shim does the same to the {outcome} on an insole: not enough yet, {n}.",
    "shim_bend": "Whether further varus shims do the same to the {outcome} as the first: not enough yet, {n}.",
    "stance_bend": "Whether stance beyond {bend} mm does the same to the {outcome}: not enough yet, {n}.",
    "order_arch": "Whether the {outcome} drifts alike on every arch: not enough yet, {n}.",
    "late": "Whether what a support does to the {outcome} comes late: not enough yet, {n} after a change.",
}


def words_of(row: CheckRow, settings: Settings) -> str:
    """The sentence of one check."""
    if row.difference is None:
        changes, riders = counted(row.n_changes, "repeat" if row.check == "late" else "change"), counted(row.n_riders, "rider")
        counts = riders if row.check == "order_arch" else f"{changes} in {riders}"
        return _ASKED[row.check].format(n=counts, **_named(row, settings))
    return (_FOUND if row.is_found else _NOT_FOUND)[row.check].format(**_named(row, settings))


def carried_words(check: CheckRow, row: EffectRow, settings: Settings) -> list[str]:
    """The sentence, or none, that a row's verdict carries of a check that found something."""
    is_of_row = QUALIFIES.get(check.check) == row.support or (check.check == "late" and row.direction != 0)
    return [_CARRIED[check.check].format(**_named(check, settings))] if is_of_row and check.difference is not None else []


def _named(row: CheckRow, settings: Settings) -> dict[str, str]:
    """Writes the figures of a check, by the names that the sentences have for them."""
    named = {"outcome": row.outcome, "bend": spoken(settings.checks.stance_bend_mm, 0)}
    if row.difference is None or row.difference_low is None or row.difference_high is None:
        return named
    low, high = row.difference_low, row.difference_high
    # What is said of an interval without zero of which nothing is claimed.
    named["chance"] = "" if low <= 0 <= high else ", which among so many figures may be chance"
    if row.check == "late":
        percents = f"{spoken(100 * low, 0)} to {spoken(100 * high, 0, '%')}"
        return {**named, "share": spoken_percent(row.difference), "percents": percents, "n": counted(row.n_changes, "repeat")}
    first, other = _ends(row.first_low, row.first_high, row.unit), _ends(row.other_low, row.other_high, row.unit)
    return {**named, "first": first, "other": other, "ends": _ends(low, high, row.unit)}


def _ends(low: float | None, high: float | None, unit: str) -> str:
    return "" if low is None or high is None else f"{spoken(low, 2)} to {spoken(high, 2, UNITS[unit].sign)}"


def headline_of(rows: list[CheckRow]) -> str:
    """Says what the checks found, or that they found nothing."""
    findings = [row.words for row in rows if row.is_found]
    if findings:
        return " ".join(findings)
    if any(row.p_value is not None for row in rows):
        found = "Nothing was found that speaks against the effects as they are told"
        untold = sum("not enough yet" in row.words for row in rows)
        return f"{found}; too little was changed for {untold} of {counted(len(rows), 'check')}." if untold else f"{found}."
    return "Too little was changed to look at the effects more closely."
