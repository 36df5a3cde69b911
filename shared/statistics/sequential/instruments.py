"""What was known when a change was decided, brought to fitted instruments, one a support."""

from collections.abc import Iterator
from itertools import pairwise

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


# Less than that is rounding: of what did not change since before.
_NO_CHANGE = 1e-9


class FirstStage:
    """What foresees the deviations of the supports: learnt from all blocks of cells first, then asked of each.

    Known at each place of the session are the exam (k columns, an intercept among them) and the setup at the capture; from the
    second capture on also by how much the setup had changed from its mean before, which supports had changed, and the mean
    outcome before, never that of the capture itself. Ridge regression; riders are foreseen from the other riders, in FOLDS
    turns, so that many columns foresee no noise.
    """

    def __init__(self, supports: int, n_known: int) -> None:
        self.supports, self.n_setup = supports, n_known + supports
        widths = [self.n_setup + supports + (2 * supports + 1) * (place > 0) for place in range(_LAST_PLACE + 1)]
        self._products = [np.zeros((FOLDS, width, width)) for width in widths]
        self._counts = np.zeros((len(widths), FOLDS))
        self._weights: list[Floats] = []

    def learn(self, found: Deviations, known: Floats, turn: Ints) -> None:
        """Adds a block: the first columns of found are the supports, its last is the outcome; known (cells, k); turn (cells,):
        of the cell's rider, 0 to FOLDS - 1."""
        for place, _, told, bounds in self._by_turn(found, known, turn):
            self._counts[place] += np.diff(bounds)
            for number, (start, end) in enumerate(pairwise(bounds)):
                self._products[place][number] += cross_product(told[start:end], told[start:end])

    def foreseen(self, found: Deviations, known: Floats, turn: Ints) -> Floats:
        """The supports' deviations (m, 2 supports) of a block as foreseen from all that was known, and from setup and exam
        alone; after all blocks were learnt from."""
        if not self._weights:
            self._weights = [
                self._learnt(products, counts) for products, counts in zip(self._products, self._counts, strict=True)
            ]
        both = np.empty((len(found.place), 2 * self.supports))
        for place, here, told, bounds in self._by_turn(found, known, turn):
            for weights, (start, end) in zip(self._weights[place], pairwise(bounds), strict=True):
                both[here[start:end]] = told[start:end, : len(weights)] @ weights
        return both

    @property
    def learnt(self) -> float:
        """How many coefficients were learnt for each support, as if from all rows: each turn learns from four fifths."""
        columns = [products.shape[1] - self.supports for products in self._products]
        return float((self._counts.sum(axis=1) > 0) @ columns) * FOLDS / (FOLDS - 1)

    def _by_turn(self, found: Deviations, known: Floats, turn: Ints) -> Iterator[tuple[int, Ints, Floats, Ints]]:
        """At each place: it, the rows by turn, what was known of them before their deviations, and the bounds of the turns."""
        of_row = np.minimum(found.place, _LAST_PLACE) * FOLDS + turn.take(found.cell)
        order = np.argsort(of_row.astype(np.uint8), kind="stable")
        ends = np.append(0, np.cumsum(np.bincount(of_row, minlength=len(self._products) * FOLDS)))
        for place in range(len(self._products)):
            bounds = ends[place * FOLDS : (place + 1) * FOLDS + 1]
            here = order[bounds[0] : bounds[-1]]
            if len(here):
                yield place, here, self._known(found, known, here, place), bounds - bounds[0]

    def _known(self, found: Deviations, known: Floats, here: Ints, place: int) -> Floats:
        setup = found.present.take(here, axis=0)[:, : self.supports]
        columns = [known.take(found.cell.take(here), axis=0), setup]
        if place:
            before = found.before.take(here, axis=0)
            moved = setup - before[:, : self.supports]
            columns += [moved, (np.abs(moved) > _NO_CHANGE).astype(float), before[:, -1:]]
        columns.append(found.values.take(here, axis=0)[:, : self.supports])
        return np.concatenate(columns, axis=1, dtype=np.float64)

    def _learnt(self, products: Floats, counts: Floats) -> Floats:
        """The weights (FOLDS, columns, 2 supports) of what was known, each turn's learnt from the others."""
        k = products.shape[1] - self.supports
        weights = np.zeros((FOLDS, k, 2 * self.supports))
        total, rows = products.sum(axis=0), counts.sum()
        for own, count, into in zip(products, counts, weights, strict=True):
            others = total - own
            squares = np.diag(others)[:k]
            others[np.arange(k), np.arange(k)] += np.where(squares > 0, squares * _RIDGE / max(rows - count, 1), 1.0)
            n_setup = self.n_setup
            into[:, : self.supports] = np.linalg.solve(others[:k, :k], others[:k, k:])
            into[:n_setup, self.supports :] = np.linalg.solve(others[:n_setup, :n_setup], others[:n_setup, k:])
        return weights
