"""Answers written by hand, for tests of pictures and pages without a warehouse."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

from dashboard.lineage.tables import ROOT
from dashboard.questions.data.answers_data import Data, LoadRow, QualityRow, ReasonRow, RejectRow, TableRow
from dashboard.questions.door.asking import Choices
from dashboard.questions.effects.answers_checks import CheckRow, Checks
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_studio import Studio, StudioFigure, StudioTrendRow
from shared.errors import TooFewError
from shared.freshness import Freshness, freshness
from shared.ran import Ran
from shared.settings import Settings

SUPPORTS = ("insole_low", "insole_medium", "insole_high", "insole_custom", "shim", "stance")
# Pooled and within-knee estimate with half the width of the interval; None where there are too few changes.
MADE = {
    "tilt": ("deg", ((-0.12, 0.4), (0.64, 0.28), (1.31, 0.35), None, (0.87, 0.12), (-0.18, 0.05)), 1.25),
    "sway": ("mm", ((-0.4, 0.9), (-1.35, 0.7), (-2.2, 0.8), None, (-0.6, 0.3), (0.12, 0.11)), 0.9),
    "offset": ("mm", ((0.3, 1.2), (-0.9, 0.8), (-1.7, 1.0), None, (-1.1, 0.4), (3.42, 0.31)), 1.1),
}
SHARED = {
    "as_of": date(2026, 6, 30),
    "selection": {},
    "selection_words": "412 fits, 7 Jan to 30 Jun 2026, both studios",
    "method": {"pooled": "linear mixed model, REML", "level": 0.95},
}


def made_effects(split: str | None = None) -> Effects:
    overall = [
        _effect(outcome, support, unit, figure, ratio)
        for outcome, (unit, figures, ratio) in MADE.items()
        for support, figure in zip(SUPPORTS, figures, strict=True)
    ]
    levels = ("low / neutral", "low / mild_varus", "medium / mild_varus", "high / marked_varus") if split else ()
    split_rows = [
        replace(row, split=split, level=level, n_changes=row.n_changes // 8)
        if place % 5
        else _too_few(replace(row, split=split, level=level), 4)
        for level in levels
        for place, row in enumerate(overall)
    ]
    arrivals = [row for level, sign in ARRIVED for row in _by_arrival(overall, level, sign)]
    return Effects(
        **SHARED,
        n_fits=412,
        n_riders=391,
        n_captures=1604,
        headline="One more varus shim brings knees that came inward nearer to neutral by 0.75 to 1.24° (140 riders); one mm of "
        "outward stance those that came outward, by 0.12 to 0.29° (140 riders).",
        effects=(*overall, *arrivals, *split_rows),
    )


# Where knees stood at arrival, and whether what moves them outward takes them further from neutral.
ARRIVED = (("inward", -1), ("near neutral", 0), ("outward", 1))


def _by_arrival(overall: list[EffectRow], level: str, sign: int) -> Iterator[EffectRow]:
    """Rows on the distance from neutral, as those on the tilt would make them; near neutral nothing is clear."""
    for row in overall:
        if row.outcome != "tilt":
            continue
        made = replace(row, outcome="off_neutral", split="arrival_direction", level=level)
        if row.told_low is None or row.told_high is None:
            yield made
            continue
        ends = sorted((sign * row.told_low, sign * row.told_high)) if sign else [-0.3, 0.2]
        yield replace(made, told_low=ends[0], told_high=ends[1], pooled=sum(ends) / 2, within=sum(ends) / 2)


def made_checks() -> Checks:
    late = CheckRow(
        "tilt", "late", "share", 201, 480, None, None, None, None, 0.02, -0.08, 0.12, 0.3, 0.3, False, False,
        "What a support does to the tilt was not found to come late: anything from −8 to 12 % of it shows so.",
    )  # fmt: skip
    on_insole = CheckRow(
        "tilt", "insole_shim", "deg", 120, 400, 0.41, 0.58, 0.7, 0.89, 0.3, 0.21, 0.39, 0.0002, 0.001, True, False,
        "One more varus shim moves the tilt by 0.41 to 0.58° without an insole and by 0.70 to 0.89° on one.",
    )  # fmt: skip
    return Checks(**SHARED, n_fits=412, n_riders=391, headline=on_insole.words, checks=(late, on_insole))


def _effect(outcome: str, support: str, unit: str, figure: tuple[float, float] | None, ratio: float) -> EffectRow:
    pooled, half = figure or (0.0, 1.0)
    within = pooled * ratio
    low, high = pooled - half, pooled + half
    row = EffectRow(
        outcome=outcome,
        support=support,
        unit=unit,
        split=None,
        level=None,
        n_riders=140,
        n_changes=163,
        pooled=pooled,
        pooled_low=low,
        pooled_high=high,
        within=within,
        within_low=within - 1.2 * half,
        within_high=within + 1.2 * half,
        bracket_low=min(low, within - 1.2 * half),
        bracket_high=max(high, within + 1.2 * half),
        q_value=0.0004 if abs(pooled) > half else 0.41,
        words="A made sentence on what this support did; both estimates agree.",
        told_low=min(low, within - 1.2 * half),
        told_high=max(high, within + 1.2 * half),
        told_by="bracket",
    )
    return row if figure else _too_few(row, 6)


def _too_few(row: EffectRow, n: int) -> EffectRow:
    hidden = dict.fromkeys(
        (
            "pooled",
            "pooled_low",
            "pooled_high",
            "within",
            "within_low",
            "within_high",
            "bracket_low",
            "bracket_high",
            "q_value",
            "told_low",
            "told_high",
            "told_by",
        )
    )
    words = f"A custom insole: not enough yet, {n} changes in {n} riders; an estimate needs 10."
    return replace(row, **hidden, n_changes=n, n_riders=n, words=words)


FIGURES = (
    StudioFigure("knees_better", "share", "knee", 788, 0.634, 0.588, 0.678, "63 % of knees left nearer to neutral."),
    StudioFigure("side_difference_left", "share", "fit", 405, 0.121, 0.093, 0.156, "12 % of fits ended with one."),
    StudioFigure("return_rate", "share", "fit", 350, 0.571, 0.519, 0.622, "57 % of fits were seen again."),
    StudioFigure("comfort_gained", "points", "fit", 380, 1.42, 1.21, 1.63, "Comfort rose by 1.4 points of 10."),
)


def made_studio() -> Studio:
    trend = tuple(
        StudioTrendRow(
            figure.figure, date(2026, month, 1), figure.unit, 60, *(_shifted(value, month) for value in _ends(figure))
        )
        for figure in FIGURES
        for month in range(1, 7)
    )
    gap = replace(trend[2], n=7, estimate=None, low=None, high=None)
    return Studio(
        **SHARED,
        n_fits=412,
        n_riders=391,
        headline="In 412 fits, 7 Jan to 30 Jun 2026, both studios: 63 % of knees left nearer to neutral than they "
        "came, by more than the noise (59 to 68 %; 788 knees).",
        figures=FIGURES,
        trend=(*trend[:2], gap, *trend[3:]),
    )


def _ends(figure: StudioFigure) -> tuple[float, float, float]:
    half = (figure.high - figure.low) / 2
    return figure.estimate, figure.low - half, figure.high + half


def _shifted(value: float, month: int) -> float:
    return value * (0.9 + 0.03 * month)


def made_data() -> Data:
    loads = tuple(
        LoadRow(n, f"2026-0{n}-02T08:{n}0:00Z", 9, 900 + 40 * n, 780 + 10 * n, 12 * n, 60, 8 + n, 40 + 17 * n)
        for n in range(1, 6)
    )
    rejects = tuple(
        RejectRow(
            1 + n % 5,
            "knee_captures-2026-03.csv",
            14 + 3 * n,
            "knee_captures",
            "knee_tilt_deg",
            "range" if n % 3 else "orphan",
            "74",
            "Found 74, expected -30 to 30 degrees. Correct the value, or set the unit in the mapping file.",
            "{}",
        )
        for n in range(47)
    )
    return Data(
        **SHARED,
        headline="99.1 % of 5,000 rows are in the figures; 45 rows rejected and 455 rows waiting for a session.",
        tables=(
            TableRow("fit_sessions", 1412, 0, 3, date(2024, 1, 7), date(2026, 6, 30)),
            TableRow("knee_captures", 8021, 455, 42, None, None),
        ),
        loads=loads,
        reasons=(
            ReasonRow("rejected", "knee_captures", "range", 31, "The value lies outside what can be."),
            ReasonRow("rejected", "knee_captures", "orphan", 16, "The session is not known."),
            ReasonRow("waiting", "knee_captures", "waiting", 455, "These rows wait for their session."),
        ),
        rejects=rejects,
        quality=(
            QualityRow("exam_complete", 371, 412, 0.9005, 0.868, 0.926, "90 % of fits have both feet examined."),
            QualityRow("repeat_capture", 3, 9, None, None, None, "Not enough yet: 9 fits."),
        ),
    )


def made_calls() -> Calls:
    """Nobody is to be called."""
    today = date(2026, 6, 30)
    return Calls(today, {}, "412 fits", {}, today, 412, 300, "No call today.", (), (), ())


class MadeAsker:
    """Stands in for an Asker; a selection of triathlon is empty, one of indoor is a fault of the program."""

    settings = Settings()
    path = Path("made.duckdb")

    def own_day(self) -> date | None:
        """It has no clock of its own."""
        return None

    def ask(self, question: str, selection: Selection, **_only: tuple[str, ...]) -> Answer:
        if "triathlon" in selection.riding:
            raise TooFewError("No fit matches this selection. Widen it, or reset it to see all fits.")
        if "indoor" in selection.riding:
            raise ZeroDivisionError(question)
        if question == "trends":
            from tests.unit.made_trends import made_trends

            return replace(made_trends(), selection=selection.as_dict())
        if question == "periods":
            from tests.unit.made_periods import made_periods

            return replace(made_periods(), selection=selection.as_dict())
        if question == "rig":
            from tests.unit.made_rig import made_rig

            return replace(made_rig(), selection=selection.as_dict())
        if question in ("next", "foresight"):
            from tests.unit.test_pages_next import ANSWER, RECORD

            return replace(ANSWER if question == "next" else RECORD, selection=selection.as_dict())
        if question == "agreement":
            raise TooFewError("Not enough yet: no fit can be held against an exam.")
        if question == "effects":
            answer: Answer = made_effects(selection.split)
        else:
            answer = {"studio": made_studio, "data": made_data, "checks": made_checks, "calls": made_calls}[question]()
        return replace(answer, selection=selection.as_dict())

    def ran(self) -> dict[str, frozenset[Ran]]:
        """Two questions: one of a table that is made, one of an exported one; both ask which fits are selected."""
        scope = (ROOT / "dashboard/questions/selection/sql/scope.sql", "SELECT 1 FROM core.riders")
        ratings = (ROOT / "dashboard/questions/studio/sql/ratings_pairs.sql", "SELECT 1 FROM mart.ratings, core.foot_exams")
        calls = (ROOT / "dashboard/questions/returns/sql/returns_calls.sql", "SELECT 1 FROM core.follow_ups")
        return {"ratings": frozenset({scope, ratings}), "calls": frozenset({scope, calls})}

    def today(self) -> date:
        return date(2026, 6, 30)

    def freshness(self) -> Freshness:
        return freshness(date(2026, 6, 30), date(2026, 6, 30), self.settings)

    def choices(self) -> Choices:
        return Choices(("north", "south"), ("f1", "f2"), ("road", "gravel"), date(2024, 1, 7), date(2026, 6, 30))
