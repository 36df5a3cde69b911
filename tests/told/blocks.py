"""What the steps of a load, of taking one back and of a typed form tell, from reports that are written by hand."""

from dataclasses import replace
from typing import Any

from dashboard.components import html
from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.figures import loading, names
from dashboard.pages.data import history, tables, upload
from dashboard.pages.fitters import worst
from dashboard.pages.next_rider import by_hand, drawn_orders
from dashboard.pages.returns import calls
from dashboard.pages.riders import listing
from etl.asked_lines import Question
from etl.history import Foreseen, Undone
from etl.report import FileReport, Filled, Finding, LoadReport, WarningGroup
from shared.errors import FitledgerError, UsageError
from tests.told import made_foreseen as foreseen
from tests.told.desks import Blocks, HandAsker
from tests.unit.made_rig import made_rig

DESK = Desk(HandAsker({"next": foreseen.NEXT, "foresight": foreseen.BROKEN}), Addresses("/studio/"))  # type: ignore[arg-type]
FILE = FileReport("sessions-06.csv", "fit_sessions", 1200, 900, 100, 150, 30, 20, 2, words="30 rows rejected: made.")
REPORT = LoadReport(
    load_id=7,
    files=[FILE, FileReport("notes.txt", None, refused=True, words="No table of the contract: made.")],
    findings=[
        Finding("sessions-06.csv", 2 + n, "visit_kind", "code", "firts" if n else None, "Found firts, expected first.")
        for n in range(30)
    ],
    warnings=[
        WarningGroup("no_exam", "fit_sessions", "session_id", 1100, ["S1: no exam.", "S2: no exam."]),
        WarningGroup("knee_jump", "knee_captures", "knee_tilt_deg", 2, ["S3: 9 degrees."]),
    ],
    filled=(Filled("fit_sessions", "bike_kind", "filled with road", 12),),
    rig=made_rig().findings,
    questions=(
        Question("mirrored", "knee_captures", "knee_tilt_deg", "quay", "Is the left side mirrored?", "flip it", "mirrored = 1"),
    ),
)
ONE = LoadReport(files=[FileReport("riders.csv", "riders", 1, 1)])
SAME = LoadReport(files=[FileReport("riders.csv", "riders", 3, 0, 0, 3)])
NOTHING_IN = LoadReport(files=[FileReport("riders.csv", "riders")])
REFUSED = LoadReport(files=[FileReport("notes.txt", None, refused=True, words="No table: made.")])


def _acted(_: Desk, typed: dict[str, str]) -> str:
    if typed["fit"] == "S9":
        raise UsageError("S9 is no fit.")
    return f"{typed['fit']}: a low insole comes first."


def _asked(typed: Any) -> Any:
    return drawn_orders.acting(DESK, _acted)(typed)


def _list(named: dict[str, Any]) -> html.Ul:
    return html.Ul([html.Li(f"{code}: {told}") for code, told in named.items()])


CHOSEN = {"left.arch_height": "low", "left.tilt_1": "-3", "right.arch_height": "low", "right.tilt_1": "1"}
LOADING = Blocks(
    {
        "checked": lambda: upload.checked(DESK, REPORT, "T1", "The warehouse changed."),
        "checked, one row": lambda: upload.checked(DESK, ONE, "T1"),
        "checked, none in the contract's form": lambda: upload.checked(DESK, REFUSED, "T1"),
        "checked, no row": lambda: upload.checked(DESK, NOTHING_IN, "T1"),
        "loaded": lambda: upload.loaded(DESK, replace(REPORT, findings=REPORT.findings[:1], rig=()), "T1"),
        "loaded, nothing new": lambda: upload.loaded(DESK, SAME, "T1"),
        "unusable": lambda: upload.unusable(FitledgerError("No heading is known.")),
        "closed": lambda: upload.closed(FitledgerError("Loading is for the owner.")),
        "taking back": lambda: history.asked(7, [Foreseen("riders", 1200, 1100), Foreseen("fit_sessions", 1, 1)]),
        "taken back": lambda: history.taken(7, Undone(7, 2, 1200)),
        "left": lambda: history.outcome("The load stays."),
    }
)
TYPED = Blocks(
    {
        "nothing typed": lambda: by_hand.foretold(DESK, None, "light"),
        "two feet": lambda: by_hand.foretold(DESK, CHOSEN, "light"),
        "no number": lambda: by_hand.foretold(DESK, {**CHOSEN, "left.tilt_1": "much"}, "light"),
        "nothing drawn": lambda: _asked(None),
        "drawn": lambda: _asked({"fit": " S1 "}),
        "no fit": lambda: _asked({"fit": "S9"}),
        "no words": lambda: _asked({"fit": 9}),
    }
)
NAMES = Blocks(
    {
        "outcomes": lambda: _list({code: (one.name, one.axis, one.less, one.more) for code, one in names.OUTCOMES.items()}),
        "measures": lambda: _list(names.MEASURES),
        "plain words": lambda: _list(names.PLAIN),
        "supports": lambda: _list(names.SUPPORTS),
        "checks": lambda: _list(names.CHECKS),
        "words of a selection": lambda: _list(names.WORDS),
        "reasons": lambda: _list(loading.REASONS),
        "warnings": lambda: _list(tables.WARNING_NAMES),
        "flags": lambda: _list(worst.FOUND),
        "calls": lambda: _list(calls.WHY),
        "looks": lambda: _list(listing.LOOKS | {f"{code} (next)": words for code, words in listing.STEPS.items()}),
        "follow-ups": lambda: _list(listing.STATES),
    }
)
