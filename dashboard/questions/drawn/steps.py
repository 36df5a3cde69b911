"""The steps that may be compared, in code and words, and whether the exam leaves two equally right for feet of a kind."""

from itertools import product
from typing import Final

from dashboard.questions.foresight.knees import Knee, Setup
from dashboard.questions.foresight.setups import next_setups
from dashboard.questions.selection.numbers import spoken
from shared.errors import UsageError
from shared.logbook.drawing import Feet
from shared.settings import Settings

STEPS: Final = {
    "insole_none": "no insole",
    "insole_low": "a low insole",
    "insole_medium": "a medium insole",
    "insole_high": "a high insole",
    "shim_more": "one more varus shim",
    "shim_fewer": "one varus shim fewer",
    "stance_wider": "a wider stance",
    "stance_narrower": "a narrower stance",
}
ANY: Final = "any"
ARCHES: Final = ("low", "medium", "high")
FOREFEET: Final = ("valgus", "neutral", "mild_varus", "marked_varus")
KNEES: Final = ("inward", "neutral", "outward")
INSOLES: Final = ("none", "low", "medium", "high")


def step_between(before: Setup, after: Setup) -> str | None:
    """The code of the one step from a setup to the next; empty where nothing was changed, None for anything else."""
    changed = []
    if after.insole_level != before.insole_level:
        changed.append(f"insole_{after.insole_level}")
    if shims := after.total_shims - before.total_shims:
        changed.append({1: "shim_more", -1: "shim_fewer"}.get(shims, ""))
    if after.stance_mm != before.stance_mm:
        changed.append("stance_wider" if after.stance_mm > before.stance_mm else "stance_narrower")
    if not changed:
        return ""
    return changed[0] if len(changed) == 1 and changed[0] in STEPS else None


def require_equally_right(steps: tuple[str, str], feet: Feet, settings: Settings) -> None:
    """Raises UsageError, which says why, where a rule of agreement with the exam speaks against one of the steps for any feet
    of the kind, or a step is none from where they stand."""
    for name, value, known in (
        ("arch", feet.arch_height, (*ARCHES, ANY)),
        ("forefoot", feet.forefoot, (*FOREFEET, ANY)),
        ("knee", feet.knee, (*KNEES, ANY)),
        ("insole", feet.insole_level, INSOLES),
    ):
        if value not in known:
            raise UsageError(f"{name}: found {value!r}, expected one of {', '.join(known)}.")
    for step in steps:
        if step not in STEPS:
            raise UsageError(f"step: found {step!r}, expected one of {', '.join(STEPS)}.")
        for foot in _feet_of(feet, settings):
            _require_right(step, foot, settings)


def _feet_of(feet: Feet, settings: Settings) -> list[Knee]:
    """A knee for every kind of foot that the comparison is for."""
    limits, neutral = settings.forefoot, settings.knee.neutral_within_deg
    angles = {
        "valgus": -limits.neutral_within_deg - 1,
        "neutral": 0.0,
        "mild_varus": (limits.neutral_within_deg + limits.marked_above_deg) / 2,
        "marked_varus": limits.marked_above_deg + 1,
    }
    tilts = {"inward": -neutral - 1, "neutral": 0.0, "outward": neutral + 1}
    setup = Setup.model_validate({"insole_level": feet.insole_level, "total_shims": feet.total_shims})
    return [
        Knee.model_validate(
            {"arch_height": arch, "forefoot_angle_deg": angles[forefoot], "tilt_deg": (tilts[knee],), "setup": setup}
        )
        for arch, forefoot, knee in product(
            _each(feet.arch_height, ARCHES), _each(feet.forefoot, FOREFEET), _each(feet.knee, KNEES)
        )
    ]


def _each(value: str, known: tuple[str, ...]) -> tuple[str, ...]:
    return known if value == ANY else (value,)


def _require_right(step: str, foot: Knee, settings: Settings) -> None:
    found = {step_between(foot.setup, one.setup): one for one in next_setups(foot, "left", settings)}.get(step)
    if found is None:
        raise UsageError(f"{STEPS[step]} is no step from where these feet stand. Nothing was opened.")
    if found.against:
        raise UsageError(f"The exam speaks against {STEPS[step]} for such feet: {found.against} Nothing was opened.")


def feet_words(arch: str | None, forefoot: str | None, insole: str | None, shims: int | None, knee: str | None) -> str:
    """The feet that a comparison is for, as in: medium arch, mild varus forefoot, no insole, no shim, any knee."""
    arch_words = "any arch" if arch in (ANY, None) else f"{arch} arch"
    forefoot_words = "any forefoot" if forefoot in (ANY, None) else f"{(forefoot or '').replace('_', ' ')} forefoot"
    insole_words = "no insole" if insole == "none" else f"{insole or 'any'} insole"
    shims_words = (
        "any shims" if shims is None else "no shim" if shims == 0 else f"{spoken(shims, 0)} shim{'s' if abs(shims) > 1 else ''}"
    )
    knee_words = "any knee" if knee in (ANY, None) else f"knee {knee}" if knee != "neutral" else "knee near neutral"
    return ", ".join((arch_words, forefoot_words, insole_words, shims_words, knee_words))
