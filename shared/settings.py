"""Studio settings: every threshold that a studio may change, read from a TOML file, frozen.

Source of the defaults: the definitions in shared/statistics/METHODS.md; *common practice* marks a fact of the
trade with no published source.
"""

from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from shared.errors import UsageError
from shared.settings_letters import Letters
from shared.settings_running import (
    Access,
    Count,
    Data,
    Encryption,
    LakePlace,
    Lakes,
    Logs,
    Metrics,
    Positive,
    Reading,
    Section,
    Serving,
    Share,
    SignIn,
    Upload,
)
from shared.toml_file import fault_sentences, nearest, read_toml

SETTINGS_FILE = "fitledger.toml"


class Forefoot(Section):
    """Limits of the forefoot classes, forefoot to rearfoot in degrees, + = varus."""

    neutral_within_deg: Positive = 2.0
    marked_above_deg: Positive = 8.0


class Knee(Section):
    """Limits of the knee patterns and side differences (common practice)."""

    neutral_within_deg: Positive = 1.0
    side_difference_deg: Positive = 2.0
    offset_difference_mm: Positive = 15.0
    high_sway_quantile: Annotated[float, Field(gt=0, lt=1)] = 0.8


class Foresight(Section):
    """When nothing is foreseen: from so much pain on, and down from so little foot room, of 10 (common practice, no source)."""

    silent_from_pain: Annotated[int, Field(ge=1, le=10)] = 4
    silent_to_foot_room: Annotated[int, Field(ge=0, le=9)] = 2


class FollowUp(Section):
    """The window in which a rider counts as returned. A fit without a booking is called about from `booked_within_days` on, for
    `called_for_days` (common practice, no source); an open booking until it is closed. Who was called and has not booked is
    called again after `called_again_days`.
    """

    due_after_days: Count = 14
    returned_within_days: Count = 42
    booked_within_days: Annotated[int, Field(ge=0)] = 7
    curve_days: Count = 84
    called_for_days: Count = 60
    called_again_days: Count = 3


class Minimum(Section):
    """Below these counts a figure is told as "not enough yet"."""

    rows_shown: Count = 10
    changes_per_type: Count = 10
    sessions_per_fitter: Count = 10
    riders_per_effect: Count = 10

    @property
    def riders_shown(self) -> int:
        """`rows_shown` where riders are counted; an interval that knows riders apart needs two, whatever the setting."""
        return max(2, self.rows_shown)


class Intervals(Section):
    """How sure an interval is; and how near the two estimates of a support's effect must be known to lie to be said to agree,
    for one insole, one shim or 2 mm of stance: half of what such a step commonly does (common practice).
    """

    level: Annotated[float, Field(gt=0.5, lt=1)] = 0.95
    agree_within_deg: Positive = 0.25
    agree_within_mm: Positive = 0.5


class Matters(Section):
    """How narrow an interval of one step of a support is to be before more fits would change nothing that is done (common
    practice, no source).
    """

    tilt_deg: Positive = 0.5
    sway_mm: Positive = 2.0

    def of(self, unit: str) -> float:
        """What matters of an outcome in degrees or millimetres."""
        return self.tilt_deg if unit == "deg" else self.sway_mm


class Checks(Section):
    """What is looked for behind the effects, and how sure it must be before it is told.

    A check is told below `found_below_q` in the family of one outcome, a late effect below `late_below_q` among the outcomes.
    Stance is looked at for a bend at `stance_bend_mm`.
    """

    found_below_q: Annotated[float, Field(gt=0, lt=0.5)] = 0.01
    late_below_q: Annotated[float, Field(gt=0, lt=0.5)] = 0.05
    stance_bend_mm: Positive = 4.0


class Noise(Section):
    """From how many repeat pairs on a fitter's captures are judged by their own noise, by how many of its own standard errors
    that is drawn toward the whole at most, and how sure it must be before a fitter's captures are said to scatter more.

    assumed_tilt_deg and its like: the typical error that a studio assumes where it records too few repeats to know its own;
    none is assumed unless the studio sets it.
    """

    pairs_per_fitter: Annotated[int, Field(ge=10)] = 20
    most_drawn_errors: Positive = 1.0
    told_below_q: Annotated[float, Field(gt=0, lt=0.5)] = 0.01
    assumed_tilt_deg: Positive | None = None
    assumed_sway_mm: Positive | None = None
    assumed_offset_mm: Positive | None = None

    def assumed(self, outcome: str) -> float | None:
        """The typical error assumed of tilt, sway or offset, in its unit."""
        return {"tilt": self.assumed_tilt_deg, "sway": self.assumed_sway_mm, "offset": self.assumed_offset_mm}[outcome]


