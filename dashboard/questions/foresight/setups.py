"""The next setups that may be thought of for one foot, each one change from the present one, and what the exam says of each."""

from dataclasses import dataclass
from typing import Final

from dashboard.questions.coaching.agreement_rules import FOOT_RULES, LEVELS, Foot
from dashboard.questions.foresight.knees import Knee, Setup, arrived, forefoot_of
from shared.settings import Settings

AS_IT_IS: Final = "as it is"
# One step of stance that a fitter tries, as the exam's rules think of it.
STANCE_STEP_MM: Final = 2.0
_KNEES: Final = {"inward": "inward", "near neutral": "neutral", "outward": "outward"}


@dataclass(frozen=True)
class NextSetup:
    """A setup, in words, and why the exam speaks against it (empty where it does not)."""

    setup: Setup
    words: str
    against: str


def next_setups(knee: Knee, side: str, settings: Settings) -> list[NextSetup]:
    """The present setup first, then one change each: an insole level, a shim more or less, stance a step wider or narrower."""
    present = knee.setup
    changes = [
        *(
            (present.model_copy(update={"insole_level": level}), "no insole" if level == "none" else f"{_an(level)} insole")
            for level in LEVELS
            if level != present.insole_level
        ),
        *((present.model_copy(update={"total_shims": present.total_shims + step}), _shims(present, step)) for step in (1, -1)),
        *(
            (
                present.model_copy(update={"stance_mm": present.stance_mm + step}),
                f"stance {STANCE_STEP_MM:g} mm {way}",
            )
            for step, way in ((STANCE_STEP_MM, "wider"), (-STANCE_STEP_MM, "narrower"))
        ),
    ]
    already = _flags(knee, side, present, settings)
    made = [NextSetup(present, AS_IT_IS, "")]
    for setup, words in changes:
        flags = {rule: why for rule, why in _flags(knee, side, setup, settings).items() if rule not in already}
        made.append(NextSetup(setup, words, " ".join(flags.values())))
    return made


def _an(level: str) -> str:
    return f"a {level}"


def _shims(present: Setup, step: int) -> str:
    total = present.total_shims + step
    kind = "varus" if total > 0 or (total == 0 and step < 0) else "valgus"
    return f"one {kind} shim {'more' if step * (1 if kind == 'varus' else -1) > 0 else 'fewer'} ({abs(total)} in all)"


def _flags(knee: Knee, side: str, setup: Setup, settings: Settings) -> dict[str, str]:
    """What rules of agreement with the exam flag, should the fit end with this setup, by rule."""
    moved = setup.stance_mm - knee.setup.stance_mm
    foot = Foot(
        side=side,
        arch_height=knee.arch_height,
        forefoot=forefoot_of(knee.forefoot_angle_deg, settings.forefoot),
        forefoot_angle_deg=knee.forefoot_angle_deg,
        squat_knee_path=knee.squat_knee_path,
        tilt_arrival_deg=next(iter(knee.tilt_deg), None),
        knee=_KNEES.get(arrived(knee, settings.knee.neutral_within_deg) or ""),
        insole_arrival=knee.setup.insole_level,
        insole_departure=setup.insole_level,
        total_shims_arrival=knee.setup.total_shims,
        shims_added=setup.total_shims - setup.shims_built_in,
        shims_built_in=setup.shims_built_in,
        stance_arrival_mm=knee.setup.stance_mm,
        stance_departure_mm=setup.stance_mm,
        stance_moved=(moved > 0) - (moved < 0),
    )
    found = [(rule.name, rule.ask(foot, settings.agreement)) for rule in FOOT_RULES]
    return {name: finding.words for name, finding in found if finding and finding.weight == "flag"}
