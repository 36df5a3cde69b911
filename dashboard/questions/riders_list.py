"""The riders of a selection, the newest fit first, and what of each deserves a look."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np

from dashboard.questions.agreement_flags import Judged, judged_fits
from dashboard.questions.answers_riders import RiderRow, Riders
from dashboard.questions.numbers import spoken, spoken_percent
from dashboard.questions.scope import SQL, Scope, counted, fragments
from dashboard.questions.selection import Selection
from shared.settings import Settings
from shared.statistics.proportions import wilson_interval
from shared.warehouse import Warehouse

METHOD = {
    "tilt": "both knees at the last capture of the rider's last fit in the selection",
    "side_difference": "right less left; it remains where it is the limit or more",
    "follow_up": "overdue: a booking open past the day it was due; missed: missed or cancelled, and none open",
    "flag": "the last fit that can be judged does not agree with the exam; a flag asks for a look together and is no verdict",
    "order": "the newest fit first",
}
OVERDUE, SIDE_DIFFERENCE, FLAG = "overdue", "side_difference", "flag"


def listed(warehouse: Warehouse, scope: Scope, selection: Selection, settings: Settings) -> Riders:
    """Every rider of the selection."""
    rows = tuple(rider_rows(warehouse, scope, judged_fits(warehouse, scope, settings), settings))
    return Riders(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, "side_difference_limit_deg": settings.knee.side_difference_deg},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        headline=_headline(rows, settings),
        riders=rows,
    )


def rider_rows(warehouse: Warehouse, scope: Scope, judged: Judged, settings: Settings) -> Iterator[RiderRow]:
    """One row a rider, the newest fit first."""
    n_judged, n_flagged, is_flagged = _flags(judged, scope.n_riders)
    limit = settings.knee.side_difference_deg
    for row in warehouse.rows(SQL / "riders_list.sql", scope.parameters, **fragments()):
        rider = row.pop("rider")
        look = []
        if row["follow_up"] == OVERDUE:
            look.append(OVERDUE)
        if row["side_difference_deg"] is not None and abs(row["side_difference_deg"]) >= limit:
            look.append(SIDE_DIFFERENCE)
        if is_flagged[rider]:
            look.append(FLAG)
        words = "; ".join(_told(row, reason) for reason in look)
        yield RiderRow(
            **row,
            n_judged_fits=int(n_judged[rider]),
            n_flagged_fits=int(n_flagged[rider]),
            look=", ".join(look),
            words=f"{words[0].upper()}{words[1:]}." if words else "Nothing that asks for a look.",
        )


def _flags(judged: Judged, n_riders: int) -> tuple[Any, Any, Any]:
    """Each rider's fits that can be judged, those flagged, and whether the last one is; riders in order of id."""
    rider, flagged = judged.fits["rider"][judged.is_judged], ~judged.agrees[judged.is_judged]
    is_flagged = np.zeros(n_riders, dtype=bool)
    # Fits stand by date: the last of a rider's values stays.
    is_flagged[rider] = flagged
    return np.bincount(rider, minlength=n_riders), np.bincount(rider[flagged], minlength=n_riders), is_flagged


def _told(row: dict[str, Any], reason: str) -> str:
    if reason == OVERDUE:
        return f"follow-up overdue since {day_words(row['due_on'])}"
    if reason == SIDE_DIFFERENCE:
        side = "right" if row["side_difference_deg"] > 0 else "left"
        return f"a side difference of {spoken(abs(row['side_difference_deg']), 1, '°')} remains, the {side} knee further out"
    return "the last fit does not agree with the exam"


def day_words(day: date) -> str:
    """As in: 3 May 2026."""
    return f"{day.day} {day:%B %Y}"


def _headline(rows: tuple[RiderRow, ...], settings: Settings) -> str:
    measured = [row for row in rows if row.side_difference_deg is not None]
    left = sum(SIDE_DIFFERENCE in row.look for row in measured)
    overdue, flagged = (sum(reason in row.look for row in rows) for reason in (OVERDUE, FLAG))
    judged = sum(row.n_judged_fits > 0 for row in rows)
    limit = f"{settings.knee.side_difference_deg:g}°"
    share = ""
    if len(measured) >= settings.minimum.rows_shown:
        found = wilson_interval([left], [len(measured)], settings.intervals.level)
        ends = f"{spoken_percent(found.low[0])} to {spoken_percent(found.high[0])}"
        share = f" ({spoken_percent(found.estimate[0])}, {ends})"
    return (
        f"Of {counted(len(measured), 'rider')} measured, {left:,}{share} left their last fit with a side difference of {limit} "
        f"or more; {overdue:,} {'has' if overdue == 1 else 'have'} an overdue follow-up; the last fit of {flagged:,} of "
        f"{judged:,} that can be judged does not agree with the exam."
    )
