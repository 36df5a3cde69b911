"""Did a fit hold? One rule for every page, list and sentence (METHODS.md, Returns).

A knee held when the follow-up first found its tilt no further from neutral than the fit left it, up to the smallest real
change. A fit held when each knee that it left on record was found again and held; it did not hold when one knee did not.
"""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data.answers_noise import Noise, NoiseRow
from dashboard.questions.followed import SQL
from dashboard.questions.selection.every_fit import Remember, read_or_cut
from dashboard.questions.selection.scope import Scope
from shared.warehouse import Warehouse

# What becomes of a fit that asks for a follow-up, in the order in which it is told. not_measured: seen again, yet a knee's
# tilt is missing at either end, or the smallest real change is not known. waiting: not seen again, and its window is open.
BECAME: Final = ("held", "not_held", "not_measured", "not_seen", "waiting")
HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN, WAITING = BECAME
SIDES: Final = ("left", "right")
Rows = Mapping[str, NDArray[Any]]


def followed_fits(warehouse: Warehouse, scope: Scope, remember: Remember | None = None) -> Rows:
    """The selected fits that ask for a follow-up, by date, as followed_fits.sql tells them; none where no follow-up is
    recorded, so that none is told not to have been seen."""
    fits = read_or_cut(warehouse, scope, SQL / "followed_fits.sql", remember)
    return {name: column[:0] for name, column in fits.items()} if scope.recorded.instead("return_rate") else fits


def known_noise(noise: Noise | None) -> dict[str, NoiseRow]:
    """The typical errors by which fits are judged: from repeat captures, or assumed by the studio; no residual of a model."""
    return {row.outcome: row for row in noise.noise if row.known_by in ("repeats", "assumed")} if noise else {}


def further_from_neutral(departure: Any, found: Any) -> Any:
    """How much further from neutral a knee was found than it was left; negative where it was found nearer."""
    return np.abs(found) - np.abs(departure)


def became_of(fits: Rows, mdc95: float | None) -> NDArray[np.int8]:
    """What became of each fit (n,), as its place in BECAME. `mdc95`: the smallest real change of tilt, None where not known."""
    left = np.column_stack([fits[f"tilt_{side}_departure_deg"].astype(float) for side in SIDES])
    found = np.column_stack([fits[f"tilt_{side}_found_deg"].astype(float) for side in SIDES])
    further, was_left = further_from_neutral(left, found), np.isfinite(left)
    is_lost = np.zeros(len(left), bool) if mdc95 is None else (further > mdc95).any(axis=1)
    is_whole = was_left.any(axis=1) & (np.isfinite(further) | ~was_left).all(axis=1)
    seen, closed = fits["is_seen"].astype(bool), fits["is_closed"].astype(bool)
    kinds = [seen & is_lost, seen & is_whole & (mdc95 is not None), seen, closed]
    codes = [BECAME.index(name) for name in (NOT_HELD, HELD, NOT_MEASURED, NOT_SEEN)]
    return np.select(kinds, codes, BECAME.index(WAITING)).astype(np.int8)
