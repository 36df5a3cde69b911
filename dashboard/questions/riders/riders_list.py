"""The riders of a selection, those with most that deserves a look first, and what it is."""

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching.agreement_flags import Judged, judged_fits
from dashboard.questions.followed.held import (
    BECAME,
    HELD,
    NOT_HELD,
    NOT_MEASURED,
    NOT_SEEN,
    WAITING,
    became_of,
    followed_fits,
)
from dashboard.questions.memory.rows_on_demand import Columns, RowsOnDemand
from dashboard.questions.riders import SQL
from dashboard.questions.riders.answers_riders import RiderRow, Riders
from dashboard.questions.selection.every_fit import Remember
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope, counted, fragments, spoken_day
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse

METHOD = {
    "tilt": "both knees at the last capture of the rider's last fit in the selection",
    "became": "of the last fit that asks for a follow-up; a fit held where each knee that it left on record was found no "
    "further from neutral tilt at the follow-up's first capture than it was left, up to MDC95; not seen again: its window has "
    "closed by the data's last date",
    "side_difference": "right less left; it remains where it is the limit or more",
    "follow_up": "by today's date: over: a booking open past the day it was due; closed: missed or cancelled, and none open",
    "flag": "the last fit that can be judged is far from the exam, with nothing come out better; it asks for a look together "
    "and is no verdict",
    "order": "those with most reasons for a look first, and of these the newest fit first",
}
OVERDUE, LOST, SIDE_DIFFERENCE, FLAG = "overdue", "not_held", "side_difference", "flag"
REASONS = (OVERDUE, LOST, SIDE_DIFFERENCE, FLAG)
# What the sentence at the top tells, by the figure that it stands on.
_TOLD = {
    "return_rate": "What became of fits and bookings:",
    "side_difference_left": "side differences:",
    "agreement": "agreement with the exam:",
}
# The figures without which a look cannot be told.
_LOOKS_STAND_ON = {
    OVERDUE: ("return_rate",),
    LOST: ("return_rate", "held"),
    SIDE_DIFFERENCE: ("side_difference_left",),
    FLAG: ("agreement",),
}
# The first fields of a RiderRow, in its order, as SQL tells them.
_READ = (
    "rider_id",
    "studios",
    "n_fits",
    "first_date",
    "last_date",
    "fit_date",
    "became",
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
    mdc95: float | None = None,
    today: date | None = None,
    remember: Remember | None = None,
) -> Riders:
    """Lists every rider of the selection; `mdc95` and `today`: as in rider_rows."""
    judged = judged_fits(warehouse, scope, settings, remember)
    rows = rider_rows(warehouse, scope, judged, settings, mdc95, today, remember)
    return Riders(
        **scope.head(selection),
        method={**METHOD, "side_difference_limit_deg": settings.knee.side_difference_deg},
        **scope.counts,
        headline=_headline(rows.columns, scope.recorded, settings),
        riders=rows,
        not_recorded=tuple(look for look, figures in _LOOKS_STAND_ON.items() if any(map(scope.recorded.instead, figures))),
    )


def rider_rows(
    warehouse: Warehouse,
    scope: Scope,
    judged: Judged,
    settings: Settings,
    mdc95: float | None = None,
    today: date | None = None,
    remember: Remember | None = None,
) -> RowsOnDemand[RiderRow]:
    """One row a rider, those with most reasons first, then the newest fit; of its columns REASONS tell what deserves a look.

    `mdc95`: the smallest real change of tilt; without it no fit is told to have held. A follow-up is over by `today`, and by
    the data's last date where that is later.
    """
    n_judged, n_flagged, is_flagged = _flags(judged, scope.n_riders)
    by = max(filter(None, (today, scope.as_of)), default=None)
    riders = warehouse.arrays(SQL / "riders_list.sql", {**scope.parameters, "today": by}, **fragments())
    rider, difference = riders["rider"], riders["side_difference_deg"].astype(float)
    became, fit_date = _last_fits(followed_fits(warehouse, scope, remember), riders["rider_no"], mdc95)
    columns = {
        **{name: riders[name] for name in _READ if name in riders},
        **({"follow_up": np.full(len(rider), "", dtype=object)} if scope.recorded.instead("return_rate") else {}),
        "fit_date": fit_date,
        "became": became,
        "n_judged_fits": n_judged[rider],
        "n_flagged_fits": n_flagged[rider],
        OVERDUE: riders["follow_up"] == "over",
        LOST: became == NOT_HELD,
        SIDE_DIFFERENCE: np.abs(difference) >= settings.knee.side_difference_deg,
        FLAG: is_flagged[rider],
    }
    n_looks = np.sum([columns[reason] for reason in REASONS], axis=0)
    # The rows come with the newest fit first, and stay so among those with as many reasons.
    order = np.argsort(-n_looks, kind="stable")
    return RowsOnDemand({name: column[order] for name, column in columns.items()}, _made)


