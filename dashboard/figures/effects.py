"""Interval chart of one outcome: every support's told interval and, where they are asked for, the two estimates behind it."""

from collections.abc import Callable, Sequence
from typing import Any

from dashboard.figures.names import OUTCOMES, SUPPORTS, plain, unit_words
from dashboard.figures.theme import bare_number, interval, number
from dashboard.figures.told_rows import Estimate, ToldRow, span_of, told_rows
from dashboard.questions.models.answers_models import EffectRow

# What stands in the place of a figure that a row does not have.
Empty = Callable[[EffectRow], str]


def in_order(rows: Sequence[EffectRow], outcome: str) -> list[EffectRow]:
    """The overall rows of one outcome in the fixed order of supports."""
    by_support = {row.support: row for row in rows if row.outcome == outcome and row.split is None}
    return [by_support[support] for support in SUPPORTS if support in by_support]


def row_name(row: EffectRow) -> str:
    """The support of a row; of a level, after the level's name, as in: Inward: low insole."""
    name = SUPPORTS[row.support]
    return f"{plain(row.level).capitalize()}: {name.lower()}" if row.level else name


def estimates_differ(row: EffectRow) -> bool:
    """The pooled and the within-knee estimate differ by more than their noise, as the row's own words tell."""
    return "differ by more than their noise" in row.words


def estimates_agree(row: EffectRow) -> bool:
    """The two estimates are known to lie near enough to each other to be said to agree, as the row's own words tell."""
    return "both estimates agree" in row.words


def finding(rows: Sequence[EffectRow], outcome: str) -> str:
    """What the panel shows, for its title."""
    name = OUTCOMES[outcome].name
    ordered = in_order(rows, outcome)
    estimated = [row for row in ordered if row.told_low is not None]
    if not estimated:
        withheld = any(row.pooled is not None for row in ordered)
        return f"{name}: {'nothing is claimed' if withheld else 'no figure yet for any support'}"
    clear, n = [row for row in estimated if row.direction], len(estimated)
    if not clear:
        return f"{name}: no clear change for any {'support' if n == len(ordered) else f'of {n} told yet'}"
    if len(clear) < n:
        return f"{name}: a clear change for {len(clear)} of {n} supports"
    # Supports without a figure are not among those that all do something.
    return f"{name}: a clear change for {f'all {n} supports' if n == len(ordered) else f'{n} of {n} supports told yet'}"


def told_row(row: EffectRow, empty: Empty) -> ToldRow:
    """The row of a chart of told intervals, a claimed change told by its direction and size, as in: 0.29 to 0.50 nearer."""
    name = SUPPORTS[row.support]
    if row.told_low is None or row.told_high is None:
        return ToldRow(name, empty(row), None, None, is_claimed=False)
    changes = f"{row.n_changes:,} changes, {row.n_riders:,} riders"
    ends = interval(row.told_low, row.told_high, row.unit, effect=True)
    return ToldRow(
        name,
        f"{_size(row)} {_way(row)}" if row.direction else "unclear",
        row.told_low,
        row.told_high,
        is_claimed=row.direction != 0,
        hover=f"<b>{name}</b><br>{ends}<br>{changes}",
    )


def _way(row: EffectRow) -> str:
    words = OUTCOMES[row.outcome]
    return words.more if row.direction > 0 else words.less


def _size(row: EffectRow) -> str:
    """Both ends of a claimed interval without their sign, the smaller first."""
    ends = sorted(abs(end) for end in (row.told_low, row.told_high) if end is not None)
    return " to ".join(bare_number(end, row.unit, effect=True).lstrip("+") for end in ends)


def told_panel(rows: Sequence[EffectRow], outcome: str, empty: Empty, theme: str | None) -> dict[str, Any]:
    """The told intervals of one outcome as a plain dict, without the two estimates behind them."""
    drawn = [told_row(row, empty) for row in in_order(rows, outcome)]
    return told_rows(drawn, theme, **direction_axis(outcome), span=span_of(drawn))


def estimates_panel(rows: Sequence[EffectRow], outcome: str, theme: str | None) -> dict[str, Any]:
    """Rows with figures of one outcome in the order given, overall or by level, each with its two estimates."""
    drawn = [_with_estimates(row) for row in rows]
    return told_rows(drawn, theme, **direction_axis(outcome), span=span_of(drawn))


def _with_estimates(row: EffectRow) -> ToldRow:
    both = tuple(_estimate(row, name) for name in ("pooled", "within"))
    told = [
        f"{name} {number(one.value, row.unit, effect=True)} ({interval(one.low, one.high, row.unit, effect=True)})"
        for name, one in zip(("pooled", "within knee"), both, strict=True)
    ]
    if row.sequential is not None:
        third = interval(row.sequential_low, row.sequential_high, row.unit, effect=True)
        told.append(f"third {number(row.sequential, row.unit, effect=True)} ({third})")
    return ToldRow(
        row_name(row),
        " to ".join(bare_number(end, row.unit, effect=True) for end in (row.told_low, row.told_high)),
        row.told_low,
        row.told_high,
        is_claimed=row.direction != 0,
        hover="<br>".join((f"<b>{row_name(row)}</b>", *told)),
        estimates=(both[0], both[1]),
        third=row.sequential,
    )


def _estimate(row: EffectRow, name: str) -> Estimate:
    return Estimate(getattr(row, name), getattr(row, f"{name}_low"), getattr(row, f"{name}_high"))


def told_words(rows: Sequence[EffectRow], outcome: str, empty: Empty = lambda _: "no figure") -> str:
    """The told intervals of rows of one outcome in words, for a reader who does not see the chart."""
    name = OUTCOMES[outcome]
    said = [
        f"{row_name(row)}: {empty(row)}"
        if row.told_low is None
        else f"{row_name(row)}: {interval(row.told_low, row.told_high, row.unit, effect=True)}"
        f"{'' if row.direction else ', no clear change'}"
        for row in rows
    ]
    return f"Chart of the told intervals of {name.axis}, minus is {name.less}, plus is {name.more}. " + "; ".join(said) + "."


def direction_axis(outcome: str) -> dict[str, str]:
    """What less and more of the outcome means, as the title of an axis, and its unit: degrees at each tick, mm in the title."""
    words, unit = OUTCOMES[outcome], unit_words(outcome)
    if unit == "degrees":
        return {"title": f"← {words.less}   {words.more} →", "suffix": "°"}
    return {"title": f"← {words.less}   {unit}   {words.more} →", "suffix": ""}
