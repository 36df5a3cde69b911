"""What was known when a change was decided, brought to fitted instruments, one a support."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cross_products import cross_product
from shared.statistics.sequential.deviations import Deviations

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FOLDS = 5
# Captures from this place on share one first stage: sessions that long are few.
_LAST_PLACE = 4
# Added to the squares of each column of what was known, scaled to one: as if so many rows had told of no connection.
_RIDGE = 3.0


@dataclass(frozen=True)
class Foreseen:
    """Each support's deviation (m, supports) as foreseen from all that was known, and from setup and exam alone."""

    by_all: Floats
    by_setup: Floats


def foreseen(found: Deviations, supports: int, known: Floats, rider: Ints) -> Foreseen:
    """The deviations of the supports as foreseen from what was known before each capture.

    Known: at each place of the session the exam (known: cells, k, an intercept among them) and the setup at the capture; from
    the second capture on also by how much the setup had changed from its mean before, which supports had changed, and the mean
    outcome before, never that of the capture itself. The first `supports` columns of found are the supports, the last is the
    outcome. rider (m,): codes. Ridge regression; riders are foreseen from the other riders, in FOLDS turns, so that many
    columns foresee no noise.
    """
    fold = rider % FOLDS
    by_all, by_setup = np.zeros((2, len(rider), supports))
    last = min(int(found.place.max(initial=0)), _LAST_PLACE)
    for place in range(last + 1):
        here = np.flatnonzero(found.place == place if place < last else found.place >= place)
        told = _known(found, here, supports, known, place)
        n_setup = known.shape[1] + supports
        by_all[here], by_setup[here] = _in_turns(told, n_setup, found.values[here, :supports], fold[here])
    return Foreseen(by_all, by_setup)


def _known(found: Deviations, here: Ints, supports: int, known: Floats, place: int) -> Floats:
    setup = found.present[here, :supports]
    columns = [known[found.cell[here]], setup]
    if place:
        moved = setup - found.before[here, :supports]
        columns += [moved, (moved != 0).astype(float), found.before[here, -1:]]
    return np.concatenate(columns, axis=1, dtype=np.float64)


def _in_turns(told: Floats, n_setup: int, wanted: Floats, fold: Ints) -> tuple[Floats, Floats]:
    """The wanted columns foreseen from all columns of told, and from the first n_setup."""
    both, k = np.column_stack([told, wanted]), told.shape[1]
    turns = [np.flatnonzero(fold == number) for number in range(FOLDS)]
    of_turn = [cross_product(both[own], both[own]) for own in turns]
    total = np.sum(of_turn, axis=0)
    by_all, by_setup = np.empty((2, *wanted.shape))
    for own, products in zip(turns, of_turn, strict=True):
        others = total - products
        squares = np.diag(others)[:k]
        others[np.arange(k), np.arange(k)] += np.where(squares > 0, squares * _RIDGE / max(len(told) - len(own), 1), 1.0)
        by_all[own] = told[own] @ np.linalg.solve(others[:k, :k], others[:k, k:])
        by_setup[own] = told[own, :n_setup] @ np.linalg.solve(others[:n_setup, :n_setup], others[:n_setup, k:])
    return by_all, by_setup
