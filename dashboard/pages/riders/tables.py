"""Columns of the tables of one rider's fit, and one row for each capture with both knees in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.components import columns, html
from dashboard.components.table import Column, table
from dashboard.figures.names import plain
from dashboard.figures.theme import NOTHING, day, number
from dashboard.pages.riders.listing import whole_day
from dashboard.questions.followed.worth import STEPS
from dashboard.questions.riders.answers_riders import CaptureRow

Numbers = Mapping[tuple[int, str], int]


@dataclass(frozen=True)
class BothKnees:
    """One capture with what was recorded of each knee."""

    capture_no: int
    left: CaptureRow | None
    right: CaptureRow | None


def both_knees(captures: Sequence[CaptureRow]) -> list[BothKnees]:
    """The captures of one fit, in order."""
    sides = {(row.capture_no, row.side): row for row in captures}
    return [BothKnees(n, sides.get((n, "left")), sides.get((n, "right"))) for n in dict.fromkeys(no for no, _ in sides)]


def capture_columns(numbers: Numbers) -> list[Column]:
    """Both knees side by side, then each foot's setup as it stood, with the change's number in the chart."""
    return [
        Column("Capture", lambda row: str(row.capture_no)),
        *(
            _knee_column(side, heading, key, unit)
            for heading, key, unit in (
                ("Tilt", "knee_tilt_deg", "deg"),
                ("Sway", "knee_sway_mm", "mm"),
                ("Offset", "knee_offset_mm", "mm"),
            )
            for side in ("left", "right")
        ),
        Column("Setup of the left foot", lambda row: _setup(row.left, numbers), wide=True),
        Column("Setup of the right foot", lambda row: _setup(row.right, numbers), wide=True),
    ]


def _knee_column(side: str, heading: str, key: str, unit: str) -> Column:
    return Column(
        f"{heading} {side}",
        lambda row: NOTHING if getattr(row, side) is None else number(getattr(getattr(row, side), key), unit),
        numeric=True,
    )


def _setup(row: CaptureRow | None, numbers: Numbers) -> str:
    if row is None:
        return "not recorded"
    number_of = numbers.get((row.place, row.side))
    return f"{row.setup} (change {number_of})" if number_of else row.setup


def change_columns(numbers: Numbers) -> list[Column]:
    """Each change of a foot's setup with its number in the chart."""
    return [
        Column("Change", lambda row: str(numbers[row.place, row.side])),
        Column("Foot", lambda row: row.side),
        Column("What was changed", lambda row: row.words, wide=True),
        Column("Before capture", lambda row: f"{row.capture_no} of {whole_day(row.session_date)}"),
    ]


VERDICTS: Final = {"changed": "more than noise", "unclear": "no clear change", "unknown": "not known"}
KNEES: Final = [
    Column("Knee", lambda row: f"{row.side.capitalize()} {row.outcome}"),
    columns.figure("First", "arrival"),
    columns.figure("Last", "departure"),
    columns.figure("Change", "change"),
    columns.figure("Smallest real change", "mdc95"),
    Column("Verdict", lambda row: VERDICTS[row.verdict].replace(" ", "\u00a0")),
    columns.figure("Found again", "found"),
]

EXAMS: Final = [
    Column("Foot", lambda row: row.side.capitalize()),
    Column("Arch", lambda row: _code(row.arch_height)),
    Column("Collapse", lambda row: _code(row.arch_collapse)),
    Column("Heel", lambda row: _code(row.heel_posture)),
    Column("Forefoot", lambda row: number(row.forefoot_angle_deg, "deg"), ("forefoot_angle_deg",), numeric=True),
    Column("Class", lambda row: _code(row.forefoot)),
    Column("Knee in a squat", lambda row: _code(row.squat_knee_path)),
    Column("Hip flexion", lambda row: number(row.hip_flexion_deg, "deg"), ("hip_flexion_deg",), numeric=True),
    columns.count("Posture index", "foot_posture_index"),
]

RATINGS: Final = [
    Column("Topic", lambda row: f"{plain(row.topic).capitalize()}{_part(row.body_part)}"),
    *(
        Column(heading, lambda row, key=key: number(getattr(row, key), "count"), (key,), numeric=True)  # type: ignore[misc]
        for heading, key in (("First capture", "arrival"), ("Last capture", "departure"), ("Follow-up", "follow_up"))
    ),
]

# Beside the ratings where there is a verdict on one of them.
VERDICT: Final = Column("From arrival to the follow-up", lambda row: row.verdict or NOTHING, wide=True)

BIKE: Final = [
    Column("Measure", lambda row: plain(row.measure).capitalize()),
    Column("Arrival", lambda row: number(row.arrival_mm, "mm"), ("arrival_mm",), numeric=True),
    Column("Departure", lambda row: number(row.departure_mm, "mm"), ("departure_mm",), numeric=True),
    Column("Change", lambda row: number(row.change_mm, "mm"), ("change_mm",), numeric=True),
]

FOLLOW_UPS: Final = [
    Column("Booked on", lambda row: day(row.booked_on)),
    Column("Due on", lambda row: day(row.due_on)),
    Column("State", lambda row: row.state),
    Column("Came on", lambda row: day(row.attended_on)),
    Column("Setup kept", lambda row: _code(row.setup_kept)),
    columns.count("Satisfaction", "satisfaction"),
    columns.count("Pain", "pain"),
    Column("Compared to before", lambda row: STEPS.get(row.change_rating, NOTHING), ("change_rating",)),
]


def or_none(caption: str, columns: Sequence[Column], rows: Sequence[Any], words: str, table_id: str) -> html.Div:
    """The rows as a table, or the sentence that there are none."""
    if rows:
        return table(caption, columns, rows, table_id=table_id)
    return html.Div([html.H2(caption, className="part-title"), html.P(words)], className="fit-part")


def _code(code: Any) -> str:
    return plain(code) or NOTHING


def _part(body_part: str) -> str:
    return "" if body_part == "whole" else f", {plain(body_part)}"
