"""Tables of which a warehouse holds nothing, and what that costs: what is not recorded is told as such, and never as zero."""

from dataclasses import dataclass

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
    """Every table without a current row that something is told from; rows that wait are there. Of a studio that draws nothing,
    nothing is missing."""
    return tuple(
        Absent(name, COSTS[name])
        for name in COSTS
        if "." not in name and not warehouse.value(f'SELECT count(*) FROM raw."{name}" WHERE superseded_by IS NULL')
    )
