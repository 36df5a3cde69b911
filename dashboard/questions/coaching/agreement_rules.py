"""The rules by which a fit agrees with the exam (common practice, no published source), as pure functions on one foot.

A rule answers None where it cannot be asked, and otherwise a Finding that agrees, is a note, or is a flag: a reason for a
second look with the fitter, no verdict.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted
from shared.settings import Agreement

Weight = Literal["agrees", "note", "flag"]

LEVELS = ("none", "low", "medium", "high")
_VARUS = ("mild_varus", "marked_varus")


@dataclass(frozen=True)
class Foot:
    """One foot: its exam, its knee at arrival, and the setup at the ends of the fit. None is not recorded."""

    side: str | None = None
    arch_height: str | None = None
    forefoot: str | None = None
    forefoot_angle_deg: float | None = None
    squat_knee_path: str | None = None
    tilt_arrival_deg: float | None = None
    knee: str | None = None
    insole_arrival: str | None = None
    insole_departure: str | None = None
    total_shims_arrival: int | None = None
    shims_added: int | None = None
    shims_built_in: int = 0
    shim_place: str | None = None
    stance_arrival_mm: float | None = None
    stance_departure_mm: float | None = None
    stance_by: str | None = None
    stance_moved: int | None = None
    is_narrow: bool | None = None

    @property
    def total_shims(self) -> int:
        return (self.shims_added or 0) + self.shims_built_in


@dataclass(frozen=True)
class Seat:
    """What a fit knows of the saddle when both knees part; `knees_words` tells how they stood at arrival."""

    knees_words: str = ""
    is_opposed: bool | None = None
    has_changed_support: bool = False
    sit_bone_width_mm: float | None = None
    saddle_width_mm: float | None = None
    saddle_condition: str | None = None


@dataclass(frozen=True)
class Finding:
    """What one rule says of one foot or fit."""

    rule: str
    weight: Weight
    words: str = ""


@dataclass(frozen=True)
class Rule:
    """A rule on one foot, the name it is told by, and the fields it decides by (others only appear in its sentence)."""

    name: str
    told: str
    fields: tuple[str, ...]
    ask: Callable[[Foot, Agreement], Finding | None]


def needed_shims(forefoot: str, limits: Agreement) -> int:
    """The total of varus shims that a forefoot of this class needs at the start; none for a valgus one."""
    needs = {"neutral": limits.shims_neutral, "mild_varus": limits.shims_mild_varus, "marked_varus": limits.shims_marked_varus}
    return needs.get(forefoot, 0)


def shims_to_need(foot: Foot, limits: Agreement) -> Finding | None:
    """Shims only as far as the forefoot needs; a built-in one counts."""
    if foot.forefoot is None or foot.shims_added is None:
        return None
    need = needed_shims(foot.forefoot, limits)
    beyond = foot.total_shims > need or (foot.forefoot == "neutral" and foot.total_shims < -need)
    if not beyond or (foot.forefoot == "valgus" and foot.shims_added > 0):  # the latter is told by shim_against_forefoot
        return Finding("shims_to_need", "agrees")
    return Finding("shims_to_need", "flag", f"{_forefoot(foot)} asks for {_shims(need)} at the start, {_shims_left(foot)}.")


def shim_against_forefoot(foot: Foot, limits: Agreement) -> Finding | None:
    """No added wedge against the foot's own angle, unless it only takes a built-in one down to the need."""
    if foot.forefoot is None or foot.shims_added is None:
        return None
    need = needed_shims(foot.forefoot, limits)
    against_varus = foot.forefoot in _VARUS and foot.shims_added < 0 and foot.total_shims < need
    against_valgus = foot.forefoot == "valgus" and foot.shims_added > 0 and foot.total_shims >= 0
    if not against_varus and not against_valgus:
        return Finding("shim_against_forefoot", "agrees")
    wedge = "valgus" if against_varus else "varus"
    words = f"{_forefoot(foot)} was given a {wedge} wedge, against its own angle: {_shims_left(foot)}."
    return Finding("shim_against_forefoot", "flag", words)


def insole_follows_arch(foot: Foot, limits: Agreement) -> Finding | None:
    """The level follows the arch; a custom insole has no level to compare, and no insole is told by a rule of its own."""
    if foot.arch_height is None or foot.insole_departure not in LEVELS[1:]:
        return None
    return _by_levels("insole_follows_arch", foot, f"a {foot.insole_departure} insole", limits)


