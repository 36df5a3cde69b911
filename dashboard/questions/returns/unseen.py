"""Those who did not come back, beside those who did: what was known of both when they left."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.symmetry.both_sides import mean_of_sides, side_difference
from shared.errors import StatisticsError
from shared.statistics.clustered.means import Estimate
from shared.statistics.design import Design, filled, of_columns
from shared.statistics.unseen import mean_if_alike, weights_of_seen

Rows = dict[str, NDArray[Any]]
Array = NDArray[np.float64]

_KNOWN = (
    "off_neutral_arrival_deg",
    "off_neutral_departure_deg",
    "side_difference_departure_deg",
    "sway_departure_mm",
    "pain_arrival",
    "pain_departure",
    "comfort_arrival",
    "comfort_departure",
)


@dataclass(frozen=True)
class Left:
    """The fits whose window has closed, from the rows of returns_fits.sql."""

    rows: Rows

    @cached_property
    def known(self) -> Design:
        """What was known of each when its rider left. Whether a follow-up was booked is no part of it: who has none is not
        seen, so that no one seen stands for him."""
        rows = self.rows
        tilt = {when: (rows[f"tilt_left_{when}"], rows[f"tilt_right_{when}"]) for when in ("arrival", "departure")}
        found = {f"off_neutral_{when}_deg": mean_of_sides(*(np.abs(side) for side in sides)) for when, sides in tilt.items()}
        found["side_difference_departure_deg"] = np.abs(side_difference(*tilt["departure"]))
        found["sway_departure_mm"] = mean_of_sides(rows["sway_left_departure"], rows["sway_right_departure"])
        found.update({name: rows[name] for name in _KNOWN if name in rows})
        measures = {name: values.astype(float) for name, values in found.items()}
        return of_columns({**filled(measures, _KNOWN), "refit": rows["is_refit"].astype(float)}, len(rows["rider"]))

    @cached_property
    def _weights(self) -> dict[bytes, Array]:
        return {}

    def _weights_of(self, seen: NDArray[np.bool_]) -> Array:
        """The weights of those seen; worked out once where the same fits were seen, as of pain and satisfaction."""
        key = seen.tobytes()
        if key not in self._weights:
            self._weights[key] = weights_of_seen(seen, self.known.design, self.known.terms)
        return self._weights[key]

    def mean_of_all(self, values: Array, fit_no: NDArray[Any], rider: NDArray[Any], level: float) -> Estimate | None:
        """The mean of rows (n,), NaN where not seen, each of a fit, if those not seen are as those who were alike when they
        left.

        None where too few were seen, or not, to tell who comes back.
        """
        at = np.searchsorted(self.rows["fit_no"], fit_no)
        seen = np.zeros(len(self.rows["fit_no"]), dtype=bool)
        seen[at[np.isfinite(values)]] = True
        try:
            weight = self._weights_of(seen)
            return mean_if_alike(values, np.where(np.isfinite(values), weight[at], 0.0), self.known.design[at], rider, level)
        except StatisticsError:
            return None
