"""The riders of a selection, those with most that deserves a look first, and what it is."""

from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching.agreement_flags import Judged, judged_fits
from dashboard.questions.memory.rows_on_demand import Columns, RowsOnDemand
from dashboard.questions.riders import SQL
from dashboard.questions.riders.answers_riders import RiderRow, Riders
from dashboard.questions.selection.every_fit import Remember
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import Scope, counted, fragments, spoken_day
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.statistics.proportions import wilson_interval
from shared.warehouse import Warehouse

METHOD = {
    "tilt": "both knees at the last capture of the rider's last fit in the selection",
    "side_difference": "right less left; it remains where it is the limit or more",
    "follow_up": "by the data's last date: overdue: a booking open past the day it was due; missed: missed or cancelled, and "
    "none open; what deserves a look is overdue by today's date",
    "flag": "the last fit that can be judged is far from the exam, with nothing come out better; it asks for a look together "
    "and is no verdict",
    "order": "those with most reasons for a look first, and of these the newest fit first",
}
OVERDUE, SIDE_DIFFERENCE, FLAG = "overdue", "side_difference", "flag"
# Open past its day by the data's last date already.
_OVERDUE_BEFORE = "overdue_before"
REASONS = (OVERDUE, SIDE_DIFFERENCE, FLAG)
# The first fields of a RiderRow, in its order, as SQL tells them.
_READ = (
    "rider_id",
    "studios",
    "n_fits",
    "first_date",
    "last_date",
    "tilt_left_deg",
    "tilt_right_deg",
    "side_difference_deg",
    "follow_up",
    "due_on",
)


def listed(
    warehouse: Warehouse,
    scope: Scope,
    selection: Selection,
    settings: Settings,
    today: date | None = None,
    remember: Remember | None = None,
) -> Riders:
    """Lists every rider of the selection; `today`: as in rider_rows."""
    rows = rider_rows(warehouse, scope, judged_fits(warehouse, scope, settings, remember), settings, today)
    return Riders(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, "side_difference_limit_deg": settings.knee.side_difference_deg},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        headline=_headline(rows.columns, settings, scope.as_of, today),
        riders=rows,
    )


def rider_rows(
    warehouse: Warehouse, scope: Scope, judged: Judged, settings: Settings, today: date | None = None
) -> RowsOnDemand[RiderRow]:
    """One row a rider, those with most reasons first, then the newest fit; of its columns REASONS tell what deserves a look.

    A follow-up is overdue by the data's last date or by `today`.
    """
    n_judged, n_flagged, is_flagged = _flags(judged, scope.n_riders)
    riders = warehouse.arrays(SQL / "riders_list.sql", scope.parameters, **fragments())
    rider, difference = riders["rider"], riders["side_difference_deg"].astype(float)
    before = riders["follow_up"] == OVERDUE
    due = (riders["follow_up"] == "due") & (_days(riders["due_on"]) < np.datetime64(today or "NaT", "D"))
    columns = {
        **{name: riders[name] for name in _READ},
        "n_judged_fits": n_judged[rider],
        "n_flagged_fits": n_flagged[rider],
        _OVERDUE_BEFORE: before,
        OVERDUE: before | due,
        SIDE_DIFFERENCE: np.abs(difference) >= settings.knee.side_difference_deg,
        FLAG: is_flagged[rider],
    }
    n_looks = np.sum([columns[reason] for reason in REASONS], axis=0)
    # The rows come with the newest fit first, and stay so among those with as many reasons.
    order = np.argsort(-n_looks, kind="stable")
    return RowsOnDemand({name: column[order] for name, column in columns.items()}, _made)


def _made(columns: Columns) -> Iterator[RiderRow]:
    """Makes the rows of the list from its columns."""
    overdue_on = np.where(columns[OVERDUE], _days(columns["due_on"]), np.datetime64("NaT"))
    remaining = np.where(columns[SIDE_DIFFERENCE], columns["side_difference_deg"].astype(float), np.nan)
    # Thousands of riders stand alike, and are told in the same words.
    reasons = (_values(overdue_on), columns[_OVERDUE_BEFORE].tolist(), _values(remaining), columns[FLAG].tolist())
    looks = map(lru_cache(maxsize=None)(_look), *reasons)
    read = (columns[name] for name in (*_READ, "n_judged_fits", "n_flagged_fits"))
    for row, look in zip(zip(*map(_values, read), strict=True), looks, strict=True):
        yield RiderRow(*(*row, *look))