class Agreement(Section):
    """How many shims a forefoot needs at the start, and how far an insole may stand from the arch (common practice); and which
    flagged fits are to look at: so many levels and shims from the exam, with nothing come out better.

    A rating that moved by fewer than `smallest_rating_points` did not move (Farrar et al. 2001, Pain 94:149, of pain; from
    memory).
    """

    shims_neutral: Annotated[int, Field(ge=0)] = 0
    shims_mild_varus: Annotated[int, Field(ge=0)] = 1
    shims_marked_varus: Annotated[int, Field(ge=0)] = 2
    insole_note_levels: Count = 1
    insole_flag_levels: Count = 2
    look_from_steps: Count = 3
    smallest_rating_points: Annotated[float, Field(gt=0, le=10)] = 2.0
    listed_fits: Count = 100


class ImportantChange(Section):
    """From which step of `change_rating` on a change matters (2: much better, as Farrar et al. 2001, Pain 94:149, take it; from
    memory), and what it takes to tell from how many points on it is so: riders rated again and asked, riders who said so and
    riders who did not, and the correlation of what they said with the change.
    """

    better_from_step: Annotated[int, Field(ge=1, le=3)] = 2
    riders: Annotated[int, Field(ge=20)] = 50
    riders_each: Annotated[int, Field(ge=5)] = 15
    least_correlation: Annotated[float, Field(gt=0, lt=1)] = 0.3


class Warnings(Section):
    """What a load warns of, without rejecting it, and from when on it asks whether a sign, a side or a unit is right: with so
    many riders, a rank correlation so far the wrong way, and so sure of it (common practice).
    """

    spread_sigmas: Positive = 6.0
    spread_values: Count = 30
    jump_deg: Positive = 15.0
    ask_riders: Annotated[int, Field(ge=10)] = 30
    ask_correlation: Annotated[float, Field(ge=0, lt=1)] = 0.1
    ask_below_p: Annotated[float, Field(gt=0, lt=0.5)] = 0.0005


class Rig(Section):
    """When a capture rig is said to measure otherwise than it did: a step, or a drift from first to last, of at least so much;
    right against left likewise, from half of it on; so much more or less noise; so many captures with left and right exchanged.

    `q_value`: of all tests of all studios together. Each load looks anew, so that it is far below the usual 0.05.
    """

    smallest_tilt_deg: Positive = 0.5
    smallest_sway_mm: Positive = 1.0
    smallest_offset_mm: Positive = 2.0
    smallest_noise_ratio: Annotated[float, Field(gt=1)] = 1.4
    smallest_exchanged_share: Annotated[float, Field(gt=0, lt=0.5)] = 0.02
    least_fits: Annotated[int, Field(ge=10)] = 12
    most_moves: Count = 3
    q_value: Annotated[float, Field(gt=0, lt=0.5)] = 0.005

    def smallest(self, quantity: str) -> float:
        """The smallest move of tilt, sway or offset that is told, in its unit."""
        return {"tilt": self.smallest_tilt_deg, "sway": self.smallest_sway_mm, "offset": self.smallest_offset_mm}[quantity]


class Note(Section):
    """A dated note of a change in the studio, shown beside the trends: [[trends.notes]] with `on` and `words`."""

    on: date
    words: str


class Trends(Section):
    """The trends' periods, the base period that their limits are frozen from, and how often they may raise a false alarm: in
    which share of studios where nothing moved any figure may be said to have.

    The base is from `base_from` to `base_to` where they are given, else the first `base_periods` periods with a figure.
    """

    every: Literal["week", "month", "quarter"] = "month"
    base_from: date | None = None
    base_to: date | None = None
    base_periods: Count = 12
    base_minimum: Annotated[int, Field(ge=2)] = 6
    false_alarm: Annotated[float, Field(gt=0, lt=0.5)] = 0.05
    notes: tuple[Note, ...] = ()


