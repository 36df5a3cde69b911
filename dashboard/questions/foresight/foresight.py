"""How well would past fits have been foreseen, each from what was known before?"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dashboard.questions.foresight import SQL
from dashboard.questions.foresight.answers_foresight import Foresight, ForesightRow, ReliabilityRow
from dashboard.questions.foresight.by_type import types_of
from dashboard.questions.foresight.ready import LEVEL
from dashboard.questions.foresight.record import Record, record_of
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.models.study import Study, study_of
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import counted, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.units import UNITS
from shared.warehouse import Warehouse

Objects = NDArray[np.object_]
Ints = NDArray[np.int64]
Days = NDArray[np.datetime64]
# A label, and the places of the captures that have it.
Groups = list[tuple[str, Ints]]

_UNITS: Final = {"tilt": "deg", "sway": "mm"}
# The headline looks at so many of the last changes, and is content with a share inside between these.
LAST_CHANGES: Final = 200
KEPT_BETWEEN: Final = (0.76, 0.84)
METHOD: Final = {
    "foreseen": "every capture after a knee's first, by the model of the fits of earlier quarters alone",
    "band": "as wide as what was foreseen before asked for, from 40 riders on; every rider's captures count together as one",
    "last": f"the last {LAST_CHANGES} captures after a change",
    "level": LEVEL,
}


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember = at_once) -> Foresight:
    """The record of what would have been foreseen, for the fits of the selection."""
    scope = scope_of(warehouse, selection, settings, remember)
    scope.require_fits()
    rows: list[ForesightRow] = []
    parts: list[ReliabilityRow] = []
    for outcome in _UNITS:
        record, groups = _selected(warehouse, selection, settings, remember, outcome)
        rows += _rows(outcome, record, groups, settings)
        parts += _reliability(outcome, record)
    last = next((row for row in rows if row.group == "last" and row.outcome == "tilt"), None)
    is_kept = None if last is None or last.inside is None else KEPT_BETWEEN[0] <= last.inside <= KEPT_BETWEEN[1]
    return Foresight(
        **scope.head(selection),
        method=METHOD,
        headline=_headline(last, is_kept),
        is_kept=is_kept,
        foresight=tuple(rows),
        reliability=tuple(parts),
    )


def _selected(
    warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember, outcome: str
) -> tuple[Record, dict[str, Groups]]:
    """The record in the fits of the selection, and what its captures are grouped by."""
    study = study_of(warehouse, settings, remember)
    recorded: _Recorded = remember(("foresight cells", outcome), lambda: _recorded(warehouse, study, outcome))

    def make() -> Record:
        frame = study.frame(outcome, np.ones(len(study.captures.n), dtype=bool))
        return record_of(frame, recorded.day, settings, LEVEL)

    record: Record = remember(("foresight record", outcome), make)
    kept = study.selected(warehouse, selection, scope_of(warehouse, selection, settings, remember), remember)
    record = record.kept(kept[recorded.place][record.cell])
    return record, {name: _grouped(*coded, record.cell) for name, coded in recorded.labels.items()}


@dataclass(frozen=True)
class _Recorded:
    """The cells with an outcome: place (cells,) among all, day (cells,) of the fit, and codes of the labels by which they are
    grouped, (cells,) each, with the labels."""

    place: Ints
    day: Days
    labels: Mapping[str, tuple[Ints, Objects]]


def _recorded(warehouse: Warehouse, study: Study, outcome: str) -> _Recorded:
    captures = study.captures.with_rows(np.isfinite(study.captures.rows[outcome]))
    fits = warehouse.arrays(SQL / "fit_days.sql")
    place = np.searchsorted(fits["fit"].astype(np.int64), captures.visit)
    day = fits["session_date"].astype("datetime64[D]")[place]
    months = day.astype("datetime64[M]").astype(str).astype(object)
    by_cell = {"foot_type": types_of(captures), "fitter": fits["fitter_id"][place].astype(object), "month": months}
    return _Recorded(captures.place, day, {name: pd.factorize(values, sort=True) for name, values in by_cell.items()})


def _grouped(codes: Ints, labels: Objects, cell: Ints) -> Groups:
    """The captures of each label, in the order of the labels and without the empty one; cell (n,): of each capture."""
    own = codes.take(cell)
    ends = np.cumsum(np.bincount(own, minlength=len(labels)))
    places = np.split(np.argsort(own, kind="stable"), ends[:-1])
    return [(str(label), here) for label, here in zip(labels, places, strict=True) if label and len(here)]


def _rows(outcome: str, record: Record, groups: dict[str, Groups], settings: Settings) -> Iterator[ForesightRow]:
    if not len(record.cell):
        return
    yield _row(outcome, "all", "", record, settings)
    last = np.flatnonzero(record.is_change)[-LAST_CHANGES:]
    if len(last):
        yield _row(outcome, "last", "", record.kept(last), settings)
    for group, levels in groups.items():
        for level, places in levels:
            yield _row(outcome, group, level, record.kept(places), settings)


def _row(outcome: str, group: str, level: str, record: Record, settings: Settings) -> ForesightRow:
    n_riders = len(np.unique(record.rider))
    try:
        inside = clustered_share(record.inside.astype(float), record.rider, settings.intervals.level)
        share: tuple[float | None, float | None, float | None] = (inside.estimate, inside.low, inside.high)
    except TooFewError:
        share = (None, None, None)
    row = ForesightRow(
        outcome, _UNITS[outcome], group, level, len(record.cell), n_riders, *share,
        width=float(np.mean(record.high - record.low)),
        off=float(np.mean(np.abs(record.measured - record.expected))),
        off_arrival=float(np.mean(np.abs(record.measured - record.arrival))),
        off_mean=float(np.mean(np.abs(record.measured - record.mean_before))),
        words="",
    )  # fmt: skip
    return ForesightRow(**{**row.__dict__, "words": _words(row)})


def _words(row: ForesightRow) -> str:
    unit = UNITS[row.unit].sign
    if row.inside is None or row.inside_low is None or row.inside_high is None:
        return f"Not enough yet: {counted(row.n_captures, 'capture')} of {counted(row.n_riders, 'rider')}."
    inside = f"{spoken_percent(row.inside)} inside the band ({spoken_percents(row.inside_low, row.inside_high)}"
    off = (
        f"off by {spoken(row.off, 1, unit)} on average, where “same as at arrival” is off by {spoken(row.off_arrival, 1, unit)}"
    )
    return f"{inside}; {counted(row.n_captures, 'capture')}); {off}."


def _headline(last: ForesightRow | None, is_kept: bool | None) -> str:
    if last is None or last.inside is None or last.inside_low is None or last.inside_high is None:
        return "Not enough yet: nothing could be foreseen from earlier quarters; what is foreseen now has no record to lean on."
    told = (
        f"of the last {counted(last.n_captures, 'change')}, {spoken_percent(last.inside)} fell inside a band that promises "
        f"{spoken_percent(LEVEL)} ({spoken_percents(last.inside_low, last.inside_high)})"
    )
    if is_kept:
        return f"What is foreseen has held so far: {told}."
    if last.inside_low <= LEVEL <= last.inside_high:
        return f"Watch what is foreseen: {told}; chance alone could bring that."
    return f"Do not lean on what is foreseen today: {told}; the bands are too {'narrow' if last.inside < LEVEL else 'wide'}."


def _reliability(outcome: str, record: Record) -> Iterator[ReliabilityRow]:
    order = np.argsort(record.expected, kind="stable")
    for part, places in enumerate(np.array_split(order, 10), start=1):
        if len(places):
            yield ReliabilityRow(
                outcome, _UNITS[outcome], part, len(places), len(np.unique(record.rider[places])),
                float(record.expected[places].mean()), float(record.measured[places].mean()),
            )  # fmt: skip
