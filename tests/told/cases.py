"""Which answers, written by hand, each page is asked about: the cases of the texts beside."""

from typing import Any

from dashboard.components.page import Page
from dashboard.pages import PAGES
from dashboard.pages.data.callbacks import PAGE as DATA
from dashboard.pages.fitters.callbacks import PAGE as FITTERS
from dashboard.pages.next_rider.callbacks import PAGE as NEXT
from dashboard.pages.returns.callbacks import PAGE as RETURNS
from dashboard.pages.riders.callbacks import PAGE as RIDERS
from dashboard.pages.studio.callbacks import PAGE as STUDIO
from dashboard.pages.supports.callbacks import PAGE as SUPPORTS
from dashboard.pages.symmetry.callbacks import PAGE as SYMMETRY
from shared.errors import NotRecordedError, TooFewError
from tests.told import made_data as data
from tests.told import made_foreseen as foreseen
from tests.told import made_people as people
from tests.told.blocks import LOADING, NAMES, TYPED
from tests.told.desks import Blocks, Case, Frame
from tests.told.made_outcomes import ASYMMETRY, CALLS, LOW, MANY_CALLS, NO_CALLS, RATINGS, SIDES, made_returns
from tests.unit.made_answers import made_checks
from tests.unit.made_effects import made_whole_effects
from tests.unit.made_periods import made_periods
from tests.unit.made_rig import made_rig
from tests.unit.made_trends import made_trends


def case(page: Page, answers: dict[str, Any], search: str = "", *places: str, **reader: Any) -> Case:
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
_RETURNS = {"returns": made_returns(), "calls": CALLS, "ratings": RATINGS}


def _no_exams(selection: Any) -> Any:
    return NotRecordedError("No exam is recorded here.", ("foot_exams",)) if selection.split else ASYMMETRY


def _rider_or_all(selection: Any) -> Any:
    return people.TIMELINE if selection.rider else people.RIDERS


CASES: dict[str, dict[str, Case | Frame | Blocks]] = {
    "symmetry": {
        "tilt": case(SYMMETRY, _SYMMETRY),
        "offset by arch": case(SYMMETRY, _SYMMETRY, "?outcome=offset&split=arch_height&side=left"),
        "an unknown outcome": case(SYMMETRY, _SYMMETRY, "?outcome=sway"),
        "no exam": case(SYMMETRY, {**_SYMMETRY, "asymmetry": _no_exams}, "", "symmetry-levels"),
    },
    "returns": {
        "all fits": case(RETURNS, _RETURNS),
        "by arch": case(
            RETURNS, {**_RETURNS, "returns": made_returns(LOW)}, "?split=arch_height&studio=quay", "returns-groups"
        ),
        "nobody to call": case(RETURNS, {**_RETURNS, "calls": NO_CALLS}, "", "returns-calls", "returns-answer"),
        "many to call": case(RETURNS, {**_RETURNS, "calls": MANY_CALLS}, "", "returns-calls"),
    },
    "fitters": {
        "named": case(FITTERS, _FITTERS, "", looked_up=people.NAMES | {"S1": "R1"}),
        "returns of a fitter": case(FITTERS, _FITTERS, "?outcome=return_rate&fitter=F1", looked_up=people.NAMES | {"S1": "R1"}),
        "their own cases": case(FITTERS, _FITTERS, "", "fitters-next", "fitters-worst", fitter="F1", looked_up={"S1": "R1"}),
        "many to look at": case(
            FITTERS, _FITTERS | {"agreement": people.MANY_WORST}, "?start=10", "fitters-next", "fitters-worst", looked_up={}
        ),
        "none to look at": case(
            FITTERS,
            _FITTERS | {"agreement": NotRecordedError("No exam is recorded here.", ("foot_exams",))},
            "?outcome=sway",
            "fitters-head",
            "fitters-next",
            "fitters-funnel",
            looked_up={},
        ),
    },
    "riders": {
        "all riders": case(RIDERS, {"riders": people.RIDERS}),
        "a look and a place": case(
            RIDERS, {"riders": people.RIDERS}, "?look=not_held&studio=quay", "riders-head", "riders-all"
        ),
        "further": case(RIDERS, {"riders": people.RIDERS}, "?start=40", "riders-all"),
        "no bookings": case(RIDERS, {"riders": people.NO_BOOKINGS}, "", "riders-answer", "riders-all"),
        "one rider": case(RIDERS, {"riders": _rider_or_all}, "?rider=R1", "riders-head", "riders-answer", *_OF_ONE),
        "another fit": case(RIDERS, {"riders": _rider_or_all}, "?rider=R1&fit=S2", "riders-answer", *_OF_ONE),
        "a fit that is not there": case(RIDERS, {"riders": _rider_or_all}, "?rider=R1&fit=S9", "riders-head"),
    },
    "studio": {
        "last month": case(STUDIO, _STUDIO),
        "dates of a studio": case(
            STUDIO, _STUDIO, "?from=2026-05-01&to=2026-06-30&studio=quay", "studio-head", "studio-todo", "studio-studios"
        ),
        "nothing waits": case(STUDIO, _IDLE, "", "studio-todo", "studio-studios", loads=False),
        "no fit": case(STUDIO, {"periods": TooFewError("No fit matches this selection.")}, "?rider=R1", "studio-head"),
    },
    "supports": {
        "tilt": case(SUPPORTS, _SUPPORTS),
        "sway by arch": case(
            SUPPORTS,
            _SUPPORTS,
            "?outcome=sway&split=arch_height&side=left",
            "supports-moved-words",
            "supports-for-whom",
            "supports-by-dose",
            "supports-both",
        ),
        "one arch": case(SUPPORTS, _SUPPORTS, "?arch_height=low&split=foot_type", "supports-nearer", "supports-for-whom"),
    },
    "next": {
        "one rider": case(NEXT, _NEXT, "?rider=R1&side=left"),
        "nobody": case(NEXT, _NEXT, "", "next-head", "next-answer", "next-alike"),
        "silent": case(NEXT, {**_NEXT, "next": foreseen.SILENT}, "?rider=R1", "next-head", "next-answer", "next-alike"),
        "beyond the data": case(
            NEXT,
            {"next": foreseen.HALF_KNOWN, "foresight": foreseen.BROKEN, "drawn": foreseen.CLOSED},
            "?rider=R1",
            "next-head",
            "next-answer",
            "next-drawn",
        ),
        "not yet": case(NEXT, {"foresight": foreseen.NOT_YET, "drawn": foreseen.NO_DRAW}, "", "next-record", "next-drawn"),
    },
    "data": {
        "some left out": case(DATA, _DATA),
        "one reason": case(DATA, _DATA, "?reason=orphan&start=20", "data-left-out"),
        "clean": case(
            DATA, {"data": data.CLEAN, "rig": TooFewError("Too few."), "noise": TooFewError("Too few fits.")}, "?studio=quay"
        ),
        "one of each": case(DATA, {**_DATA, "data": data.ONE_OF_EACH}, "", "data-next", "data-came-in", "data-left-out"),
        "a fitter": case(DATA, _DATA, "", "data-left-out", "data-look", fitter="F1", loads=False),
    },
    "steps": {"loading": LOADING, "typed": TYPED, "names": NAMES},
    "frames": {page.name: Frame(page) for page in PAGES},
}
