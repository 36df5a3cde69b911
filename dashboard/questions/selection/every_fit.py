"""What is read once a snapshot for every fit there is, and which of the fits and feet a selection asks for."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.memory.remembering import Remember as Remember  # noqa: PLC0414 (its place for questions)
from dashboard.questions.memory.remembering import at_once as at_once  # noqa: PLC0414
from dashboard.questions.selection import SQL
from dashboard.questions.selection.scope import Scope, fragments
from dashboard.questions.selection.selection import Selection
from shared.warehouse import Warehouse

Table = Mapping[str, NDArray[Any]]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

# Words of a selection by which the knees of one fit part.
_OF_A_FOOT = ("side", "arch_height", "forefoot")


def every_fit(scope: Scope) -> Scope:
    """The scope of all fits, whatever is selected; its counts and words stay those of the selection."""
    return replace(scope, parameters={**scope.parameters, **Selection().parameters()})


def places_of(warehouse: Warehouse, scope: Scope, fit_no: Ints, remember: Remember = at_once) -> Ints:
    """Where the selected fits stand in `fit_no` (n,), the rising numbers of all fits."""
    if _asks_for_all(scope):
        return np.arange(len(fit_no))
    places: Ints = np.searchsorted(fit_no, fits_selected(warehouse, scope, remember))
    return places


def feet_selected(warehouse: Warehouse, scope: Scope, remember: Remember) -> Flags | None:
    """Whether each foot is selected, at 2 * fit_no, and one more on the right; None where no word asks for some feet."""
    if all(scope.parameters[word] is None for word in _OF_A_FOOT):
        return None

    def read() -> Ints:
        feet = warehouse.arrays(SQL / "feet_nos.sql", scope.parameters, **fragments())
        foot: Ints = 2 * feet["fit_no"].astype(np.int64) + feet["side"]
        return foot

    numbers: Ints = remember(("feet_nos", *scope.asked()), read)
    return _flags(numbers)


def read_or_cut(
    warehouse: Warehouse, scope: Scope, sql: Path, remember: Remember | None, **identifiers: str
) -> dict[str, NDArray[Any]]:
    """The rows of a named .sql that the selection asks for, as `cut` takes them."""

    def read(asked: Scope) -> Table:
        return warehouse.arrays(sql, asked.parameters, **{**fragments(), **identifiers})

    return cut(warehouse, scope, sql.name, read, remember)


def cut(
    warehouse: Warehouse, scope: Scope, name: str, read: Callable[[Scope], Table], remember: Remember | None
) -> dict[str, NDArray[Any]]:
    """The rows that `read` finds for the selection; each has a `fit_no`. Nobody may write to a column.

    With `remember`, cut out of those of all fits, which are remembered by `name`. Where rows have a `side` (1: right), each is
    of one foot, and the feet that are not selected are cut off too.
    """
    if remember is None:
        return dict(read(scope))
    table: Table = remember(("rows", name), lambda: _kept(read(every_fit(scope))))
    if _asks_for_all(scope):
        return dict(table)
    feet = feet_selected(warehouse, scope, remember) if "side" in table else None
    if feet is not None:
        return rows_at(table, _chosen(feet, 2 * table["fit_no"].astype(np.int64) + table["side"]))
    return rows_at(table, _chosen(_flags(fits_selected(warehouse, scope, remember)), table["fit_no"]))


def rows_at(table: Table, places: Ints) -> dict[str, NDArray[Any]]:
    """The rows of `table` at rising places; where these are all, its own columns, which nobody may write to."""
    if len(places) == len(next(iter(table.values()))):
        return dict(table)
    return {name: column[places] for name, column in table.items()}


def _kept(table: Table) -> Table:
    """The table, whose columns no question can change for the next one."""
    for column in table.values():
        column.flags.writeable = False
    return table


def _asks_for_all(scope: Scope) -> bool:
    return all(value is None for value in scope.asked())


def fits_selected(warehouse: Warehouse, scope: Scope, remember: Remember) -> Ints:
    """The rising numbers of the selected fits."""
    found: Ints = remember(
        ("fit_nos", *scope.asked()),
        lambda: warehouse.arrays(SQL / "fit_nos.sql", scope.parameters, **fragments())["fit_no"],
    )
    return found


def _flags(numbers: Ints) -> Flags:
    """Whether each number from 0 to the largest is among `numbers`."""
    flags = np.zeros(int(numbers.max(initial=0)) + 1, dtype=bool)
    flags[numbers] = True
    return flags


def _chosen(flags: Flags, numbers: Ints) -> Ints:
    """Which of `numbers` have their flag; those beyond the flags have none."""
    return np.flatnonzero(flags[np.minimum(numbers, len(flags) - 1)] & (numbers < len(flags)))
