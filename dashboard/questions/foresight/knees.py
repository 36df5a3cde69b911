"""A rider's knees as they stand: exam, what was measured before a change, the present setup; from the warehouse or a form."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from dashboard.questions.foresight import SQL
from dashboard.questions.selection.scope import forefoot_class
from shared.errors import UsageError
from shared.settings import Forefoot, Settings
from shared.warehouse import Warehouse

SIDES = ("left", "right")
Level = Literal["none", "low", "medium", "high", "custom"]
# As the contract takes them, so that what could not be loaded cannot be typed. Shims in all may be those added and built in.
Shims = Annotated[int, Field(ge=-6, le=6)]
Angle = Annotated[float, Field(ge=-25, le=30)]
Tilt = Annotated[float, Field(ge=-30, le=30)]
Sway = Annotated[float, Field(ge=0, le=200)]
Stance = Annotated[float, Field(ge=-30, le=50)]
VisitKind = Literal["first", "follow_up", "refit"]
Riding = Literal["road", "gravel", "mountain", "triathlon", "commuting", "indoor"]
BikeKind = Annotated[str, Field(max_length=40)]
Pain = Annotated[int, Field(ge=0, le=10)]


class Setup(BaseModel):
    """The supports under one foot; shims in all, of which so many are built in."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    insole_level: Level = "none"
    total_shims: Annotated[int, Field(ge=-12, le=12)] = 0
    shims_built_in: Shims = 0
    stance_mm: Stance = 0.0


class Knee(BaseModel):
    """One foot's exam and one knee's measures; what is left out is not known.

    tilt_deg, sway_mm: of each capture before anything was changed, with `seen_with` on; `setup` is the present one.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    arch_height: Literal["low", "medium", "high"] | None = None
    arch_collapse: Literal["none", "some", "marked"] | None = None
    heel_posture: Literal["inverted", "neutral", "everted"] | None = None
    squat_knee_path: Literal["inward", "straight", "outward"] | None = None
    forefoot_angle_deg: Angle | None = None
    tilt_deg: tuple[Tilt | None, ...] = ()
    sway_mm: tuple[Sway | None, ...] = ()
    seen_with: Setup | None = None
    setup: Setup = Setup()
    foot_room_ok: bool | None = None

    def measured(self, outcome: str) -> tuple[float | None, ...]:
        return self.tilt_deg if outcome == "tilt" else self.sway_mm

    @property
    def before(self) -> Setup:
        """The setup under which it was measured."""
        return self.seen_with or self.setup


class Form(BaseModel):
    """Both knees of one rider, as typed; nothing of it is kept. What is left out is not known.

    The model knows the kind of visit; bicycle and riding say who is alike."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    left: Knee
    right: Knee
    visit_kind: VisitKind | None = None
    bike_kind: BikeKind | None = None
    riding: Riding | None = None
    pain: Pain | None = None

    def knee(self, side: str) -> Knee:
        return self.left if side == "left" else self.right


def read_form(path: Path) -> Form:
    """The form of a JSON file. Raises UsageError, which names every field that is wrong, where it is none."""
    try:
        return Form.model_validate_json(path.read_bytes())
    except OSError as fault:
        raise UsageError(f"{path}: {fault.strerror or fault}. Expected a JSON file with both feet.") from fault
    except ValidationError as fault:
        wrong = "; ".join(f"{'.'.join(map(str, one['loc'])) or 'file'}: {one['msg'].lower()}" for one in fault.errors())
        raise UsageError(f"{path}: {wrong}. Expected left and right, each with the fields of the README.") from fault


@dataclass(frozen=True)
class Loaded:
    """A rider's last fit as a form, and which fit that is."""

    form: Form
    session_id: str
    session_date: Any


def loaded(warehouse: Warehouse, rider: str, settings: Settings, fitters: tuple[str, ...] = ()) -> Loaded | None:
    """The rider's last fit, of these fitters where any are named; None where there is none with a recorded setup."""
    fragments = {"forefoot_of_exam": forefoot_class("feet.forefoot_angle_deg")}
    feet = warehouse.rows(
        SQL / "rider_knees.sql", {**settings.parameters(), "rider": rider, "fitters": list(fitters)}, **fragments
    )
    if not feet:
        return None
    session = {"session": feet[0]["session_id"]}
    before, said = warehouse.rows(SQL / "rider_before.sql", session), warehouse.rows(SQL / "rider_said.sql", session)
    pain = next((row["most"] for row in said if row["topic"] == "pain"), None)
    knees = {foot["side"]: _knee(foot, [row for row in before if row["side"] == foot["side"]]) for foot in feet}
    form = Form(
        left=knees.get("left", Knee()),
        right=knees.get("right", Knee()),
        visit_kind=feet[0]["visit_kind"],
        bike_kind=feet[0]["bike_kind"],
        riding=feet[0]["riding"],
        pain=None if pain is None else round(pain),
    )
    return Loaded(form, feet[0]["session_id"], feet[0]["session_date"])


def _knee(foot: dict[str, Any], before: list[dict[str, Any]]) -> Knee:
    exam = ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path", "forefoot_angle_deg", "foot_room_ok")
    built_in = int(foot["shims_built_in"])
    present = Setup(
        insole_level=foot["insole_level"],
        total_shims=int(foot["shims_added"]) + built_in,
        shims_built_in=built_in,
        stance_mm=foot["stance_mm"],
    )
    first = before[0] if before else None
    return Knee(
        **{name: foot[name] for name in exam},
        tilt_deg=tuple(row["knee_tilt_deg"] for row in before),
        sway_mm=tuple(row["knee_sway_mm"] for row in before),
        seen_with=None
        if first is None
        else Setup(
            insole_level=first["insole_level"],
            total_shims=int(first["total_shims"]),
            shims_built_in=built_in,
            stance_mm=first["stance_mm"],
        ),
        setup=present,
    )


def forefoot_of(angle_deg: float | None, limits: Forefoot) -> str | None:
    """The class of a forefoot angle, as forefoot_class.sql tells it."""
    if angle_deg is None:
        return None
    if abs(angle_deg) <= limits.neutral_within_deg:
        return "neutral"
    if angle_deg < 0:
        return "valgus"
    return "mild_varus" if angle_deg <= limits.marked_above_deg else "marked_varus"


def foot_type_of(knee: Knee, limits: Forefoot) -> str | None:
    """Arch by forefoot class; None where either was not examined."""
    forefoot = forefoot_of(knee.forefoot_angle_deg, limits)
    return f"{knee.arch_height} arch, {forefoot}" if knee.arch_height and forefoot else None


def arrived(knee: Knee, within_deg: float) -> str | None:
    """Where the knee stood in the first capture, as arrival_direction.sql tells it; None where it was not measured."""
    tilt = next(iter(knee.tilt_deg), None)
    if tilt is None:
        return None
    return "inward" if tilt < -within_deg else "near neutral" if tilt <= within_deg else "outward"
