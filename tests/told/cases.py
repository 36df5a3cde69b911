"""Which answers, written by hand, each page is asked about: the cases of the texts beside."""

from typing import Any

from shared.errors import NotRecordedError, TooFewError
from tests.told import made_data as data
from tests.told import made_foreseen as foreseen
from tests.told import made_people as people
from tests.told.blocks import LOADING, NAMES, TYPED
from tests.told.desks import Blocks, Case, Frame
from tests.told.made_outcomes import (
    ASYMMETRY,
    CALLS,
    IMPORTANT,
    LOW,
    MANY_CALLS,
    NO_CALLS,
    ONE_CALL,
    ONE_OF_EACH,
    RATINGS,
    SIDES,
    made_returns,
)
from tests.unit.made_answers import made_checks
from tests.unit.made_effects import made_whole_effects
from tests.unit.made_periods import made_periods
from tests.unit.made_rig import made_rig
from tests.unit.made_trends import made_trends

FOLDERS = ("studio", "supports", "next_rider", "symmetry", "returns", "fitters", "riders", "data")


def case(page: str, answers: dict[str, Any], search: str = "", *places: str, **reader: Any) -> Case:
    return Case(page, answers, search, places, reader)


_SYMMETRY = {"asymmetry": ASYMMETRY, "sides": SIDES}
_FITTERS = {"fitters": people.FITTERS, "agreement": people.AGREEMENT, "noise": people.NOISE}
_OF_ONE = ("riders-fits", "riders-exam", "riders-rated")
_STUDIO = {
    "periods": made_periods(), "trends": made_trends(), "studios": data.STUDIOS, "calls": CALLS, "agreement": people.AGREEMENT,
    "data": data.DATA, "rig": made_rig(),
}  # fmt: skip
_IDLE = {
    **_STUDIO,
    "studios": data.ONE_STUDIO,
    "calls": NO_CALLS,
    "agreement": TooFewError("Too few."),
    "rig": TooFewError("Too few."),
}
_SUPPORTS = {
    "effects": lambda selection: made_whole_effects(selection.split), "checks": made_checks(), "power": foreseen.POWER,
    "drawn": foreseen.DRAWN,
}  # fmt: skip
_NEXT = {"next": foreseen.NEXT, "foresight": foreseen.RECORD, "drawn": foreseen.DRAWN}
_DATA = {"data": data.DATA, "rig": made_rig(), "noise": people.NOISE}
_RETURNS = {"returns": made_returns(), "calls": CALLS, "ratings": RATINGS, "important_change": IMPORTANT}


def _no_exams(selection: Any) -> Any:
    return NotRecordedError("No exam is recorded here.", ("foot_exams",)) if selection.split else ASYMMETRY


def _rider_or_all(selection: Any) -> Any:
    return people.TIMELINE if selection.rider else people.RIDERS


