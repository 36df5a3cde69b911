"""The fits behind the trends, and what their riders came with."""

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.calendar import first_day, period_of
from dashboard.questions.selection.every_fit import Remember, at_once, feet_selected, read_or_cut
from dashboard.questions.selection.scope import Scope
from dashboard.questions.studio import SQL
from dashboard.questions.studio.answers_trends import NoteRow
from dashboard.questions.symmetry.both_sides import mean_of_sides
from shared.logbook.entries import Entry
from shared.settings import Trends as TrendSettings
from shared.warehouse import Warehouse

Array = NDArray[np.float64]
MOST_WRITTEN: Final = 12
# What a note is about that freezes the limits anew from its day on.
LIMITS: Final = "limits"


def fits_of(warehouse: Warehouse, scope: Scope, remember: Remember | None) -> dict[str, NDArray[Any]]:
    """One row a selected fit; what its knees came with is the mean over the selected ones."""
    fits = read_or_cut(warehouse, scope, SQL / "trends_fits.sql", remember)
    feet = feet_selected(warehouse, scope, remember or at_once)
    for column in ("off_neutral_arrival_deg", "sway_arrival_mm"):
        left, right = (
            _of_selected(fits.pop(f"{column}_{side}"), feet, 2 * fits["fit_no"].astype(np.int64) + number)
            for number, side in enumerate(("left", "right"))
        )
        fits[column] = mean_of_sides(left, right)
    return fits


def riders_at(at: NDArray[np.int64], rider: NDArray[np.int64], rows: Array) -> NDArray[np.int64]:
    """How many riders have a row in each period; `at` is each row's period, from 0; `rows` counts the rows of each period."""
    most = int(rider.max(initial=0)) + 1
    return np.bincount(np.unique(at * most + rider) // most, minlength=len(rows))


def _of_selected(values: Array, feet: NDArray[np.bool_] | None, foot: NDArray[np.int64]) -> Array:
    """The values (n,) of feet by number, NaN where a foot is not selected."""
    if feet is None:
        return values
    return np.where(feet[np.minimum(foot, len(feet) - 1)] & (foot < len(feet)), values, np.nan)


def notes_of(trends: TrendSettings, written: Sequence[Entry] = ()) -> tuple[NoteRow, ...]:
    """The dated notes, of the settings and the newest that were written, each with its period."""
    made = [NoteRow(note.on, _first_of(note.on, trends), note.words) for note in trends.notes]
    # A chart has a letter for so many; the command tells all.
    for entry in written[-MOST_WRITTEN:]:
        if entry.day:
            made.append(
                NoteRow(entry.day, _first_of(entry.day, trends), entry.text, entry.entry_id, freezes=entry.key == LIMITS)
            )
    return tuple(made)


def frozen_anew(trends: TrendSettings, written: Sequence[Entry]) -> TrendSettings:
    """The settings with the base begun by the last note that says so: as many periods from its own on."""
    since = max((entry.day for entry in written if entry.key == LIMITS and entry.day), default=None)
    if since is None:
        return trends
    first = int(period_of(np.array([since], "datetime64[D]"), trends.every)[0])
    last = first_day(first + trends.base_periods - 1, trends.every)
    return trends.model_copy(update={"base_from": since, "base_to": last})


def _first_of(on: date, trends: TrendSettings) -> date:
    return first_day(int(period_of(np.array([on], "datetime64[D]"), trends.every)[0]), trends.every)
