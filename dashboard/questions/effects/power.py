"""How many more fits settle it: riders and months until a told interval is narrower than what the studio cares about."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Any, Final

import numpy as np
from scipy import stats

from dashboard.questions.effects import SQL
from dashboard.questions.effects.answers_power import Power, PowerRow
from dashboard.questions.effects.effect_parts import EffectParts
from dashboard.questions.effects.needed import needed
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.claims import Found
from dashboard.questions.models.frames import STANCE_STEP_MM
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted, fragments
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.statistics.power import Precision, differ, draws_needed, expected_width, times_needed
from shared.statistics.told import NOT_NARROWER, OUTSIDE, WEAK
from shared.units import UNITS
from shared.warehouse import Warehouse

OUTCOMES: Final = ("tilt", "sway")
METHOD: Final = {
    "today": "standard errors shrink with the root of the riders; what the two estimates truly differ by stays",
    "repeat": "with a repeat before each change of those to come: by the captures it adds, and what the two differ by the less",
    "drawn": "a comparison of two steps by the draw, from the typical error of a capture",
    "months": "by the riders of the last year of the data, and the share of them in whom the support was changed",
    "matters": "[matters] in the settings",
}
# Reasons for which a third estimate was not leaned on that more riders may take away.
_MAY_PASS: Final = (None, WEAK, OUTSIDE, NOT_NARROWER)
_DAYS_A_MONTH: Final = 365.25 / 12
# Half an interval of 99 % beside one of 95 %, both of Student's t with many degrees of freedom.
_THIRD_BESIDE_SHOWN: Final = 2.5758 / 1.9600


@dataclass(frozen=True)
class _Practice:
    """How the studio records: riders a month, and by how much a repeat before each change multiplies its captures."""

    n_riders: int
    riders_a_month: float
    captures: float

    def months(self, riders: int, row: EffectRow) -> float | None:
        a_month = self.riders_a_month * row.n_riders / self.n_riders if self.n_riders else 0.0
        return riders / a_month if a_month > 0 else None


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember = at_once) -> Power:
    """For each support on tilt and sway, how many more riders make its told interval narrower than what matters."""
    parts = EffectParts(warehouse, selection, settings, remember)
    scope = parts.scope()
    scope.require_fits()
    practice = _practice(warehouse.rows(SQL / "power_practice.sql", scope.parameters, **fragments())[0])
    rows: list[PowerRow] = []
    for outcome in OUTCOMES if parts.n_captures() else ():
        noise = parts.noise()[outcome].typical_error
        rows += power_rows(parts.found(outcome), noise, practice, settings)
    open_rows = [row for row in rows if row.today_riders != 0]
    return Power(
        **scope.head(selection),
        method=METHOD,
        headline=_headline(rows, open_rows),
        power=tuple(rows),
    )


def _practice(row: Mapping[str, Any]) -> _Practice:
    months = max(1.0, (row["n_days"] or 0) / _DAYS_A_MONTH)
    captures = (row["n_captures"] + row["n_unrepeated"]) / row["n_captures"] if row["n_captures"] else 1.0
    return _Practice(row["n_riders"], row["n_riders_lately"] / months, captures)


def _headline(rows: Sequence[PowerRow], wide: Sequence[PowerRow]) -> str:
    if not rows:
        return "No capture has a setup, so that nothing can be foreseen."
    if not wide:
        return f"All {counted(len(rows), 'figure')} are told as narrowly as the studio cares about."
    n = len(rows) - len(wide)
    return f"{n} of {counted(len(rows), 'figure')} {'is' if n == 1 else 'are'} told as narrowly as the studio cares about."


def power_rows(found: Sequence[Found], typical_error: float | None, practice: _Practice, settings: Settings) -> list[PowerRow]:
    """The rows of one outcome. typical_error: of a capture, None where no repeat tells it."""
    known = precisions_of(found)
    return [_row(one, known, typical_error, practice, settings) for one in found if one.row.level is None]


def precisions_of(found: Sequence[Found]) -> list[tuple[Found, Precision]]:
    """What is known of each support that has a told interval, for one step of it."""
    known = [(one, _precision_of(one)) for one in found if one.row.told_low is not None]
    beyond_noise = differ([own.difference for _, own in known], [own.difference_se for _, own in known])
    return [(one, replace(own, differ=beyond_noise)) for one, own in known]


def _precision_of(found: Found) -> Precision:
    row, noted, step = found.row, found.noted, _step(found.row.support)
    assert row.pooled is not None and row.within is not None and noted is not None
    has_third = row.sequential is not None and noted.why in _MAY_PASS
    return Precision(
        pooled_half=step * _half(row.pooled_low, row.pooled_high),
        within_half=step * _half(row.within_low, row.within_high),
        difference=step * (row.within - row.pooled),
        difference_se=step * noted.reach / float(stats.t.ppf(0.975, max(noted.df, 1.0))),
        third_from_pooled=step * (row.sequential - row.pooled) if has_third and row.sequential is not None else None,
        third_half=step * _THIRD_BESIDE_SHOWN * _half(row.sequential_low, row.sequential_high) if has_third else 0.0,
        strength=row.strength or 0.0,
        learnt=noted.learnt,
        df=noted.df,
    )


def _step(support: str) -> float:
    return STANCE_STEP_MM if support == "stance" else 1.0


def _half(low: float | None, high: float | None) -> float:
    return 0.0 if low is None or high is None else (high - low) / 2


def _row(
    one: Found,
    known: Sequence[tuple[Found, Precision]],
    typical_error: float | None,
    practice: _Practice,
    settings: Settings,
) -> PowerRow:
    row = one.row
    matters = settings.matters.of(row.unit)
    own = next((precision for other, precision in known if other is one), None)
    today = own or _like_others(row, known)
    n_riders = row.n_riders if own else max(row.n_riders, 1)
    width = (
        _step(row.support) * (row.told_high - row.told_low) if row.told_low is not None and row.told_high is not None else None
    )
    more = {
        name: _more(today, n_riders, row.n_riders, matters, captures, width)
        for name, captures in (("today", 1.0), ("repeat", practice.captures))
    }
    if own is None:
        # A first figure asks for as many first.
        lacking = needed(row, settings)
        least = lacking.changes if lacking else 0
        more = {name: None if riders is None else max(riders, least) for name, riders in more.items()}
    drawn = None
    if typical_error:
        drawn = draws_needed(2**0.5 * typical_error, matters, settings.intervals.level)
    made = PowerRow(
        outcome=row.outcome,
        support=row.support,
        unit=row.unit,
        n_riders=row.n_riders,
        n_changes=row.n_changes,
        width=width,
        matters=matters,
        today_riders=more["today"],
        today_months=None if more["today"] is None else practice.months(more["today"], row),
        repeat_riders=more["repeat"],
        repeat_months=None if more["repeat"] is None else practice.months(more["repeat"], row),
        drawn_riders=drawn,
        drawn_months=None if drawn is None else practice.months(drawn, row),
        by="own" if own else "other",
        words="",
    )
    return replace(made, words=_words(made, today))


def _more(
    today: Precision | None, n_riders: int, n_there: int, matters: float, captures: float, width: float | None
) -> int | None:
    """How many riders more it takes, 0 where it is narrow enough today."""
    if today is None:
        return None
    if width is not None and width <= matters:
        return 0
    times = times_needed(today, matters, captures)
    if times is None:
        return None
    return max(1, ceil(times * n_riders - n_there))


def _like_others(row: EffectRow, known: Sequence[tuple[Found, Precision]]) -> Precision | None:
    """What a support without a figure would be known by with the riders it has: each change tells as much as one of the
    studio's other supports does, the middle of them; whether the two estimates differ is not known, and taken as not."""
    if not known or not row.n_riders:
        return None
    scale = np.array([one.row.n_riders / row.n_riders for one, _ in known]) ** 0.5
    halves = [(precision.pooled_half, precision.within_half, precision.difference_se) for _, precision in known]
    pooled, within, error = np.median(scale[:, None] * np.array(halves), axis=0)
    return Precision(float(pooled), float(within), 0.0, float(error))


