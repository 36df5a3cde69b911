"""Answers on what was loaded and on the studio's figures, written by hand in round numbers."""

from dataclasses import replace
from datetime import date

from dashboard.questions.data.answers_data import (
    AbsentRow,
    Data,
    ExamRow,
    LeftOutRow,
    LoadRow,
    QualityRow,
    ReasonRow,
    RejectRow,
    TableRow,
    WaitingRow,
    WarningRow,
)
from dashboard.questions.studio.answers_studios import BetweenStudiosRow, OneStudioRow, Studios
from tests.told.made_outcomes import SHARED


def _reject(n: int, rule: str, line: int = 14) -> RejectRow:
    value = None if rule == "missing" else "74"
    return RejectRow(n, "captures-03.csv", line, "knee_captures", "knee_tilt_deg", rule, value, f"Found {value}: made.", "{}")


DATA = Data(
    **SHARED, headline="99.1 % of 5,000 rows are in the figures.",
    tables=(
        TableRow("fit_sessions", 1412, 0, 3, date(2024, 1, 7), date(2026, 6, 30), 2),
        TableRow("knee_captures", 8021, 455, 42, None, None),
    ),
    loads=(
        LoadRow(1, "2026-04-02T08:30:00Z", 9, 8500, 8400, 0, 60, 33, 7),
        LoadRow(2, "2026-05-02T08:30:00Z", 1, 100, 0, 0, 0, 0, 0, "captures-05.csv", "2026-05-03T09:00:00Z"),
        LoadRow(3, "2026-06-02T08:30:00Z", 2, 1000, 900, 20, 60, 12, 8, "sessions-06.csv\ncaptures-06.csv"),
    ),
    reasons=(
        ReasonRow("rejected", "knee_captures", "orphan", 12, "The session is not known."),
        ReasonRow("rejected", "knee_captures", "range", 30, "The value lies outside what can be."),
        ReasonRow("waiting", "knee_captures", "waiting", 455, "These rows wait for their session."),
        ReasonRow("rejected", "fit_sessions", "missing", 3, "A cell that must be told is empty."),
    ),
    rejects=tuple(_reject(1 + n % 3, "orphan" if n % 4 == 0 else "range", 14 + n) for n in range(45)),
    quality=(
        QualityRow("exam_complete", 1371, 1412, 0.971, 0.96, 0.98, "97 % of fits have both feet examined."),
        QualityRow("repeat_capture", 3, 9, None, None, None, "Not enough yet: 9 fits."),
    ),
    warnings=(WarningRow("jump", "knee_captures", "knee_tilt_deg", 1005, "Three sentences: made."),),
    waiting=(WaitingRow(3, "captures-06.csv", "knee_captures", "session_id", "S99", 455),),
    left_out=(LeftOutRow(1, "rejected", "orphan", 33), LeftOutRow(1, "waiting", "waiting", 7), LeftOutRow(3, "rejected",
    "range", 12),
        LeftOutRow(3, "waiting", "waiting", 8)),
    exams=(ExamRow("forefoot_angle_deg", 40, 2824, 0.014), ExamRow("arch_height", 0, 0, None)),
    absent=(AbsentRow("follow_ups", "No booking is recorded: nothing is told of returns."),),
)  # fmt: skip
CLEAN = replace(
    DATA, headline="Every row is in the figures.", tables=(TableRow("fit_sessions", 1, 0, 0, None, None),),
    loads=DATA.loads[2:],
    reasons=(), rejects=(), warnings=(), waiting=(), left_out=(), exams=(), absent=(), as_of=None,
)  # fmt: skip
ONE_OF_EACH = replace(
    CLEAN, tables=(TableRow("fit_sessions", 1, 1, 1, None, None, 1),), reasons=DATA.reasons[3:], rejects=DATA.rejects[:1]
)

STUDIOS = Studios(
    **SHARED, n_fits=1200, n_riders=1100, headline="Riders of quay come back less often than those of mill.",
    figures=(
        OneStudioRow("return_rate", "quay", "share", "fit", 1200, 0.6, 0.5, 0.7, 900), OneStudioRow("return_rate", "mill",
        "share", "fit", 900, 0.72, 0.65, 0.8, 700),
        OneStudioRow("comfort_gained", "quay", "points", "fit", 1200, 1.4, 1.2, 1.6, 900), OneStudioRow("comfort_gained",
        "mill", "points", "fit", 3, None, None, None, 3),
    ),
    differences=(
        BetweenStudiosRow("return_rate", "quay", "mill", "share", 1200, 900, -0.12, -0.2, -0.04, "Quay less mill: made.",
        0.001, 0.004, "worse"),
        BetweenStudiosRow("comfort_gained", "quay", "mill", "points", 1200, 3, None, None, None, "Comfort: not enough yet."),
    ),
)  # fmt: skip
ONE_STUDIO = replace(STUDIOS, headline="There is one studio only.", figures=(), differences=())
