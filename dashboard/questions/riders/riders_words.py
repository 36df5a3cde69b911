"""What changed on a foot between two captures, and what happened to a knee over a fit, in words."""

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard.questions.riders.answers_riders import KneeRow
from dashboard.questions.selection.numbers import spoken
from shared.units import UNITS

Setup = Mapping[str, Any]
NOTHING_CHANGED = "nothing changed"
NOT_RECORDED = "setup not recorded"
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
_PLACES = {"in_shoe": "in the shoe", "at_cleat": "at the cleat"}
CHANGED, UNCLEAR, UNKNOWN = "changed", "unclear", "unknown"


def setup_words(setup: Setup) -> str:
    """A foot's setup as it stands, as in: low insole; 1 varus shim (built in); stance 2.0 mm."""
    if setup["insole_level"] is None:
        return NOT_RECORDED
    parts = [_insole(setup["insole_level"]), _shims_as_they_stand(setup)]
    if setup["stance_mm"]:
        parts.append(f"stance {spoken(setup['stance_mm'], 1, 'mm')}{_by(setup)}")
    if setup["foot_room_ok"] is False:
        parts.append("too little foot room")
    return "; ".join(parts)


def change_words(before: Setup, after: Setup) -> str:
    """What differs on one foot, as in: medium insole instead of low; one more varus shim."""
    if before["insole_level"] is None or after["insole_level"] is None:
        return NOT_RECORDED
    parts = [*_insole_change(before, after), *_shim_change(before, after), *_stance_change(before, after)]
    return "; ".join(parts) or NOTHING_CHANGED


def room_words(before: Setup, after: Setup) -> str:
    """Whether the foot's room differs, which is found and not made; empty where it does not or is not known."""
    was, is_now = before["foot_room_ok"], after["foot_room_ok"]
    if was is None or is_now is None or was == is_now:
        return ""
    return "foot room again" if is_now else "too little foot room now"


def _insole(level: str) -> str:
    return "no insole" if level == "none" else f"{level} insole"


def _insole_change(before: Setup, after: Setup) -> list[str]:
    was, is_now = before["insole_level"], after["insole_level"]
    if was == is_now:
        return []
    return [f"{_insole(is_now)} instead of {'none' if was == 'none' else was}"]


def _total(setup: Setup) -> int:
    return int(setup["shims_added"]) + int(setup["shims_built_in"] or 0)


def _shims(count: int) -> str:
    """As in: 1 varus shim, 2 valgus shims, no shim."""
    if not count:
        return "no shim"
    return f"{abs(count)} {'varus' if count > 0 else 'valgus'} shim{'' if abs(count) == 1 else 's'}"


def _shims_as_they_stand(setup: Setup) -> str:
    added, built_in = int(setup["shims_added"]), int(setup["shims_built_in"] or 0)
    place = f" {_PLACES[setup['shim_place']]}" if added and setup["shim_place"] else ""
    if added and built_in:
        return f"{_shims(added)} added{place}, {_shims(built_in)} built in"
    if built_in:
        return f"{_shims(built_in)} built in"
    return f"{_shims(added)}{place}"


def _shim_change(before: Setup, after: Setup) -> list[str]:
    was, is_now, place = _total(before), _total(after), after["shim_place"]
    parts = []
    if was != is_now:
        told = _count_change(was, is_now)
        parts.append(f"{told} {_PLACES[place]}" if place and not before["shims_added"] else told)
    elif before["shims_added"] != after["shims_added"]:
        parts.append(f"the same shims in all, now {_shims_as_they_stand(after)}")
    if before["shims_added"] and after["shims_added"] and place and before["shim_place"] != place:
        parts.append(f"shims {_PLACES[place]}")
    return parts


def _count_change(was: int, is_now: int) -> str:
    """As in: one more varus shim (2 varus shims in all), one valgus shim fewer, 1 valgus shim instead of 1 varus shim."""
    if was * is_now < 0:
        return f"{_shims(is_now)} instead of {_shims(was)}"
    kind = "varus" if was + is_now > 0 else "valgus"
    by = abs(is_now) - abs(was)
    shims = f"{kind} shim{'' if abs(by) == 1 else 's'}"
    many = _NUMBERS[abs(by)] if abs(by) < len(_NUMBERS) else str(abs(by))
    told = f"{many} more {shims}" if by > 0 else f"{many} {shims} fewer"
    return told if not was or not is_now else f"{told} ({_shims(is_now)} in all)"


def _by(setup: Setup) -> str:
    return f" by {setup['stance_by']}" if setup["stance_by"] else ""


def _stance_change(before: Setup, after: Setup) -> list[str]:
    by = after["stance_mm"] - before["stance_mm"]
    if by:
        return [f"foot {spoken(abs(by), 1, 'mm')} {'outward' if by > 0 else 'inward'}{_by(after)}"]
    if before["stance_by"] != after["stance_by"] and before["stance_by"] and after["stance_by"]:
        return [f"the same stance by {after['stance_by']}"]
    return []


def fit_words(knees: Sequence[KneeRow], n_captures: int) -> str:
    """What happened to both knees' tilt over one fit, told against the change that noise alone can make."""
    tilts = [knee for knee in knees if knee.outcome == "tilt" and knee.change is not None]
    if n_captures == 0:
        return "no capture was recorded."
    if n_captures < 2:
        return "one capture only, so that no change can be told."
    if not tilts:
        return "no knee's tilt was recorded at both ends."
    mdc95 = tilts[0].mdc95
    if mdc95 is None:
        told = " and ".join(f"{knee.side} tilt went {_from_to(knee)}" for knee in tilts)
        return f"{told}; whether that is more than noise is not known, since there are too few repeat captures yet."
    changed = [knee for knee in tilts if knee.verdict == CHANGED]
    unclear = [knee for knee in tilts if knee.verdict == UNCLEAR]
    noise = f"the {spoken(mdc95, 1, '°')} that would be noise"
    if not changed:
        told = ", ".join(f"{knee.side} {_from_to(knee)}" for knee in unclear)
        whose = "neither knee clearly changed" if len(unclear) == 2 else "no clear change"
        return f"{whose} (tilt {told}; {'both ' if len(unclear) == 2 else ''}within {noise})."
    told = " and ".join(f"{knee.side} tilt went {_from_to(knee)}" for knee in changed)
    rest = f"; {unclear[0].side} did not clearly change ({_from_to(unclear[0])})" if unclear else ""
    return f"{told}, {'both ' if len(changed) == 2 else ''}more than {noise}{rest}."


def _from_to(knee: KneeRow) -> str:
    sign, decimals = UNITS[knee.unit].sign, UNITS[knee.unit].decimals
    assert knee.arrival is not None and knee.departure is not None
    return f"from {spoken(knee.arrival, decimals, sign)} to {spoken(knee.departure, decimals, sign)}"