CASES: dict[str, dict[str, Case | Frame | Blocks]] = {
    "symmetry": {
        "tilt": case("symmetry", _SYMMETRY),
        "offset by arch": case("symmetry", _SYMMETRY, "?outcome=offset&split=arch_height&side=left"),
        "an unknown outcome": case("symmetry", _SYMMETRY, "?outcome=sway"),
        "no exam": case("symmetry", {**_SYMMETRY, "asymmetry": _no_exams}, "", "symmetry-levels"),
    },
    "returns": {
        "all fits": case("returns", _RETURNS),
        "by arch": case(
            "returns", {**_RETURNS, "returns": made_returns(LOW)}, "?split=arch_height&studio=quay", "returns-groups"
        ),
        "one of each": case(
            "returns",
            {**_RETURNS, "returns": ONE_OF_EACH, "calls": ONE_CALL},
            "?split=arch_height",
            "returns-answer",
            "returns-groups",
            "returns-calls",
        ),
        "nobody to call": case("returns", {**_RETURNS, "calls": NO_CALLS}, "", "returns-calls", "returns-answer"),
        "many to call": case("returns", {**_RETURNS, "calls": MANY_CALLS}, "", "returns-calls"),
    },
    "fitters": {
        "named": case("fitters", _FITTERS, "", looked_up=people.NAMES | {"S1": "R1"}),
        "returns of a fitter": case(
            "fitters", _FITTERS, "?outcome=return_rate&fitter=F1", looked_up=people.NAMES | {"S1": "R1"}
        ),
        "their own cases": case("fitters", _FITTERS, "", "fitters-next", "fitters-worst", fitter="F1", looked_up={"S1": "R1"}),
        "many to look at": case(
            "fitters", _FITTERS | {"agreement": people.MANY_WORST}, "?start=10", "fitters-next", "fitters-worst", looked_up={}
        ),
        "none to look at": case(
            "fitters",
            _FITTERS | {"agreement": NotRecordedError("No exam is recorded here.", ("foot_exams",))},
            "?outcome=sway",
            "fitters-head",
            "fitters-next",
            "fitters-funnel",
            looked_up={},
        ),
    },
    "riders": {
        "all riders": case("riders", {"riders": people.RIDERS}),
        "a look and a place": case(
            "riders", {"riders": people.RIDERS}, "?look=not_held&studio=quay", "riders-head", "riders-all"
        ),
        "further": case("riders", {"riders": people.RIDERS}, "?start=40", "riders-all"),
        "no bookings": case("riders", {"riders": people.NO_BOOKINGS}, "", "riders-answer", "riders-all"),
        "one rider": case("riders", {"riders": _rider_or_all}, "?rider=R1", "riders-head", "riders-answer", *_OF_ONE),
        "another fit": case("riders", {"riders": _rider_or_all}, "?rider=R1&fit=S2", "riders-answer", *_OF_ONE),
        "nothing recorded": case("riders", {"riders": people.BARE}, "?rider=R2", "riders-answer", *_OF_ONE),
        "a fit that is not there": case("riders", {"riders": _rider_or_all}, "?rider=R1&fit=S9", "riders-head"),
    },
    "studio": {
        "last month": case("studio", _STUDIO),
        "dates of a studio": case(
            "studio", _STUDIO, "?from=2026-05-01&to=2026-06-30&studio=quay", "studio-head", "studio-todo", "studio-studios"
        ),
        "nothing waits": case("studio", _IDLE, "", "studio-todo", "studio-studios", loads=False),
        "no fit": case("studio", {"periods": TooFewError("No fit matches this selection.")}, "?rider=R1", "studio-head"),
    },
    "supports": {
        "tilt": case("supports", _SUPPORTS),
        "sway by arch": case(
            "supports",
            _SUPPORTS,
            "?outcome=sway&split=arch_height&side=left",
            "supports-moved-words",
            "supports-for-whom",
            "supports-by-dose",
            "supports-both",
        ),
        "one arch": case("supports", _SUPPORTS, "?arch_height=low&split=foot_type", "supports-nearer", "supports-for-whom"),
    },
    "next": {
        "one rider": case("next_rider", _NEXT, "?rider=R1&side=left"),
        "nobody": case("next_rider", _NEXT, "", "next-head", "next-answer", "next-alike"),
        "silent": case("next_rider", {**_NEXT, "next": foreseen.SILENT}, "?rider=R1", "next-head", "next-answer", "next-alike"),
        "beyond the data": case(
            "next_rider",
            {"next": foreseen.HALF_KNOWN, "foresight": foreseen.BROKEN, "drawn": foreseen.CLOSED},
            "?rider=R1",
            "next-head",
            "next-answer",
            "next-drawn",
        ),
        "a seal that held": case("next_rider", {"drawn": foreseen.HELD_SEAL}, "", "next-drawn"),
        "not yet": case(
            "next_rider", {"foresight": foreseen.NOT_YET, "drawn": foreseen.NO_DRAW}, "", "next-record", "next-drawn"
        ),
    },
    "data": {
        "some left out": case("data", _DATA),
        "one reason": case("data", _DATA, "?reason=orphan&start=20", "data-left-out"),
        "clean": case(
            "data", {"data": data.CLEAN, "rig": TooFewError("Too few."), "noise": TooFewError("Too few fits.")}, "?studio=quay"
        ),
        "one of each": case("data", {**_DATA, "data": data.ONE_OF_EACH}, "", "data-next", "data-came-in", "data-left-out"),
        "a fitter": case("data", _DATA, "", "data-left-out", "data-look", fitter="F1", loads=False),
    },
    "steps": {"loading": LOADING, "typed": TYPED, "names": NAMES},
    "frames": {folder: Frame(folder) for folder in FOLDERS},
}