def _words(row: PowerRow, today: Precision | None) -> str:
    """How many more riders, in a sentence."""
    sign = UNITS[row.unit].sign
    name = f"{STANCE_STEP_MM:g} mm of outward stance" if row.support == "stance" else verdict.name_of(row.support)
    wanted = f"narrower than {spoken(row.matters, 1, sign)}"
    if row.today_riders == 0:
        return f"{name} on {row.outcome}: told within {spoken(row.width or 0.0, 2, sign)}, {wanted} already."
    if today is None:
        return f"{name} on {row.outcome}: how many fits settle it is not known before a first figure is."
    drawn = "" if row.drawn_riders is None else f"; by draws against another step, {counted(row.drawn_riders, 'rider')}"
    if row.today_riders is None:
        least = expected_width(today, 1_000.0)
        told = (
            f"no number of fits of today's practice tells it {wanted} (about {spoken(least, 2, sign)} is left between the two)"
        )
    else:
        told = f"{_riders(row.today_riders, row.today_months)} more tell it {wanted}"
    repeat = ""
    if row.repeat_riders is not None and row.repeat_riders != row.today_riders:
        repeat = f"; with a repeat before each change, {_riders(row.repeat_riders, row.repeat_months)}"
    return f"{name} on {row.outcome}: {told}{repeat}{drawn}."


def _riders(riders: int, months: float | None) -> str:
    span = "" if months is None else f" (about {counted(max(1, round(months)), 'month')})"
    return f"{counted(riders, 'rider')}{span}"