class Goals(Section):
    """What the studio wants its headline figures to be, drawn beside them: shares from 0 to 1, comfort in points of ten. None
    where no goal is set, as none is unless the studio sets it.
    """

    comfort_gained_points: Annotated[float, Field(gt=0, le=10)] | None = None
    side_difference_left: Share | None = None
    return_rate: Share | None = None
    knees_better: Share | None = None

    def of(self, figure: str) -> float | None:
        """The goal of a headline figure, in its unit."""
        found: float | None = getattr(self, "comfort_gained_points" if figure == "comfort_gained" else figure)
        return found


class Fitters(Section):
    """How fitters are compared: tails of the funnel's limits, and the winsorising behind its overdispersion."""

    inner_level: Annotated[float, Field(gt=0.5, lt=1)] = 0.95
    outer_level: Annotated[float, Field(gt=0.5, lt=1)] = 0.998
    winsorised_share: Annotated[float, Field(ge=0, lt=0.5)] = 0.1
    winsorising: Literal["interpolated", "counted"] = "interpolated"


class Settings(Section):
    """All settings; every section and key may be left out of the file."""

    forefoot: Forefoot = Forefoot()
    knee: Knee = Knee()
    follow_up: FollowUp = FollowUp()
    minimum: Minimum = Minimum()
    intervals: Intervals = Intervals()
    matters: Matters = Matters()
    checks: Checks = Checks()
    noise: Noise = Noise()
    trends: Trends = Trends()
    goals: Goals = Goals()
    fitters: Fitters = Fitters()
    agreement: Agreement = Agreement()
    important_change: ImportantChange = ImportantChange()
    foresight: Foresight = Foresight()
    warnings: Warnings = Warnings()
    rig: Rig = Rig()
    reading: Reading = Reading()
    upload: Upload = Upload()
    data: Data = Data()
    serving: Serving = Serving()
    sign_in: SignIn = SignIn()
    access: Access = Access()
    logs: Logs = Logs()
    metrics: Metrics = Metrics()
    encryption: Encryption = Encryption()
    letters: Letters = Letters()
    lakes: Lakes = Lakes()

    def parameters(self) -> dict[str, Any]:
        """Every setting as `section_key`, the names that SQL binds."""
        sections = self.model_dump(exclude={"lakes"})
        return {f"{section}_{key}": value for section, keys in sections.items() for key, value in keys.items()}


class _Named:
    """The settings file that this run was given; None where it was given none."""

    path: Path | None = None


def use_settings_file(path: Path | None) -> None:
    """Makes `path` the settings file of this run, also where no settings are handed on: keys are looked up in it."""
    _Named.path = path


def settings_file() -> Path:
    """The settings file of this run, which may not be there."""
    return _Named.path or Path(SETTINGS_FILE)


def load_settings(path: Path | None = None) -> Settings:
    """The settings of `path`, or of the file of this run (fitledger.toml in the working folder as a rule), or the defaults.

    Raises UsageError naming the file, every wrong key with the nearest right one, and every wrong value.
    """
    if path is None:
        path = settings_file()
        if path != _Named.path and not path.exists():
            return Settings()
    content = read_toml(path, f"Settings file {path}")
    try:
        return Settings.model_validate(content)
    except ValidationError as fault:
        raise UsageError(f"Settings file {path}: {fault_sentences(fault, _unknown_setting)}") from fault


def _unknown_setting(place: list[str]) -> str:
    near = nearest(place[-1], _keys_beside(place))
    return f"{'.'.join(place)} is no setting; the nearest one is {'.'.join([*place[:-1], near or ''])}."


def _keys_beside(place: list[str]) -> list[str]:
    """The keys that are known where an unknown one stands: sections, keys of a section, or those of a note."""
    if len(place) == 1:
        return list(Settings.model_fields)
    if place[0] == "lakes":
        return list(LakePlace.model_fields)
    section = Settings.model_fields[place[0]].annotation
    return list((Note if len(place) > 2 else section).model_fields)  # type: ignore[union-attr]
