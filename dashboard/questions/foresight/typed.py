"""The short form that is typed by hand: its fields, and what was typed as two knees, or a sentence that names the field."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, get_args

from pydantic import BaseModel, ConfigDict, ValidationError

from dashboard.questions.foresight.knees import (
    SIDES,
    Angle,
    BikeKind,
    Form,
    Knee,
    Level,
    Pain,
    Riding,
    Setup,
    Shims,
    Stance,
    Sway,
    Tilt,
    VisitKind,
)
from shared.errors import UsageError

# A number field of the browser that holds no number says so by this sign (assets/controls.js).
NO_NUMBER: Final = "?"


@dataclass(frozen=True)
class TypedField:
    """One field, for both sides or for the rider: its name, its words and unit, the options with their words where it is one of
    some, is_text where it is neither that nor a number."""

    name: str
    words: str
    unit: str = ""
    options: tuple[tuple[str, str], ...] = ()
    of_both: bool = True
    is_text: bool = False


@dataclass(frozen=True)
class TypedGroup:
    """Fields that stand together; is_rare: out of sight until it is opened."""

    words: str
    fields: tuple[TypedField, ...]
    is_rare: bool = False


def _same(*codes: str) -> tuple[tuple[str, str], ...]:
    return tuple((code, code) for code in codes)


GROUPS: Final = (
    TypedGroup(
        "Exam",
        (
            TypedField("arch_height", "Arch height", options=_same("low", "medium", "high")),
            TypedField("arch_collapse", "Arch collapse", options=_same("none", "some", "marked")),
            TypedField("heel_posture", "Heel posture", options=_same("inverted", "neutral", "everted")),
            TypedField("squat_knee_path", "Knee in the squat", options=_same("inward", "straight", "outward")),
            TypedField("forefoot_angle_deg", "Forefoot angle", "°, varus +, valgus −"),
        ),
    ),
    TypedGroup(
        "Before a change",
        (
            TypedField("tilt_1", "Tilt", "°, outward +, inward −"),
            TypedField("sway_1", "Sway", "mm"),
            TypedField("pain", "Pain", "0 to 10", of_both=False),
        ),
    ),
    TypedGroup(
        "Supports now",
        (
            TypedField("insole_level", "Insole", options=_same("none", "low", "medium", "high", "custom")),
            TypedField("shims_added", "Shims added", "varus +, valgus −"),
            TypedField("shims_built_in", "Shims built in", "varus +, valgus −"),
            TypedField("stance_mm", "Stance", "mm, outward +"),
            TypedField("foot_room", "Foot room", options=(("enough", "enough"), ("too_little", "too little"))),
        ),
    ),
    TypedGroup(
        "Second capture, before a change too",
        (TypedField("tilt_2", "Tilt again", "°"), TypedField("sway_2", "Sway again", "mm")),
        is_rare=True,
    ),
    TypedGroup(
        "Visit, riding and bicycle",
        (
            TypedField(
                "visit_kind",
                "Visit",
                options=(("first", "first fit"), ("follow_up", "follow-up"), ("refit", "refit")),
                of_both=False,
            ),
            TypedField("riding", "Riding", options=_same(*get_args(Riding)), of_both=False),
            TypedField("bike_kind", "Bicycle", "as your exports name it", of_both=False, is_text=True),
        ),
        is_rare=True,
    ),
)


class _Foot(BaseModel):
    """One side as typed."""

    model_config = ConfigDict(extra="ignore", frozen=True, allow_inf_nan=False)

    arch_height: Literal["low", "medium", "high"] | None = None
    arch_collapse: Literal["none", "some", "marked"] | None = None
    heel_posture: Literal["inverted", "neutral", "everted"] | None = None
    squat_knee_path: Literal["inward", "straight", "outward"] | None = None
    forefoot_angle_deg: Angle | None = None
    tilt_1: Tilt | None = None
    tilt_2: Tilt | None = None
    sway_1: Sway | None = None
    sway_2: Sway | None = None
    insole_level: Level = "none"
    shims_added: Shims = 0
    shims_built_in: Shims = 0
    stance_mm: Stance = 0.0
    foot_room: Literal["enough", "too_little"] | None = None

    def as_knee(self) -> Knee:
        exam = ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path", "forefoot_angle_deg")
        return Knee(
            **{name: getattr(self, name) for name in exam},
            tilt_deg=tuple(one for one in (self.tilt_1, self.tilt_2) if one is not None),
            sway_mm=tuple(one for one in (self.sway_1, self.sway_2) if one is not None),
            setup=Setup(
                insole_level=self.insole_level,
                total_shims=self.shims_added + self.shims_built_in,
                shims_built_in=self.shims_built_in,
                stance_mm=self.stance_mm,
            ),
            foot_room_ok=None if self.foot_room is None else self.foot_room == "enough",
        )


class _Typed(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)

    left: _Foot
    right: _Foot
    visit_kind: VisitKind | None = None
    riding: Riding | None = None
    bike_kind: BikeKind | None = None
    pain: Pain | None = None


_OF_RIDER: Final = tuple(one.name for group in GROUPS for one in group.fields if not one.of_both)


def field_name(side: str, name: str) -> str:
    """The name of a field of one side; that of a field of the rider is its own."""
    return f"{side}.{name}"


def form_typed(values: Any) -> Form:
    """The two knees of what was typed, a text by field name, where an empty text is not known.

    Raises UsageError, which names every field that is wrong, and where nothing was typed."""
    typed = {name: text.strip() for name, text in values.items() if text.strip()} if _is_plain(values) else {}
    known = {side: {one.name: text for one in _of_sides() if (text := typed.get(field_name(side, one.name)))} for side in SIDES}
    if not any(known.values()):
        raise UsageError("Nothing is typed yet. Give a part of one foot's exam, or what was measured of one knee.")
    try:
        read = _Typed.model_validate({**known, **{name: typed.get(name) for name in _OF_RIDER}})
    except ValidationError as fault:
        wrong = " ".join(dict.fromkeys(_sentence(one) for one in fault.errors()))
    else:
        of_rider = {name: getattr(read, name) for name in _OF_RIDER}
        return Form(left=read.left.as_knee(), right=read.right.as_knee(), **of_rider)
    # Outside of the handler: the library's own fault would go along, with all that was typed.
    raise UsageError(wrong)


def _is_plain(values: Any) -> bool:
    return isinstance(values, Mapping) and all(isinstance(one, str) for pair in values.items() for one in pair)


def _of_sides() -> Iterator[TypedField]:
    return (one for group in GROUPS for one in group.fields if one.of_both)


def _sentence(fault: Any) -> str:
    """What is wrong with one field, in words."""
    *side, name = fault["loc"]
    field = next(one for group in GROUPS for one in group.fields if one.name == name)
    where = f"{field.words}{f', {side[0]}' if side else ''}"
    found, bounds = fault["input"], fault.get("ctx", {})
    unit = f" {field.unit.split(',')[0]}" if field.unit.startswith(("°", "mm")) else ""
    if "le" in bounds:
        expected = f"{bounds['le']:g}{unit} at most"
    elif "ge" in bounds:
        expected = f"{bounds['ge']:g}{unit} at least".replace("-", "−")
    elif "max_length" in bounds:
        expected = f"{bounds['max_length']} letters at most"
    elif field.options:
        expected = f"one of {', '.join(words for _, words in field.options)}"
    else:
        expected = f"a {'whole number' if fault['type'].startswith('int') else 'number'}"
    return f"{where}: {'this is no number' if found == NO_NUMBER else f'found {found}'}, expected {expected}."
