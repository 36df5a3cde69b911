"""What does a drawn order say of two steps that the exam leaves equally right?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.drawn.answers_drawn import ArmRow, ComparisonRow, Drawn, DrawRow
from dashboard.questions.drawn.recorded import About, Logged, Seen, is_as_sealed, recorded
from dashboard.questions.drawn.steps import STEPS
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import StatisticsError
from shared.logbook.drawing import ARMS
from shared.settings import Settings
from shared.statistics.always_valid import AlwaysValid, always_valid
from shared.statistics.drawn import DrawnEffect, drawn_effect
from shared.statistics.multiplicity import in_family
from shared.units import UNITS
from shared.warehouse import Warehouse

METHOD: Final = {
    "effect": "second step less first, by what was drawn, whatever was made; change from the capture before to the next",
    "interval": "randomisation test within blocks, turned round; all orders, or 20,000 drawn with a fixed seed",
    "while_open": "asymptotic confidence sequence over whole blocks (Waudby-Smith et al. 2024), which holds at every look",
    "told_by": "the draw's interval once the stop rule is reached and every capture is in, else that of every look",
    "left": "by what came first, once both steps were made: what the order left behind",
    "fits": "every fit of a comparison, whatever is selected: the draw is whole or it says nothing",
}
_UNIT: Final = {"tilt": "deg", "off_neutral": "deg", "sway": "mm"}
_NOUN: Final = {"tilt": "tilt", "off_neutral": "the distance from neutral", "sway": "sway"}
# A stratum's block of four or six holds five draws on average.
_DRAWS_A_BLOCK: Final = 5
NONE: Final = (
    "No comparison was opened yet. Where the exam leaves two next steps equally right, the head fitter may open one, and which "
    "comes first is drawn."
)


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember = at_once,
    *,
    logbook: Logged = Logged(),  # noqa: B008 (frozen, and empty)
) -> Drawn:
    """Every comparison of drawn order: estimate, interval, what the order left behind, and whether the seed gives the draws."""
    scope = scope_of(warehouse, Selection(), settings, remember)
    held = recorded(warehouse, logbook)
    judged = [_judged(about, seen, settings) for about, seen in held]
    q_values = in_family([one.p_value for one in judged])
    rows = tuple(_said(one, q_value) for one, q_value in zip(judged, q_values, strict=True))
    return Drawn(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=f"{counted(len(rows), 'comparison')} over all fits",
        method=METHOD,
        headline=" ".join(row.words for row in rows[:1]) or NONE,
        comparisons=rows,
        arms=tuple(arm for about, seen in held for arm in _arms(about, seen)),
        draws=tuple(draw for about, seen in held for draw in _draws(about, seen)),
    )


@dataclass(frozen=True)
class _Judged:
    """A comparison before the family is known: its row without words, the p-value of what is told, and why nothing is."""

    row: ComparisonRow
    p_value: float | None
    why_not: str


def _judged(about: About, seen: Sequence[Seen], settings: Settings) -> _Judged:
    level = settings.intervals.level
    measured = [one for one in seen if one.change is not None]
    is_over = len(seen) >= about.stop_after and not any(one.is_waiting for one in seen)
    effect, always, why_not = _figures(measured, _whole(seen), level, about)
    left = _left(seen, level)
    told: tuple[float | None, float | None, float | None] = (None, None, None)
    if is_over and effect:
        told = (effect.low, effect.high, effect.p_value)
    elif not is_over and always:
        told = (always.low, always.high, always.p_value)
    row = ComparisonRow(
        comparison_id=about.comparison_id,
        first_step=STEPS[about.first_step],
        second_step=STEPS[about.second_step],
        feet=about.feet,
        outcome=about.outcome,
        unit=_UNIT[about.outcome],
        opened_on=about.opened_on,
        closed_on=about.closed_on,
        stop_after=about.stop_after,
        n_drawn=len(seen),
        n_captured=len(measured),
        n_waiting=sum(one.is_waiting for one in seen),
        n_overruled=sum(_is_overruled(about, one) for one in seen),
        n_riders=len({one.rider for one in measured}),
        estimate=effect.estimate if effect else None,
        low=effect.low if effect else None,
        high=effect.high if effect else None,
        low_error=effect.low_error if effect else None,
        high_error=effect.high_error if effect else None,
        always_low=always.low if always else None,
        always_high=always.high if always else None,
        told_low=told[0],
        told_high=told[1],
        told_by="draw" if is_over else "always",
        q_value=None,
        left=left.estimate if left else None,
        left_low=left.low if left else None,
        left_high=left.high if left else None,
        n_both=sum(one.left is not None for one in seen),
        commitment=about.commitment,
        seed=about.seed,
        is_as_sealed=is_as_sealed(about, seen),
        words="",
    )
    return _Judged(row, told[2], why_not)


def _figures(
    measured: Sequence[Seen], whole: set[tuple[str, int]], level: float, about: About
) -> tuple[DrawnEffect | None, AlwaysValid | None, str]:
    """The interval of the draw, the one that holds at every look, and why there is none of the latter."""
    if not measured:
        return None, None, "no capture after a draw is loaded yet"
    try:
        effect = drawn_effect(*_arrays(measured, [one.change for one in measured]), level)
    except StatisticsError as fault:
        return None, None, _clause(fault)
    closed = [one for one in measured if _block(one) in whole]
    try:
        tuned = max(1, about.stop_after // _DRAWS_A_BLOCK)
        return effect, always_valid(*_arrays(closed, [one.change for one in closed]), level, tuned), ""
    except StatisticsError as fault:
        return effect, None, _clause(fault)


def _clause(fault: Exception) -> str:
    words = str(fault).rstrip(".")
    return words[:1].lower() + words[1:]


def _left(seen: Sequence[Seen], level: float) -> DrawnEffect | None:
    """What the order left behind, by what came first, over the fits in which both steps were made."""
    both = [one for one in seen if one.left is not None]
    try:
        return drawn_effect(*_arrays(both, [one.left for one in both]), level) if both else None
    except StatisticsError:
        return None


def _block(one: Seen) -> tuple[str, int]:
    return one.draw.stratum, one.draw.block


def _whole(seen: Sequence[Seen]) -> set[tuple[str, int]]:
    """The blocks that are drawn to their end and of which no capture is waited for."""
    held: dict[tuple[str, int], list[Seen]] = {}
    for one in seen:
        held.setdefault(_block(one), []).append(one)
    return {
        block for block, own in held.items() if len(own) == own[0].draw.block_size and not any(one.is_waiting for one in own)
    }


def _arrays(
    seen: Sequence[Seen], values: Sequence[float | None]
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.int64]]:
    """The outcome, whether the second step was drawn, and the number of the block, of each draw."""
    numbers = {block: number for number, block in enumerate(dict.fromkeys(_block(one) for one in seen))}
    return (
        np.array(values, dtype=np.float64),
        np.array([one.draw.drawn == "second" for one in seen], dtype=np.bool_),
        np.array([numbers[_block(one)] for one in seen], dtype=np.int64),
    )


def _is_overruled(about: About, one: Seen) -> bool:
    return one.made is not None and one.made != about.step(one.draw.drawn)


def _arms(about: About, seen: Sequence[Seen]) -> Iterator[ArmRow]:
    for arm in ARMS:
        own = [one for one in seen if one.draw.drawn == arm]
        measured = [one for one in own if one.change is not None]
        yield ArmRow(
            comparison_id=about.comparison_id,
            arm=arm,
            step=STEPS[about.step(arm)],
            unit=_UNIT[about.outcome],
            n_drawn=len(own),
            n_captured=len(measured),
            n_overruled=sum(_is_overruled(about, one) for one in own),
            n_riders=len({one.rider for one in measured}),
            mean_before=float(np.mean([one.before for one in measured if one.before is not None])) if measured else None,
            mean_change=float(np.mean([one.change for one in measured if one.change is not None])) if measured else None,
        )


def _draws(about: About, seen: Sequence[Seen]) -> Iterator[DrawRow]:
    for one in seen:
        draw = one.draw
        made = "" if one.made is None else {"": "nothing", "other": "other"}.get(one.made, STEPS.get(one.made, "other"))
        yield DrawRow(
            draw_id=f"{draw.comparison_id}-{draw.draw_no:04d}",
            comparison_id=draw.comparison_id,
            session_id=draw.session_id,
            side=draw.side,
            stratum=draw.stratum,
            block=draw.block,
            place=draw.place,
            arm=draw.drawn,
            drawn=STEPS[about.step(draw.drawn)],
            drawn_at=draw.drawn_at,
            made=made,
            before=one.before,
            change=one.change,
        )


def _said(one: _Judged, q_value: float | None) -> ComparisonRow:
    row = replace(one.row, q_value=q_value)
    return replace(row, words=f"{_verdict(row, one.why_not)} {_counts(row)}")


def _verdict(row: ComparisonRow, why_not: str) -> str:
    """The sentence of a comparison; a difference is said only where the told interval and the q-value allow it."""
    steps = f"{row.second_step} and {row.first_step}"
    if row.told_low is None or row.told_high is None:
        why = f": {why_not}" if why_not else ""
        return f"Not enough yet to compare {steps} by the draw{why}."
    low, high, sign = row.told_low, row.told_high, UNITS[row.unit].sign
    if row.direction:
        low, high = (low, high) if row.direction > 0 else (-high, -low)
        more = "more" if row.direction > 0 else "less"
        return (
            f"By the draw, {_NOUN[row.outcome]} rose by {spoken(low, 2)} to {spoken(high, 2, sign)} {more} after "
            f"{row.second_step} than after {row.first_step}."
        )
    return (
        f"By the draw, no clear difference between {steps}: in {_NOUN[row.outcome]} anything from {spoken(low, 2)} to "
        f"{spoken(high, 2, sign)}."
    )


def _counts(row: ComparisonRow) -> str:
    parts = [f"{row.n_drawn} of {row.stop_after} drawn"]
    if row.n_waiting:
        parts.append(f"{row.n_waiting} not loaded yet")
    if row.n_overruled:
        parts.append(f"{row.n_overruled} overruled")
    return f"{', '.join(parts)}."
