"""Tables of which a warehouse holds nothing, and what that costs: what is not recorded is told as such, and never as zero."""

from dataclasses import dataclass

from shared.catalogue import catalogue
from shared.recorded import COSTS, cost_words
from shared.warehouse import Warehouse


@dataclass(frozen=True)
class Absent:
    """A table of which neither these files nor the warehouse hold a row, and what is not told without it."""

    table: str
    cost: str

    @property
    def words(self) -> str:
        return cost_words(self.table)


def absent_tables(warehouse: Warehouse) -> tuple[Absent, ...]:
    """Every table of the contract without a current row, as it stands after the load; rows that wait are there."""
    return tuple(
        Absent(name, COSTS[name])
        for name in catalogue()
        if not warehouse.value(f'SELECT count(*) FROM raw."{name}" WHERE superseded_by IS NULL')
    )
