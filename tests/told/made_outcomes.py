"""Answers on symmetry, returns and what riders said, written by hand in round numbers."""

from dataclasses import replace
from datetime import date
from typing import Any

from dashboard.questions.followed.answers_important import ImportantChange, ImportantChangeRow
from dashboard.questions.returns.answers_calls import BookedRow, CallRow, Calls, StateRow
from dashboard.questions.returns.answers_returns import (
    AtRiskRow,
    ComparisonRow,
    HeldRow,
    LastingRow,
    ReturnCurveRow,
    ReturnFigure,
    Returns,
    SaidRow,
    WorthRow,
)
from dashboard.questions.studio.answers_ratings import RatingRow, Ratings
from dashboard.questions.symmetry.answers_asymmetry import (
    Asymmetry,
    ChangeRow,
    CurveRow,
    DifferenceRow,
    FlowRow,
    PrevalenceRow,
    RepeatRow,
)
from dashboard.questions.symmetry.answers_sides import Sides, SidesRow

SHARED: dict[str, Any] = {
    "as_of": date(2026, 6, 30),
    "selection": {},
    "selection_words": "1,200 fits, 7 Jan to 30 Jun 2026",
    "method": {"level": 0.95, "test": "McNemar's exact test"},
}
ALL = (None, None)
LOW, HIGH = ("arch_height", "low"), ("arch_height", "high")


def _prevalence(
    quantity: str, unit: str, limit: float, moment: str, at: tuple[Any, Any], n: int, n_beyond: int
) -> PrevalenceRow:
    share = n_beyond / n
    ends = (share, share - 0.05, share + 0.06) if n > 9 else (None, None, None)
    words = f"{n_beyond} of {n:,} riders: a made sentence."
    return PrevalenceRow(quantity, unit, limit, moment, *at, n, n_beyond, *ends, *(None,) * 4, words)


TILT, OFFSET = ("tilt", "deg", 2.0), ("offset", "mm", 15.0)
PREVALENCE = (
    _prevalence(*TILT, "arrival", ALL, 1100, 440), _prevalence(*TILT, "departure", ALL, 1000, 300),
    _prevalence(*TILT, "arrival", LOW, 80, 40), _prevalence(*TILT, "departure", LOW, 50, 10),
    _prevalence(*TILT, "arrival", HIGH, 4, 1), _prevalence(*TILT, "departure", HIGH, 4, 2),
    _prevalence(*OFFSET, "arrival", ALL, 1100, 110), _prevalence(*OFFSET, "departure", ALL, 1000, 50),
)  # fmt: skip
CHANGE = (
    ChangeRow("side difference in tilt", *ALL, 1000, 250, 150, 50, 550, 0.4, 0.2, -0.2, -0.26, -0.14, 1e-9, 1e-8,
              "250 riders lost it and 50 gained one."),
    ChangeRow("side difference in tilt", *LOW, 50, 12, 8, 3, 27, 0.4, 0.22, -0.18, -0.35, -0.01, 0.04, 0.08, "low: made."),
    ChangeRow("side difference in offset", *ALL, 1000, 0, 50, 0, 950, 0.05, 0.05, 0.0, -0.01, 0.01, 1.0, 1.0,
    "no rider changed."),
)  # fmt: skip
PATTERNS = (
    ChangeRow("opposed", *ALL, 1000, 60, 40, 10, 890, 0.1, 0.05, -0.05, -0.07, -0.03, 1e-6, 1e-5, "Opposed: made."),
    ChangeRow("inward", *ALL, 1000, 100, 300, 160, 440, 0.4, 0.46, 0.06, 0.02, 0.1, 0.001, 0.004, "Inward: made."),
    ChangeRow("looping", *ALL, 4, 0, 1, 0, 3, *(None,) * 7, "Looping: not enough yet."),
    ChangeRow("opposed", *LOW, 50, 3, 2, 1, 44, 0.1, 0.06, -0.04, -0.12, 0.04, 0.6, 0.6, "low: made."),
)  # fmt: skip
FLOW = tuple(
    FlowRow(before, after, n)
    for before, counts in (("opposed", (40, 60)), ("neutral", (10, 890)))
    for after, n in zip(("opposed", "neutral"), counts, strict=True)
)
DIFFERENCES = (
    DifferenceRow("tilt", "deg", "arrival", *ALL, 1200, 1100, 0.3, 0.1, 0.5, 1.8, 4.2, "Right 0.3° further out: made."),
    DifferenceRow("offset", "mm", "departure", *ALL, 3, 3, *(None,) * 5, "Not enough yet."),
)
CURVE = tuple(
    CurveRow("tilt", "deg", moment, limit, limit == 2.0, 1100, share, share - 0.03, share + 0.04)
    for moment, shares in (("arrival", (0.7, 0.4, 0.1)), ("departure", (0.5, 0.3, 0.05)))
    for limit, share in zip((1.0, 2.0, 4.0), shares, strict=True)
)
REPEATS = (
    RepeatRow("tilt", "deg", 2.0, 300, 100, 10, 0.1, 0.05, 0.17, "Of 100 pairs beyond 2° 10 were within it when repeated.", 90),
    RepeatRow("offset", "mm", 15.0, 20, 3, 0, None, None, None, "Not enough repeats of offset yet.", 18),
)
ASYMMETRY = Asymmetry(
    **SHARED, n_fits=1200, n_riders=1100, headline="A made headline.",
    cautions=("A side difference is a reason to look.", "Noise alone takes some below the limit."),
    prevalence=PREVALENCE, change=CHANGE, patterns=PATTERNS, flow=FLOW, differences=DIFFERENCES, curve=CURVE, repeats=REPEATS,
    knees=(),
)  # fmt: skip
SIDES = Sides(
    **SHARED, n_fits=1200, n_riders=1100, headline="Left against right: made.", cautions=(),
    sides=(
        SidesRow("tilt", "deg", "arrival", 0.0, 1.0, 4.0, True, 5), SidesRow("tilt", "deg", "arrival", 0.0, 4.0, 1.0, True, 3),
        SidesRow("tilt", "deg", "arrival", 0.0, 1.0, 1.5, False, 20), SidesRow("tilt", "deg", "departure", 0.0, -4.0, -1.0,
        True, 2),
        SidesRow("tilt", "deg", "departure", 0.0, 1.0, 1.0, False, 26),
        SidesRow("offset", "mm", "arrival", 5.0, 10.0, 30.0, True, 1200), SidesRow("offset", "mm", "arrival", 5.0, 0.0, 5.0,
        False, 300),
        SidesRow("offset", "mm", "departure", 5.0, 0.0, 0.0, False, 1500),
    ),
)  # fmt: skip


