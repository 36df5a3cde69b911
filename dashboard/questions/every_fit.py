"""What is read once a snapshot for every fit there is, and which of the fits a selection asks for."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.scope import SQL, Scope, fragments
from dashboard.questions.selection import Selection
from shared.warehouse import Warehouse

# Gives what is remembered under a key in one snapshot, or makes it.
Remember = Callable[[tuple[Any, ...], Callable[[], Any]], Any]
Table = Mapping[str, NDArray[Any]]
Ints = NDArray[np.int64]

# Words of a selection by which knees of one fit part: what they ask for is no choice of whole fits.
_OF_A_FOOT = ("side", "arch_height", "forefoot")


def at_once(_key: tuple[Any, ...], make: Callable[[], Any]) -> Any:
    """Remembers nothing."""
    return make()


def every_fit(scope: Scope) -> Scope:
    """The scope of all fits, whatever is selected; its counts and words stay those of the selection."""
    return replace(scope, parameters={**scope.parameters, **Selection().parameters()})


def places_of(warehouse: Warehouse, scope: Scope, fit_no: Ints) -> Ints:
    """Where the selected fits stand in `fit_no` (n,), the rising numbers of all fits."""
    selected = warehouse.arrays(SQL / "fit_nos.sql", scope.parameters, **fragments())["fit_no"]
    return np.searchsorted(fit_no, selected)


def read_or_cut(warehouse: Warehouse, scope: Scope, sql: str, remember: Remember | None) -> dict[str, NDArray[Any]]:
    """The rows of a named .sql that the selection asks for; each row carries a `fit_no`, and rows stand by it.

    With `remember`, cut out of those of all fits; read anew where a side or a kind of foot is selected.
    """
    if remember is None or any(scope.parameters[word] is not None for word in _OF_A_FOOT):
        return warehouse.arrays(SQL / sql, scope.parameters, **fragments())
    table: Table = remember(("rows", sql), lambda: warehouse.arrays(SQL / sql, every_fit(scope).parameters, **fragments()))
    if all(scope.parameters[word] is None for word in Selection().parameters()):
        return dict(table)
    selected = warehouse.arrays(SQL / "fit_nos.sql", scope.parameters, **fragments())["fit_no"]
    is_chosen = np.zeros(max(table["fit_no"].max(initial=0), selected.max(initial=0)) + 1, dtype=bool)
    is_chosen[selected] = True
    return rows_at(table, np.flatnonzero(is_chosen[table["fit_no"]]))


def rows_at(table: Table, places: Ints) -> dict[str, NDArray[Any]]:
    """The rows of `table` at rising places; where these are all, its own columns, which nobody may write to."""
    if len(places) == len(next(iter(table.values()))):
        return dict(table)
    return {name: column[places] for name, column in table.items()}
