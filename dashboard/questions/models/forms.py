"""What supports are held for beside the capture order: an effect that comes late, a drift that differs by arch."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from dashboard.questions.models.captures import Captures
from dashboard.questions.models.frames import LATE, ORDER, Floats, Varying, standard_columns, support_columns

# The arches whose drift is told apart from that of a low one, and of feet without an exam.
ARCHES = ("medium", "high")


@dataclass(frozen=True)
class Form:
    """is_late: each support's change since the capture before is held, so that its effect is that at the later capture;
    by_arch: the capture order is held by arch as well."""

    is_late: bool = False
    by_arch: bool = False

    def columns(self) -> tuple[Varying, ...]:
        """The supports, then what they are held for."""
        supports, order = support_columns(), standard_columns()[len(support_columns()) :]
        late = tuple(_since_before(column) for column in supports) if self.is_late else ()
        return (*supports, *late, *order, *(drift_by_arch() if self.by_arch else ()))


PLAIN = Form()


def drift_by_arch() -> tuple[Varying, ...]:
    """The capture order as a straight line for each arch but the first."""
    return tuple(Varying(ORDER, f"by {arch} arch", _order_of(arch)) for arch in ARCHES)


def _order_of(arch: str) -> Callable[[Captures], Floats]:
    def values(captures: Captures) -> Floats:
        here = (captures.cells["arch_height"] == arch)[captures.cell_of_row]
        return np.asarray(captures.rows["capture_order"] * here, dtype=float)

    return values


def _since_before(column: Varying) -> Varying:
    """What a support changed by since the capture before, 0 at the first and where a capture between is missing."""

    def values(captures: Captures) -> Floats:
        own = column.values(captures)
        changed = np.zeros(len(own))
        changed[1:] = own[1:] - own[:-1]
        changed[~follows(captures, 1)] = 0.0
        return changed

    return Varying(LATE, column.of, values)


def expected_change(captures: Captures, slopes: Mapping[str, float]) -> Floats:
    """What the change of the setup since the capture before does (rows,), slopes being each support's effect."""
    changes = [
        slopes[column.of] * _since_before(column).values(captures) for column in support_columns() if column.of in slopes
    ]
    return np.asarray(sum(changes, np.zeros(len(captures))))


def follows(captures: Captures, captures_before: int) -> np.ndarray:
    """Whether each row is that of the same knee and visit, so many captures after the row as many places before it (rows,)."""
    cell, order, k = captures.cell_of_row, captures.rows["capture_order"], captures_before
    found = np.zeros(len(cell), dtype=bool)
    found[k:] = (cell[k:] == cell[:-k]) & (order[k:] - order[:-k] == k)
    return found