def insole_left_out(foot: Foot, limits: Agreement) -> Finding | None:
    """A foot that leaves without insole, counted as the level below low."""
    if foot.arch_height is None or foot.insole_departure is None:
        return None
    if foot.insole_departure != "none":
        return Finding("insole_left_out", "agrees")
    return _by_levels("insole_left_out", foot, "no insole", limits)


def _by_levels(rule: str, foot: Foot, told: str, limits: Agreement) -> Finding:
    apart = LEVELS.index(foot.insole_departure or "none") - LEVELS.index(foot.arch_height or "none")
    if abs(apart) < limits.insole_note_levels:
        return Finding(rule, "agrees")
    weight: Weight = "flag" if abs(apart) >= limits.insole_flag_levels else "note"
    words = (
        f"a {foot.arch_height} arch left with {told}, {counted(abs(apart), 'level')} {'above' if apart > 0 else 'below'} it."
    )
    return Finding(rule, weight, words)


def stance_follows_knee(foot: Foot, _limits: Agreement) -> Finding | None:
    """Stance goes wider for an outward knee, narrower for an inward one."""
    if foot.knee is None or foot.stance_moved is None:
        return None
    against = (foot.knee == "outward" and foot.stance_moved < 0) or (foot.knee == "inward" and foot.stance_moved > 0)
    if not against:
        return Finding("stance_follows_knee", "agrees")
    moved = "narrower" if foot.stance_moved < 0 else "wider"
    tilt = f" at {spoken(foot.tilt_arrival_deg, 1, '°')}" if foot.tilt_arrival_deg is not None else ""
    words = f"an {foot.knee} knee{tilt} at arrival was set {moved}{_stance(foot)}."
    return Finding("stance_follows_knee", "flag", words)


def narrow_by_cleat(foot: Foot, _limits: Agreement) -> Finding | None:
    """Room to go narrower is at the cleat, or with a short spindle; a spacer only widens."""
    if foot.is_narrow is None:
        return None
    if not (foot.is_narrow and foot.stance_by == "spacer"):
        return Finding("narrow_by_cleat", "agrees")
    words = (
        f"the stance is inside the reference position{_stance(foot)} and was told as made by a spacer, which only widens it."
    )
    return Finding("narrow_by_cleat", "note", words)


def shim_place_told(foot: Foot, _limits: Agreement) -> Finding | None:
    """A shim at the cleat turns the whole shoe, one in the shoe only the forefoot: the record must say which."""
    if not foot.shims_added:
        return None
    if foot.shim_place is not None:
        return Finding("shim_place_told", "agrees")
    words = f"{_shims(foot.shims_added)} added, and the record does not say whether in the shoe or at the cleat."
    return Finding("shim_place_told", "note", words)


def insole_not_away(foot: Foot, _limits: Agreement) -> Finding | None:
    """No insole pushes the knee further the way it already goes in the squat; raising the level leans a knee outward.

    A change to no more than the arch asks for is no push, and a knee that stood on the other side may be brought over.
    """
    if foot.squat_knee_path is None or foot.insole_arrival is None or foot.insole_departure is None:
        return None
    if foot.insole_arrival not in LEVELS or foot.insole_departure not in LEVELS:
        return Finding("insole_not_away", "agrees")  # a custom insole has no step up or down
    sign, end = _way(foot), LEVELS.index(foot.insole_departure)
    step = end - LEVELS.index(foot.insole_arrival)
    is_asked = foot.arch_height is not None and sign * (end - LEVELS.index(foot.arch_height)) <= 0
    if step * sign <= 0 or is_asked:
        return Finding("insole_not_away", "agrees")
    changed = f"the insole went from {foot.insole_arrival} to {foot.insole_departure} under {_arch(foot)}"
    return Finding("insole_not_away", "flag", _pushed(foot, changed))


def shims_not_away(foot: Foot, limits: Agreement) -> Finding | None:
    """No shims push the knee further the way it already goes in the squat; more varus shims lean a knee outward.

    A change to no more than the forefoot needs is no push, and a knee that stood on the other side may be brought over.
    """
    if foot.squat_knee_path is None or foot.total_shims_arrival is None or foot.shims_added is None:
        return None
    sign, end = _way(foot), foot.total_shims
    is_asked = foot.forefoot is not None and sign * (end - needed_shims(foot.forefoot, limits)) <= 0
    if (end - foot.total_shims_arrival) * sign <= 0 or is_asked:
        return Finding("shims_not_away", "agrees")
    changed = f"the total went from {_shims(foot.total_shims_arrival)} to {_shims(end)} under {_forefoot(foot)}"
    return Finding("shims_not_away", "flag", _pushed(foot, changed))


