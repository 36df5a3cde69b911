"""Tables of which a warehouse holds nothing, and what that costs: what is not recorded is told as such, and never as zero."""

from dataclasses import dataclass
from typing import Final

from shared.warehouse import Warehouse

_COSTS: Final = {
    "riders": "visits name riders who are not there, so that none of them is taken in",
    "fitters": "visits name fitters who are not there, so that none of them is taken in",
    "fit_sessions": "no visit is known: captures, exams and setups wait for theirs, and nothing is told",
    "foot_exams": "nothing is told by type of foot: no effect of a support for a low arch or a varus forefoot, no agreement of "
    "fitters on feet",
    "knee_captures": "tilt, sway and offset are not told: no change over a fit, no effect of any support, no noise",
    "foot_setups": "no effect of insoles, shims or stance is told, nor the noise, which comes from captures in which nothing "
    "was changed",
    "bike_measures": "a rider's page does not tell what was changed on the bicycle",
    "rider_ratings": "comfort and what else riders say before and after is not told",
    "follow_ups": "what was booked, who is overdue and how a setup was liked is not told: no rate of returns stands on it",
}


@dataclass(frozen=True)
class Absent:
    """A table of which neither these files nor the warehouse hold a row, and what is not told without it."""

    table: str
    cost: str

    @property
    def words(self) -> str:
        return f"{self.table} is not recorded: {self.cost}."


def absent_tables(warehouse: Warehouse) -> tuple[Absent, ...]:
    """Every table without a current row that something is told from; rows that wait are there. Of a studio that draws nothing,
    nothing is missing."""
    return tuple(
        Absent(name, _COSTS[name])
        for name in _COSTS
        if not warehouse.value(f'SELECT count(*) FROM raw."{name}" WHERE superseded_by IS NULL')
    )
