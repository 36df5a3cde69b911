"""What each fitter did: how often the exam was complete, the bicycle measured, a repeat taken, a follow-up booked, and how
often the setup agrees with the exam."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching.agreement_flags import judged_fits
from dashboard.questions.coaching.answers_fitters import ProcessRow
from dashboard.questions.selection.every_fit import Remember
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken_percent, spoken_percents
from dashboard.questions.selection.scope import Scope, counted
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.warehouse import Warehouse

Rows = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class _Process:
    """One thing that may be done in a fit: whether it was, whether it was due, rider and fitter by number, each one a fit."""

    process: str
    done: NDArray[np.bool_]
    due: NDArray[np.bool_]
    rider: NDArray[Any]
    fitter: NDArray[Any]


def process_rows(
    warehouse: Warehouse,
    scope: Scope,
    fits: Rows,
    fitters: Mapping[int, str],
    settings: Settings,
    remember: Remember | None,
) -> Iterator[ProcessRow]:
    """One row a fitter (number: id) and process, from the fits of fitters_fits.sql and the rules of agreement over them."""
    judged = judged_fits(warehouse, scope, settings, remember)
    agreement = _Process("agreement", judged.agrees, judged.is_judged, judged.fits["rider"], judged.fits["fitter"])
    processes = [*_processes(fits), agreement]
    recorded = {one.process: scope.recorded.instead(one.process) for one in processes}
    yield from (
        _absent_row(fitter, process, absent)
        if (absent := recorded[process.process])
        else _process_row(fitter, process, settings)
        for fitter in fitters.items()
        for process in processes
    )


def _absent_row(named: tuple[int, str], process: _Process, absent: str) -> ProcessRow:
    words = f"{named[1]}, {_PROCESSES[process.process]}: {absent}."
    return ProcessRow(named[1], process.process, 0, 0, None, None, None, words)


def _processes(fits: Rows) -> Iterator[_Process]:
    every = np.ones(len(fits["rider"]), dtype=bool)
    for process, column in (
        ("exam_complete", "is_examined"),
        ("bike_measured", "has_departure_bike"),
        ("repeat_capture", "has_repeat"),
    ):
        yield _Process(process, fits[column].astype(bool), every, fits["rider"], fits["fitter"])
    asked = fits["asks_booking"].astype(bool)
    yield _Process("follow_up_booked", fits["has_booked"].astype(bool), asked, fits["rider"], fits["fitter"])


def _process_row(named: tuple[int, str], process: _Process, settings: Settings) -> ProcessRow:
    number, fitter = named
    own = (process.fitter == number) & process.due
    done, rider, name = process.done[own], process.rider[own], _PROCESSES[process.process]
    n, total = int(done.sum()), len(done)
    if total < settings.minimum.sessions_per_fitter or count_riders(rider) < 2:
        words = f"{fitter}, {name}: not enough yet, {n} of {counted(total, 'fit')}."
        return ProcessRow(fitter, process.process, n, total, None, None, None, words)
    share = clustered_share(done.astype(float), rider, settings.intervals.level)
    interval = spoken_percents(share.low, share.high)
    words = f"{fitter}, {name}: {spoken_percent(share.estimate)} ({interval}; {n:,} of {counted(total, 'fit')})."
    return ProcessRow(fitter, process.process, n, total, share.estimate, share.low, share.high, words)


_PROCESSES = {
    "exam_complete": "exam complete on both feet",
    "bike_measured": "bicycle measured before leaving",
    "repeat_capture": "repeat capture taken",
    "follow_up_booked": "follow-up booked in time",
    "agreement": "setup in agreement with the exam",
}