def _last_fits(fits: Mapping[str, Any], rider_no: NDArray[Any], mdc95: float | None) -> tuple[NDArray[Any], NDArray[Any]]:
    """What became of each rider's last fit that asks for a follow-up, and its day; empty and NaT where there is none."""
    last = np.full(int(rider_no.max(initial=-1)) + 1, -1)
    # Fits stand by date: the last of a rider's places stays.
    last[fits["rider"]] = np.arange(len(fits["rider"]))
    place = last[rider_no]
    ends = np.array([*BECAME, ""], dtype=object)[np.append(became_of(fits, mdc95), len(BECAME))]
    days = np.append(_days(fits["session_date"]), np.datetime64("NaT", "D"))
    return ends[place], days[place]


def _made(columns: Columns) -> Iterator[RiderRow]:
    """Makes the rows of the list from its columns."""
    over_on = np.where(columns[OVERDUE], _days(columns["due_on"]), np.datetime64("NaT"))
    remaining = np.where(columns[SIDE_DIFFERENCE], columns["side_difference_deg"].astype(float), np.nan)
    # Thousands of riders stand alike, and are told in the same words.
    reasons = (_values(over_on), columns[LOST].tolist(), _values(remaining), columns[FLAG].tolist())
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


def _look(over_on: date | None, is_lost: bool, difference: float | None, is_flagged: bool) -> tuple[str, str]:
    """What deserves a look, and why in a sentence; None is not over, and no difference that remains."""
    reasons = {}
    if over_on is not None:
        reasons[OVERDUE] = f"follow-up over since {spoken_day(over_on)}"
    if is_lost:
        reasons[LOST] = "last fit did not hold"
    if difference is not None:
        side = "right" if difference > 0 else "left"
        size = spoken(abs(difference), 1, "°")
        reasons[SIDE_DIFFERENCE] = f"{size} between the knees remain, the {side} one further out"
    if is_flagged:
        reasons[FLAG] = "last fit far from the exam, and nothing came out better"
    words = " ".join(f"{reason[0].upper()}{reason[1:]}." for reason in reasons.values())
    return ", ".join(reasons), words or "Nothing that asks for a look."


def _headline(riders: Columns, recorded: Recorded, settings: Settings) -> str:
    """What became of the last fits and what deserves a look, of what is recorded; what is not is named at the end."""
    over, remain, flagged = (int(riders[reason].sum()) for reason in (OVERDUE, SIDE_DIFFERENCE, FLAG))
    limit = f"{settings.knee.side_difference_deg:g}°"
    told = {
        "return_rate": f"{over:,} {'has' if over == 1 else 'have'} a follow-up over",
        "side_difference_left": f"{remain:,} left with a side difference of {limit} or more",
        "agreement": f"for {flagged:,} the last fit is to look at together",
    }
    held = "" if recorded.instead("return_rate") or recorded.instead("held") else _held_words(riders)
    known = [words for figure, words in told.items() if not recorded.instead(figure)]
    missing = [f"{_TOLD[figure]} {recorded.instead(figure)}" for figure in told if recorded.instead(figure)]
    listed = "; ".join(missing)
    rest = f" {listed[0].upper()}{listed[1:]}." if missing else ""
    looks = f"{', '.join(known[:-1])}{', and ' if known[1:] else ''}{known[-1]}" if known else ""
    said = "; ".join(filter(None, (held, looks)))
    start = "" if held or not said else f"Of {counted(len(riders['became']), 'rider')} "
    return f"{start}{said}{'.' if said else ''}{rest}".strip()


def _held_words(riders: Columns) -> str:
    n = Counter(riders["became"].tolist())
    told = sum(n[end] for end in BECAME)
    unknown = n[NOT_MEASURED] + n[NOT_SEEN] + n[WAITING]
    return (
        f"Of {counted(told, 'rider')} the last fit held for {n[HELD]:,}, did not for {n[NOT_HELD]:,}, and for {unknown:,} it "
        "is not known"
    )