def _flags(judged: Judged, n_riders: int) -> tuple[Any, Any, Any]:
    """Each rider's fits that can be judged, those flagged, and whether the last one is; riders in order of id."""
    rider, flagged = judged.fits["rider"][judged.is_judged], judged.to_look_at[judged.is_judged]
    is_flagged = np.zeros(n_riders, dtype=bool)
    # Fits stand by date: the last of a rider's values stays.
    is_flagged[rider] = flagged
    return np.bincount(rider, minlength=n_riders), np.bincount(rider[flagged], minlength=n_riders), is_flagged


def _days(column: NDArray[Any]) -> NDArray[np.datetime64]:
    """A column of dates by day, NaT where there is none."""
    days: NDArray[np.datetime64] = column.astype("datetime64[D]")
    return days


def _values(column: NDArray[Any]) -> list[Any]:
    """A column as Python's own values: dates by day, and None where a number or a date is missing."""
    if column.dtype.kind == "M":
        column = _days(column)
    values: list[Any] = column.tolist()
    if column.dtype.kind == "f":
        for place in np.flatnonzero(np.isnan(column)).tolist():
            values[place] = None
    return values


def _look(overdue_on: date | None, is_before: bool, difference: float | None, is_flagged: bool) -> tuple[str, str]:
    """What deserves a look, and why in a sentence; None is not overdue, and no difference that remains. `is_before`: overdue by
    the data's last date already."""
    reasons = {}
    if overdue_on is not None:
        reasons[OVERDUE] = f"follow-up overdue {'' if is_before else 'today, '}since {spoken_day(overdue_on)}"
    if difference is not None:
        side = "right" if difference > 0 else "left"
        size = spoken(abs(difference), 1, "°")
        reasons[SIDE_DIFFERENCE] = f"{size} between the knees remain, the {side} one further out"
    if is_flagged:
        reasons[FLAG] = "last fit far from the exam, and nothing came out better"
    words = " ".join(f"{reason[0].upper()}{reason[1:]}." for reason in reasons.values())
    return ", ".join(reasons), words or "Nothing that asks for a look."


def _headline(riders: Columns, settings: Settings, as_of: date | None, today: date | None) -> str:
    n_measured = int(np.isfinite(riders["side_difference_deg"].astype(float)).sum())
    left, flagged = (int(riders[reason].sum()) for reason in (SIDE_DIFFERENCE, FLAG))
    judged = int((riders["n_judged_fits"] > 0).sum())
    limit = f"{settings.knee.side_difference_deg:g}°"
    share = ""
    if n_measured >= settings.minimum.rows_shown:
        left_share = wilson_interval([left], [n_measured], settings.intervals.level)
        ends = spoken_percents(left_share.low[0], left_share.high[0])
        share = f" ({spoken_percent(left_share.estimate[0])}, {ends})"
    return (
        f"Of {counted(n_measured, 'rider')} measured, {left:,}{share} left their last fit with a side difference of {limit} "
        f"or more; {_overdue_words(riders, as_of, today)}; the last fit of {flagged:,} of "
        f"{judged:,} that can be judged is to look at together."
    )


def _overdue_words(riders: Columns, as_of: date | None, today: date | None) -> str:
    """How many riders have an overdue follow-up by the data's last date and, where that is another day, by today's."""
    before, now = (int(riders[name].sum()) for name in (_OVERDUE_BEFORE, OVERDUE))
    if as_of is None or today is None or today <= as_of:
        return f"{before:,} {'has' if before == 1 else 'have'} an overdue follow-up"
    return (
        f"{before:,} had an overdue follow-up on {spoken_day(as_of)}, the data's last day, and {now:,} "
        f"{'has' if now == 1 else 'have'} today, {spoken_day(today)}"
    )