def _figure(figure: str, n: int, share: float | None, at: tuple[Any, Any] = ALL, counted: str = "fit") -> ReturnFigure:
    ends = (None, None) if share is None else (share - 0.1, share + 0.1)
    return ReturnFigure(figure, *at, "share", counted, n, share, *ends, "A made sentence.")


LASTING = (
    LastingRow(
        "tilt", "deg", 1000, 600, 300, 0.4, 0.1, 0.7, 1.7, held=0.8, held_low=0.75, held_high=0.85, worst=0.48, best=0.88,
        bounds_low=0.45, bounds_high=0.9, alike=0.7, alike_low=0.6, alike_high=0.75, words="Tilt held in 80 % of those seen.",
    ),
    LastingRow("sway", "mm", 3, 1, 1, words="Sway: not enough yet."),
)  # fmt: skip


def made_returns(at: tuple[Any, Any] = ALL) -> Returns:
    levels = (ALL, at) if at != ALL else (ALL,)
    curve = (
        ReturnCurveRow(*ALL, 10, 900, 0.1, 0.05, 0.15, 0.02), ReturnCurveRow(*ALL, 28, 800, 0.3, 0.2, 0.4, 0.04),
        ReturnCurveRow(*ALL, 60, 500, 0.6, 0.5, 0.7, 0.05),
    )  # fmt: skip
    risk = tuple(AtRiskRow(*ALL, day, n) for day, n in ((0, 1100), (14, 850), (28, 800), (56, 520), (84, 300)))
    return Returns(
        **SHARED, n_fits=1200, n_riders=1100, headline="60 % came back within 60 days: a made headline.",
        figures=tuple(
            figure
            for level in levels
            for figure in (
                _figure("booked_same_day", 1000, 0.4, level), _figure("booked", 1000, 0.5, level),
                _figure("return_rate", 900, 0.6, level), _figure("held", 40, None, level, "fit measured again"),
                _figure("setup_kept_all", 200, 0.7, level, "follow-up"), _figure("setup_kept_some", 200, 0.2, level,
                "follow-up"),
                _figure("setup_kept_none", 200, 0.1, level, "follow-up"),
            )
        ),
        curve=tuple(replace(row, split=level[0], level=level[1]) for level in levels for row in curve),
        at_risk=tuple(replace(row, split=level[0], level=level[1]) for level in levels for row in risk),
        comparisons=(
            (ComparisonRow("arch_height", "low, medium", 900, 4.25, 1, 0.0392, "Low and medium arches: no clear difference."),)
            if at != ALL else ()
        ),
        held=(
            HeldRow("held", 900, 450, 400, 0.5, 0.45, 0.55, 0.5, 0.75, 0.45, 0.8),
            HeldRow("not_held", 900, 90, 85, 0.1, 0.08, 0.12),
            HeldRow("not_measured", 900, 45, 40, 0.05, 0.03, 0.07),
            HeldRow("not_seen", 900, 315, 300, 0.35, 0.3, 0.4),
        ),
        lasting=LASTING,
        said=(
            SaidRow("pain", 500, 2.0, 1.0, 3.5, "Pain: made.", 450, 900, 2.3, 6.1, 1.4, 0.9, 6.6, 2.4, 1.8, 3.1),
            SaidRow("satisfaction", 1, None, None, None, "Satisfaction: not enough yet."),
        ),
        worth=(
            WorthRow("comfort", "clear and worth it", 400, 90, 88, 0.225, 0.19, 0.27, "Made."),
            WorthRow("comfort", "clear, small", 400, 0, 0, 0.0, 0.0, 0.01, "None."),
            WorthRow("comfort", "no clear change", 400, 310, 300, 0.775, 0.73, 0.81, "Comfort: made."),
        ),
    )  # fmt: skip


