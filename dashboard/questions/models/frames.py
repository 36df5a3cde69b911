"""One outcome's captures as cells of the two models: supports and capture order summed within each knee's visit."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.models.captures import Captures, labels_in
from shared.statistics.grouping import dense
from shared.statistics.mixed.cells import Cells, cell_moments
from shared.statistics.mixed.recast import with_outcome

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

SUPPORTS = ("insole_low", "insole_medium", "insole_high", "insole_custom", "shim", "stance")
# One step of stance, in which doses are told and in which the effect of a mm is thought of beside that of a shim.
STANCE_STEP_MM = 2.0
ORDER = "capture"
LATE = "late"
# What supports are held for within a knee.
HELD = (ORDER, LATE)
# Captures after this many are rare in one session; they share one step of the capture order.
_LAST_ORDER = 5


@dataclass(frozen=True)
class Varying:
    """A column that varies within a cell: what it is of (a support, or one of HELD), its level where its values are split by
    one, and its values (rows,) from captures."""

    of: str
    level: str | None
    values: Callable[[Captures], Floats]

    @property
    def term(self) -> str:
        return self.of if self.level is None or self.of not in HELD else f"{self.of} {self.level}"


@dataclass(frozen=True)
class Frame:
    """captures: those with the outcome; cells: their sums; n_changes (cells, columns): of each varying column, how often it
    differs between two captures in a row."""

    outcome: str
    captures: Captures
    columns: tuple[Varying, ...]
    cells: Cells
    n_changes: Ints

    @property
    def supports(self) -> tuple[int, ...]:
        """The places of the columns that are supports."""
        return tuple(place for place, column in enumerate(self.columns) if column.of not in HELD)

    def chosen(self, kept: Flags) -> "Frame":
        """The cells where `kept` (cells,) is true."""
        if kept.all():
            return self
        captures = self.captures.chosen(kept)
        return replace(
            self, captures=captures, cells=self.cells.chosen(kept), n_changes=self.n_changes.T[:, np.flatnonzero(kept)].T
        )

    @cached_property
    def changes(self) -> Ints:
        return np.asarray(self.n_changes.sum(axis=0))


def frame_of(
    captures: Captures, outcome: str, columns: tuple[Varying, ...] | None = None, *, is_by_rider: bool = False
) -> Frame:
    """The frame of one outcome, a column of the captures' rows; is_by_rider: of which no cells are chosen and no level is
    split, so that sums by rider serve."""
    columns = standard_columns() if columns is None else columns
    kept = captures.with_rows(np.isfinite(captures.rows[outcome]))
    rows = _rows_of(kept, outcome, columns)
    values = np.array([*(column.values(kept) for column in columns), kept.rows[outcome]])
    places, cells_of = np.arange(len(kept.n)), None
    if is_by_rider:
        codes = dense(kept.rider)[0]
        cells_of = np.bincount(codes)
        places = np.where(np.diff(codes, prepend=-1) > 0, codes, len(cells_of))
    mean, products = cell_moments(values, kept.n, cells_of, zeros=int(is_by_rider))
    # In one piece: some of its rows are taken at a time.
    inside, of_outcome = np.ascontiguousarray(mean[:, :-1]), mean[:, -1].copy()
    cells = Cells(kept.rider, kept.knee, kept.visit, kept.n, inside, of_outcome, products, places, rows, is_by_rider)
    return Frame(outcome, kept, columns, cells, count_changes(values[:-1], kept.n))


def _rows_of(captures: Captures, outcome: str, columns: tuple[Varying, ...]) -> Callable[[Flags | None], Floats]:
    def rows(chosen: Flags | None) -> Floats:
        these = captures if chosen is None else captures.chosen(chosen)
        return np.column_stack([*(column.values(these) for column in columns), these.rows[outcome]])

    return rows


def frame_with_outcome(frame: Frame, captures: Captures, outcome: str) -> Frame:
    """The frame with another outcome, a column of `captures`, which are the frame's own and all have it."""
    columns = [partial(column.values, captures) for column in frame.columns]
    cells = with_outcome(frame.cells, columns, captures.rows[outcome], _rows_of(captures, outcome, frame.columns))
    return replace(frame, outcome=outcome, captures=captures, cells=cells)


def count_changes(columns: Floats, n: Ints) -> Ints:
    """How often each column (m, rows) differs between two captures in a row of one cell, (cells, m)."""
    starts = np.cumsum(n) - n
    n_changes = np.empty((len(columns), len(n)), dtype=np.int64)
    changed = np.zeros(columns.shape[1], dtype=np.int64)
    for index, column in enumerate(columns):
        changed[1:] = column[1:] != column[:-1]
        changed[starts] = 0
        n_changes[index] = np.add.reduceat(changed, starts)
    # Column by column in memory, as they are read.
    return n_changes.T


def standard_columns() -> tuple[Varying, ...]:
    """The six supports, and the capture order as steps, so that a drift need not be straight."""
    return (*support_columns(), *(_step(step) for step in range(1, _LAST_ORDER + 1)))


def straight_columns() -> tuple[Varying, ...]:
    """The same with the capture order as one straight line: weaker against a drift that is not straight, but it can still tell
    supports apart that came at the same places of every session."""
    return (*support_columns(), Varying(ORDER, None, lambda captures: captures.rows["capture_order"].astype(float)))


def support_columns() -> tuple[Varying, ...]:
    """Insole levels against none, total shims, stance in mm."""
    return (*(_insole(name) for name in SUPPORTS[:4]), _number("shim", "total_shims"), _number("stance", "stance_mm"))


def split_support_columns(split: str, support: str, captures: Captures) -> tuple[Varying, ...]:
    """The supports with one of them by the levels of a column that changes from capture to capture; the rest as they are."""
    return tuple(
        part
        for column in support_columns()
        for part in (_by_level(column, split, captures) if column.of == support else (column,))
    )


def _insole(name: str) -> Varying:
    level = name.removeprefix("insole_")
    return Varying(name, None, lambda captures: (captures.rows["insole_level"] == level).astype(float))


def _number(support: str, column: str) -> Varying:
    return Varying(support, None, lambda captures: captures.rows[column].astype(float))


def _step(step: int) -> Varying:
    def values(captures: Captures) -> Floats:
        return np.asarray(np.minimum(captures.rows["capture_order"], _LAST_ORDER) == step, dtype=float)

    return Varying(ORDER, str(step + 1), values)


def _by_level(column: Varying, split: str, captures: Captures) -> tuple[Varying, ...]:
    """Splits a column by level; one more column holds what has no level, unless it is zero everywhere."""
    at_levels = [_at_level(column, split, label) for label in sorted(labels_in(captures.rows[split]))]
    missing = _at_level(column, split, None)
    return (*at_levels, missing) if np.any(missing.values(captures)) else tuple(at_levels)


def _at_level(column: Varying, split: str, label: str | None) -> Varying:
    def values(captures: Captures) -> Floats:
        levels = captures.rows[split]
        here = levels.isna() if label is None else levels == label
        return np.asarray(column.values(captures) * here)

    return Varying(column.of, label or NOT_EXAMINED, values)


NOT_EXAMINED = "not examined"
