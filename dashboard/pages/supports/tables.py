"""Columns of the Supports tables."""

from typing import Any

from dashboard.components import columns, html
from dashboard.components.table import Column
from dashboard.figures.dose import dose_name
from dashboard.figures.effects import estimates_agree, estimates_differ, row_name
from dashboard.figures.names import OUTCOMES, SUPPORTS
from dashboard.figures.theme import NOTHING, bare_number, interval, number
from dashboard.questions.effects.answers_effects import DoseRow, NeutralRow
from dashboard.questions.models.answers_models import EffectRow


def nearer_columns() -> list[Column]:
    """Makes the columns of the distance from neutral by support, few enough for a third of a screen."""
    return [Column("Support", lambda row: SUPPORTS[row.support]), _told_interval_column(), *_counts()]


def effect_columns() -> list[Column]:
    """Makes the columns: support, told interval, by chance, counts."""
    return [
        Column("Support", lambda row: SUPPORTS[row.support]),
        _told_interval_column(),
        Column("By chance", _by_chance, ("q_value",), numeric=True),
        *_counts(),
    ]


def estimate_columns(level: str) -> list[Column]:
    """Makes the columns: support, told interval, both estimates and the third with their intervals, how the two stand to each
    other and what the third makes of it, counts."""
    return [
        Column("Support", row_name),
        _told_interval_column(),
        *_both_estimates(level),
        Column("Third", lambda row: number(row.sequential, row.unit, effect=True), ("sequential",), numeric=True),
        _ends("sequential", f"{level} interval"),
        Column("Its strength", lambda row: number(row.strength, "count"), ("strength",), numeric=True),
        Column("The two estimates", _whether_they_agree),
        Column("Told by", _told_by, ("told_by",)),
        *_counts(),
    ]


def larger(row: EffectRow) -> str:
    """Which estimate is the larger, which hints at where a disagreement comes from: within, pooled or opposite."""
    pooled, within = row.pooled or 0.0, row.within or 0.0
    if pooled * within < 0:
        return "opposite"
    return "within" if abs(within) > abs(pooled) else "pooled"


_LARGER = {"within": "within-knee the larger", "pooled": "pooled the larger", "opposite": "opposite directions"}


def _whether_they_agree(row: EffectRow) -> str:
    if estimates_differ(row):
        return f"differ, {_LARGER[larger(row)]}"
    return "agree" if estimates_agree(row) else "no disagreement found"


def _told_by(row: EffectRow) -> str:
    if row.told_by == "sequential":
        return "both, narrowed by the third"
    return "both, without a third" if row.sequential is None else "both"


def _by_chance(row: EffectRow | DoseRow | NeutralRow) -> str:
    """The q-value; called rough where the p-value behind it is."""
    return f"{small(row.q_value)} (rough)" if row.is_rough and row.q_value is not None else small(row.q_value)


def dose_columns(level: str) -> list[Column]:
    """Makes the columns: dose, told interval and both estimates against none, the straight line's figure, counts."""
    return [
        Column("Dose", dose_name, ("dose",)),
        _told_interval_column(),
        *_both_estimates(level),
        Column("Straight line", lambda row: number(row.line, row.unit, effect=True), ("line",), numeric=True),
        Column("By chance", _by_chance, ("q_value",), numeric=True),
        *_counts(),
    ]


def neutral_columns(level: str) -> list[Column]:
    """Change in the distance from neutral by arrival direction, what noise alone would do, and the rest."""
    return [
        Column("Arrived", lambda row: row.arrival_direction),
        Column("In words", lambda row: row.words, wide=True),
        Column("Change", lambda row: number(row.change_deg, "deg", effect=True), ("change_deg",), numeric=True),
        Column("By noise alone", lambda row: number(row.expected_deg, "deg", effect=True), ("expected_deg",), numeric=True),
        Column("Beyond the noise", lambda row: number(row.net_deg, "deg", effect=True), ("net_deg",), numeric=True),
        Column(
            f"{level} interval",
            lambda row: interval(row.told_low, row.told_high, "deg", effect=True),
            ("told_low", "told_high"),
            numeric=True,
        ),
        Column("By chance", _by_chance, ("q_value",), numeric=True),
        columns.count("Knees", "n_knees"),
        columns.count("Riders", "n_riders"),
    ]


def responder_columns(level: str) -> list[Column]:
    """How many knees were better, unchanged or worse by more than the smallest real change."""
    return [
        Column("Outcome", lambda row: OUTCOMES[row.outcome].name),
        Column("Knees", lambda row: row.response),
        columns.share("Share", "share"),
        columns.ends(f"{level} interval", unit="share"),
        Column("n", lambda row: f"{row.n:,} of {row.total:,}", ("n", "total"), numeric=True),
        Column("In words", lambda row: row.words, wide=True),
    ]


def influence_columns() -> list[Column]:
    """Each estimate, and between which values it would lie with any one rider left out."""
    return [
        Column("Support", lambda row: SUPPORTS[row.support]),
        Column("Outcome", lambda row: OUTCOMES[row.outcome].name),
        Column("Pooled", lambda row: number(row.pooled, row.unit, effect=True), ("pooled",), numeric=True),
        _ends("pooled_without", "Pooled without any one rider"),
        Column("Those riders", lambda row: f"{row.rider_low}, {row.rider_high}"),
        Column("Within knee", lambda row: number(row.within, row.unit, effect=True), ("within",), numeric=True),
        _ends("within_without", "Within knee without any one rider"),
        Column("Those riders", lambda row: f"{row.within_rider_low}, {row.within_rider_high}"),
    ]


def _both_estimates(level: str) -> list[Column]:
    return [
        Column("Pooled", lambda row: number(row.pooled, row.unit, effect=True), ("pooled",), numeric=True),
        _ends("pooled", f"{level} interval"),
        Column("Within knee", lambda row: number(row.within, row.unit, effect=True), ("within",), numeric=True),
        _ends("within", f"{level} interval"),
    ]


def _told_interval_column() -> Column:
    """Makes the column of the told interval, which is bold where a change is claimed by it."""

    def printed(row: EffectRow | DoseRow) -> Any:
        ends = interval(row.told_low, row.told_high, row.unit, effect=True)
        return html.Strong(ends) if row.direction else ends

    return Column("Interval", printed, ("told_low", "told_high"), numeric=True)


def _counts() -> list[Column]:
    return [
        columns.count("Changes", "n_changes"),
        columns.count("Riders", "n_riders"),
    ]


def _ends(estimate: str, heading: str) -> Column:
    low, high = f"{estimate}_low", f"{estimate}_high"

    def printed(row: Any) -> str:
        return interval(getattr(row, low), getattr(row, high), row.unit, effect=True)

    return Column(heading, printed, (low, high), numeric=True)


def small(value: float | None) -> str:
    """Writes a p- or q-value; a small one is told by its bound."""
    if value is None:
        return NOTHING
    return "<\u202f0.001" if value < 0.001 else bare_number(value, "q")
