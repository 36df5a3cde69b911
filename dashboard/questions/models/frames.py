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
# Rows that are columns of numbers at a time: of millions they would take more memory than all that is made of them.
_ROWS_AT_A_TIME = 1 << 16


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
    differs between two captures in a row, column by column in memory, as it is read."""

    outcome: str
    captures: Captures
    columns: tuple[Varying, ...]
    cells: Cells
    n_changes: NDArray[np.int32]

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
    n_cells, v = len(kept.n), len(columns)
    # Of each group of cells that is summed, a cell or a rider's: where it begins, and the end.
    starts, places = np.arange(n_cells + 1), np.arange(n_cells)
    if is_by_rider:
        codes = dense(kept.rider)[0]
        is_first = np.diff(codes, prepend=-1) > 0
        starts, places = np.append(np.flatnonzero(is_first), n_cells), np.where(is_first, codes, int(is_first.sum()))
    n_groups = len(starts) - 1
    mean, of_outcome, n_changes = np.empty((n_cells, v)), np.empty(n_cells), np.empty((v, n_cells), dtype=np.int32)
    products = np.zeros((n_groups + is_by_rider, (v + 1) * (v + 2) // 2))
    row, begun = np.append(0, np.cumsum(kept.n))[starts], 0
    while begun < n_groups:
        end = max(begun + 1, int(np.searchsorted(row, row[begun] + _ROWS_AT_A_TIME, side="right")) - 1)
        own, some = slice(starts[begun], starts[end]), kept.between(int(starts[begun]), int(starts[end]))
        values = np.array([*(column.values(some) for column in columns), some.rows[outcome]])
        means, products[begun:end] = cell_moments(values, some.n, np.diff(starts[begun : end + 1]) if is_by_rider else None)
        mean[own], of_outcome[own] = means[:, :-1], means[:, -1]
        count_changes(values[:-1], some.n, n_changes[:, own])
        begun = end
    rows = _rows_of(kept, outcome, columns)
    cells = Cells(kept.rider, kept.knee, kept.visit, kept.n, mean, of_outcome, products, places, rows, is_by_rider)
    return Frame(outcome, kept, columns, cells, n_changes.T)


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


def frame_like(frame: Frame, captures: Captures, outcome: str) -> Frame:
    """The frame of another outcome from that of one whose captures are almost the same: of cells in which the two are recorded
    at the same captures, the sums of what varies are held once. captures: those from which the frame's own were chosen."""
    kept = captures.with_rows(np.isfinite(captures.rows[outcome]))
    other, of_row = np.isfinite(captures.rows[frame.outcome]), np.isfinite(captures.rows[outcome])
    is_same = np.bincount(captures.cell_of_row, other != of_row, len(captures.n)) == 0
    # Of each cell of these captures, its place among the frame's.
    place = np.full(len(captures.n), -1)
    place[np.bincount(captures.cell_of_row, other, len(captures.n)) > 0] = np.arange(len(frame.captures.n))
    recorded = np.bincount(captures.cell_of_row, of_row, len(captures.n)) > 0
    same, place = is_same[recorded], place[recorded]
    apart = frame_of(kept.chosen(~same), outcome, frame.columns)
    places = np.empty(len(same), dtype=np.int64)
    places[same] = frame.cells.places.take(place[same])
    places[~same] = len(frame.cells.all_products) + np.arange(len(apart.captures.n))
    mean, n_changes = np.empty((len(same), len(frame.columns))), np.empty((len(frame.columns), len(same)), dtype=np.int32)
    mean[same], mean[~same] = frame.cells.mean.take(place[same], axis=0), apart.cells.mean
    n_changes[:, same], n_changes[:, ~same] = frame.n_changes.T.take(place[same], axis=1), apart.n_changes.T
    cells = replace(
        frame.cells, rider=kept.rider, knee=kept.knee, visit=kept.visit, n=kept.n, mean=mean, places=places,
        own_products=apart.cells.all_products,
    )  # fmt: skip
    return frame_with_outcome(replace(frame, cells=cells, n_changes=n_changes.T), kept, outcome)


def count_changes(columns: Floats, n: Ints, n_changes: NDArray[np.int32]) -> None:
    """Writes to n_changes (m, cells) how often each column (m, rows) differs between two captures in a row of one cell."""
    starts = np.cumsum(n) - n
    changed = np.zeros(columns.shape[1], dtype=np.int32)
    for column, found in zip(columns, n_changes, strict=True):
        changed[1:] = column[1:] != column[:-1]
        changed[starts] = 0
        np.add.reduceat(changed, starts, out=found)


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