def _way(foot: Foot) -> int:
    """1 where the squat goes outward, -1 inward; 0 where it is straight, or the knee stood on the other side at arrival."""
    way = {"outward": 1, "inward": -1}.get(foot.squat_knee_path or "", 0)
    return 0 if foot.knee == {1: "inward", -1: "outward"}.get(way) else way


def _pushed(foot: Foot, changed: str) -> str:
    path = foot.squat_knee_path
    return f"the knee goes {path} in the squat, and {changed}, which leans it further {path}."


def saddle_before_supports(seat: Seat) -> Finding | None:
    """Opposed knees ask for a look at the sit bones against the saddle, and at its condition, before any support."""
    if seat.is_opposed is None:
        return None
    if not seat.is_opposed or not seat.has_changed_support:
        return Finding(SADDLE, "agrees")
    measures = {"sit-bone width": seat.sit_bone_width_mm, "saddle width": seat.saddle_width_mm}
    missing = [name for name, value in {**measures, "saddle condition": seat.saddle_condition}.items() if value is None]
    if missing:
        found = f"{' and '.join(missing)} {'was' if len(missing) == 1 else 'were'} not recorded"
    elif seat.saddle_condition != "sound":
        found = f"the saddle was {seat.saddle_condition}"
    elif (seat.saddle_width_mm or 0) < (seat.sit_bone_width_mm or 0):
        sit_bones, saddle = (spoken(value or 0, 0, "mm") for value in measures.values())
        found = f"the saddle ({saddle}) is narrower than the sit bones ({sit_bones})"
    else:
        return Finding(SADDLE, "agrees")
    return Finding(SADDLE, "flag", f"the knees stood opposed at arrival{seat.knees_words}, supports were changed, and {found}.")


def _forefoot(foot: Foot) -> str:
    angle = f" of {spoken(foot.forefoot_angle_deg, 1, '°')}" if foot.forefoot_angle_deg is not None else ""
    return f"a {foot.forefoot.replace('_', ' ')} forefoot{angle}" if foot.forefoot else "a forefoot that was not examined"


def _arch(foot: Foot) -> str:
    return f"a {foot.arch_height} arch" if foot.arch_height else "an arch that was not examined"


def _shims(n: int) -> str:
    """As in: no shim, 1 varus shim, 2 valgus shims."""
    return "no shim" if n == 0 else counted(abs(n), f"{'varus' if n > 0 else 'valgus'} shim")


def _shims_left(foot: Foot) -> str:
    added, built_in = foot.shims_added or 0, foot.shims_built_in
    return f"the fit ended with {_shims(foot.total_shims)} in total ({_shims(added)} added, {_shims(built_in)} built in)"


def _stance(foot: Foot) -> str:
    if foot.stance_departure_mm is None:
        return ""
    end = spoken(foot.stance_departure_mm, 1, "mm")
    return f" ({end})" if foot.stance_arrival_mm is None else f" (from {spoken(foot.stance_arrival_mm, 1)} to {end})"


SADDLE = "saddle_before_supports"
SADDLE_TOLD = "opposed knees ask for a look at the saddle before any support"
_SHIMS = ("forefoot", "shims_added", "shims_built_in")
_INSOLE = ("arch_height", "insole_departure")
FOOT_RULES = (
    Rule("shims_to_need", "shims only as far as the forefoot needs", _SHIMS, shims_to_need),
    Rule("shim_against_forefoot", "no wedge against the foot's own angle", _SHIMS, shim_against_forefoot),
    Rule("insole_follows_arch", "the insole level follows the arch", _INSOLE, insole_follows_arch),
    Rule("insole_left_out", "an arch without insole", _INSOLE, insole_left_out),
    Rule(
        "stance_follows_knee",
        "wider for outward knees, narrower for inward ones",
        ("knee", "stance_moved"),
        stance_follows_knee,
    ),
    Rule("narrow_by_cleat", "narrower by the cleat or a short spindle", ("is_narrow", "stance_by"), narrow_by_cleat),
    Rule("shim_place_told", "a shim's place is told", ("shims_added", "shim_place"), shim_place_told),
    Rule(
        "insole_not_away",
        "no insole pushes a knee away from what the exam shows",
        (*_INSOLE, "insole_arrival", "squat_knee_path", "knee"),
        insole_not_away,
    ),
    Rule(
        "shims_not_away",
        "no shim pushes a knee away from what the exam shows",
        (*_SHIMS, "total_shims_arrival", "squat_knee_path", "knee"),
        shims_not_away,
    ),
)
