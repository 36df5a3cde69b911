"""A made answer on two rigs: one whose zero moved in May, one that is sound."""

from datetime import date

from dashboard.questions.data.answers_rig import Rig, RigMonthRow
from shared.rig.findings import RigFinding
from tests.unit.made_answers import SHARED

WORDS = (
    "Arrivals at north stand 0.8° (0.5 to 1.1°) further out since 3 May 2026 (it began between 20 Apr and 14 May 2026). Check "
    "the rig's zero."
)


def made_rig() -> Rig:
    finding = RigFinding(
        studio="north",
        kind="step",
        quantity="tilt",
        since=date(2026, 5, 3),
        since_low=date(2026, 4, 20),
        since_high=date(2026, 5, 14),
        until=None,
        estimate=0.8,
        low=0.5,
        high=1.1,
        unit="deg",
        q_value=0.0004,
        n_fits=61,
        n_riders=58,
        words=WORDS,
    )
    months = tuple(
        RigMonthRow(studio, knees, date(2026, month, 1), "deg", n, n, *(_ends(mean) if n > 9 else (None, None, None)))
        for studio, moved in (("north", 0.8), ("south", 0.0))
        for month, n in ((3, 31), (4, 28), (5, 30), (6, 6))
        for knees, mean in (("both", -0.4 + moved * (month > 4)), ("right_less_left", 0.1))
    )
    return Rig(**SHARED, headline=WORDS, findings=(finding,), months=months)


def _ends(mean: float) -> tuple[float, float, float]:
    return mean, mean - 0.6, mean + 0.6