IMPORTANT = ImportantChange(
    **SHARED, n_fits=1200, n_riders=1100, headline="A rise of comfort of 2.4 points: a made headline.",
    cautions=("It is an average, and no promise: made.",),
    changes=(
        ImportantChangeRow("comfort", "much better", 390, 380, 88, 2.0, 2.4, 2.1, 2.8, 2.2, 0.6, "A rise of 2.4: made."),
        ImportantChangeRow("pain", "much better", 12, 12, 3, 2.0, words="Pain: not enough yet."),
    ),
)  # fmt: skip
CALL = CallRow("over", "R7", 12, "quay", "F1", "S7", date(2026, 3, 1), date(2026, 6, 19), "U7", date(2026, 3, 1), "made")
CALLS = Calls(
    **SHARED, today=date(2026, 7, 1), n_fits=1200, n_riders=1100, headline="3 riders to call today.",
    calls=(
        CALL, replace(CALL, state="due", rider_id="R8", session_id="S8", days_over=0, due_on=date(2026, 7, 1)),
        replace(CALL, state="not_booked", rider_id="R9", session_id="S9", days_over=3, due_on=None, follow_up_id=None,
        booked_on=None),
    ),
    booked=(BookedRow("R5", date(2026, 7, 9), 8, "mill", "F2", "S5", date(2026, 6, 1), "U5", date(2026, 6, 1)),),
    states=(StateRow("over", 1, "1 fit: follow-up over."), StateRow("came", 1100, "1,100 fits: came to the follow-up.")),
)  # fmt: skip
NO_CALLS = replace(CALLS, headline="No call today.", calls=(), booked=(), states=CALLS.states[1:])
MANY_CALLS = replace(CALLS, headline="1,030 riders to call today.", calls=(CALL,) * 1030, booked=())


def _rating(topic: str, change: float | None, moments: tuple[str, str] = ("departure", "follow_up")) -> RatingRow:
    figures: tuple[Any, ...] = (None,) * 16
    if change is not None:
        figures = (8.0, 7.5, 0.0, change, change - 0.3, change + 0.4, 0.2, 0.15, 0.25, 0.5, 0.45, 0.55, 0.3, 0.25, 0.35, 0.01)
    return RatingRow(topic, None, *moments, None, None, 1200, 400, 30, *figures, 0.02, f"{topic}: a made sentence.", 100)


RATINGS = Ratings(
    **SHARED, n_fits=1200, n_riders=1100, headline="Made.", cautions=("Riders who did not come back say nothing here.",),
    ratings=(_rating("comfort", 9.9, ("arrival", "departure")), _rating("comfort", -0.2), _rating("stability", 0.5),
    _rating("pain", None)),
    body_parts=(),
)  # fmt: skip
_BY_FEET = made_returns(("arch_height", "feet differ"))
ONE_OF_EACH = replace(
    _BY_FEET, held=(_BY_FEET.held[0], replace(_BY_FEET.held[1], n=1), *_BY_FEET.held[2:]),
    comparisons=(ComparisonRow("arch_height", "low, medium", 3, None, None, None, "Not enough yet."), *_BY_FEET.comparisons),
)  # fmt: skip
ONE_CALL = replace(CALLS, calls=(replace(CALL, marked="called on 28 Jun 2026"),))
