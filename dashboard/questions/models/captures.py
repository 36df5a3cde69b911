"""The knee captures that effects are estimated from, in a form that any selection is cut out of without asking again.

Read once a snapshot: what is the same throughout a knee's visit once a cell, what changes from capture to capture as numbers.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dashboard.questions.models import SQL
from dashboard.questions.selection.every_fit import Remember, fits_selected
from dashboard.questions.selection.scope import Scope, forefoot_class, fragments
from dashboard.questions.selection.selection import Selection
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import Warehouse

Array = NDArray[Any]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]
Rows = Mapping[str, Array]

_SETUP_CODES = {name: catalogue()["foot_setups"].column(name).codes for name in ("insole_level", "shim_place", "stance_by")}
_OF_A_CAPTURE = (*_SETUP_CODES, "capture_order", "is_arrival", "is_departure", "total_shims", "stance_mm")
_OUTCOMES = ("tilt", "sway", "offset", "off_neutral")
_CODES_OF_A_CELL = ("rider", "knee", "visit", "session_knee", "rider_id", "capture_no", "forefoot_angle_deg")


def labels_in(column: pd.Categorical) -> tuple[str, ...]:
    """The labels that occur in a column."""
    return tuple(column.categories[np.flatnonzero(np.bincount(column.codes[column.codes >= 0]))])


Places = Ints | slice


class _Later(Mapping[str, Any]):
    """Some rows of a table; each column is cut out when it is first asked for. Of some of these again only the places are made:
    what is cut out of what was cut out holds no column of it."""

    def __init__(self, columns: Mapping[str, Any], places: Callable[[], Places]) -> None:
        self._columns, self._places_of = columns, places
        if isinstance(columns, _Later):
            self._columns, self._places_of = columns._columns, lambda: _among(columns._places, places())
        self._cut: dict[str, Any] = {}

    @cached_property
    def _places(self) -> Places:
        return self._places_of()

    def __getitem__(self, name: str) -> Any:
        if name not in self._cut:
            self._cut[name] = self._columns[name][self._places]
        return self._cut[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)


def _among(places: Places, some: Places) -> Places:
    """Some of the places, by where they stand among them."""
    if not isinstance(places, slice):
        return places[some]
    return slice(places.start + some.start, places.start + some.stop) if isinstance(some, slice) else places.start + some


class _Beside(Mapping[str, Any]):
    """A table with one column added, or with one replaced."""

    def __init__(self, columns: Mapping[str, Any], name: str, values: Any) -> None:
        self._columns, self._name, self._values = columns, name, values

    def __getitem__(self, name: str) -> Any:
        return self._values if name == self._name else self._columns[name]

    def __iter__(self) -> Iterator[str]:
        yield from (name for name in self._columns if name != self._name)
        yield self._name

    def __len__(self) -> int:
        return len(self._columns) + (self._name not in self._columns)


@dataclass(frozen=True)
class Captures:
    """Cells (a knee in one fit) sorted by rider, and their rows, cell after cell.

    n: rows of each cell; rider, knee, visit: codes; rider_id; angle_deg: of the forefoot, NaN unknown; place: the cell's place
    in the snapshot; all (cells,). cells: categorical columns (cells,). rows: columns (rows,), outcomes NaN where missing.
    """

    n: Ints
    rider: Ints
    knee: Ints
    visit: Ints
    rider_id: Array
    angle_deg: NDArray[np.float64]
    place: Ints
    cells: Mapping[str, pd.Categorical]
    rows: Mapping[str, Any]

    def __len__(self) -> int:
        return int(self.n.sum())

    @cached_property
    def cell_of_row(self) -> Ints:
        return np.repeat(np.arange(len(self.n)), self.n)

    def chosen(self, kept: Flags) -> "Captures":
        """The cells where `kept` (cells,) is true."""
        return (
            self
            if kept.all()
            else self._cut(np.flatnonzero(kept), self.n[kept], lambda: np.flatnonzero(kept[self.cell_of_row]))
        )

    def between(self, start: int, end: int) -> "Captures":
        """The cells from `start` to before `end`, which look into these."""
        cells, rows = slice(start, end), slice(int(self._ends[start]), int(self._ends[end]))
        return self._cut(cells, self.n[cells], lambda: rows)

    @cached_property
    def _ends(self) -> Ints:
        return np.append(0, np.cumsum(self.n))

    def with_rows(self, kept: Flags) -> "Captures":
        """The rows where `kept` (rows,) is true; cells without one are left out."""
        if kept.all():
            return self
        n = np.bincount(self.cell_of_row[kept], minlength=len(self.n))
        return self._cut(np.flatnonzero(n), n[n > 0], lambda: np.flatnonzero(kept))

    def with_column(self, name: str, values: Array) -> "Captures":
        """The same with one more column of rows."""
        return replace(self, rows=_Beside(self.rows, name, values))

    def _cut(self, cells: Places, n: Ints, rows: Callable[[], Places]) -> "Captures":
        return Captures(
            n, self.rider[cells], self.knee[cells], self.visit[cells], self.rider_id[cells], self.angle_deg[cells],
            self.place[cells], _Later(self.cells, lambda: cells), _Later(self.rows, rows),
        )  # fmt: skip


def read_captures(warehouse: Warehouse, settings: Settings) -> tuple[Captures, Ints]:
    """All captures of the warehouse with a recorded setup, and the fit of each cell, by its number in mart.fits."""
    codes = {f"{name}s": list(labels) for name, labels in _SETUP_CODES.items()}
    parameters = {**settings.parameters(), **codes}
    cells = warehouse.arrays(
        SQL / "effects_cells.sql", parameters, **fragments(), forefoot_of_exam=forefoot_class("exams.forefoot_angle_deg")
    )
    n, rows = rows_by_cell(cells["foot"], warehouse.arrays(SQL / "effects_rows.sql", parameters))
    for name, labels in _SETUP_CODES.items():
        rows[name] = pd.Categorical.from_codes(rows[name].astype(np.int8) - np.int8(1), dtype=pd.CategoricalDtype(list(labels)))
    visit = cells["fit"].astype(np.int64)
    captures = Captures(
        n, cells["rider"].astype(np.int64), cells["knee"].astype(np.int64), visit,
        cells["rider_id"], cells["forefoot_angle_deg"].astype(float), np.arange(len(visit)),
        {name: pd.Categorical(column) for name, column in cells.items() if column.dtype == object and name != "rider_id"}, rows,
    )  # fmt: skip
    return captures, visit


def rows_by_cell(feet: Ints, rows: Rows) -> tuple[Ints, dict[str, Any]]:
    """How many rows each cell has, and the columns of the rows without `foot`, cell after cell; `feet` (cells,) are those of
    the cells, each once, and `foot` (rows,) that of a row. Rows of one cell keep their order."""
    place = np.full(int(feet.max(initial=-1)) + 1, -1)
    place[feet] = np.arange(len(feet))
    cell = place[rows["foot"]]
    columns = {name: column for name, column in rows.items() if name != "foot"}
    if np.any(cell[1:] < cell[:-1]):
        order = np.argsort(cell, kind="stable")
        columns = {name: column[order] for name, column in columns.items()}
    return np.bincount(cell, minlength=len(feet)), columns


def selected_cells(
    warehouse: Warehouse, captures: Captures, fit: Ints, selection: Selection, scope: Scope, remember: Remember
) -> Flags:
    """Which cells the selection asks for: of its fits, the feet that it names."""
    kept = np.ones(len(fit), dtype=bool)
    if any(getattr(selection, field.name) for field in fields(selection) if field.name != "split"):
        fits = fits_selected(warehouse, scope, remember).astype(np.int64)
        asked = np.zeros(max(int(fit.max(initial=-1)), int(fits.max(initial=-1))) + 1, dtype=bool)
        asked[fits] = True
        kept = asked[fit]
    for name in _FEET:
        if wanted := getattr(selection, name):
            kept &= captures.cells[name].isin(wanted)
    return kept


_FEET = ("side", "arch_height", "forefoot")


def captures_of_rows(rows: Rows) -> Captures:
    """The same from rows that carry rider, knee, visit and session_knee beside every other column, text as objects."""
    n_rows = len(rows["rider"])
    knee_of = rows.get("knee", rows["session_knee"])
    order = np.lexsort((rows["session_knee"], rows["rider"]))
    session_knee = rows["session_knee"][order]
    starts = np.flatnonzero(np.r_[True, session_knee[1:] != session_knee[:-1]]) if n_rows else np.zeros(0, dtype=np.int64)
    first = order[starts]
    none = np.full(n_rows, np.nan)
    of_rows: dict[str, Any] = {}
    of_cells: dict[str, Any] = {}
    for name, column in rows.items():
        if name in _SETUP_CODES:
            of_rows[name] = pd.Categorical(column[order], categories=_SETUP_CODES[name])
        elif name in _OF_A_CAPTURE or name in _OUTCOMES:
            of_rows[name] = column[order].astype(float) if name in _OUTCOMES else column[order]
        elif name not in _CODES_OF_A_CELL:
            of_cells[name] = pd.Categorical(column[first])
    return Captures(
        np.diff(np.r_[starts, n_rows]), rows["rider"][first], knee_of[first], rows.get("visit", rows["session_knee"])[first],
        rows.get("rider_id", rows["rider"])[first], rows.get("forefoot_angle_deg", none)[first].astype(float),
        np.arange(len(first)), of_cells, of_rows,
    )  # fmt: skip
