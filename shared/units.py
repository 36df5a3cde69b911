"""Unit suffixes of column names, conversions, and how many decimals a quantity is shown with.

Conversions are pint's. A unit that is not listed here is refused: the project never guesses one.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from shared.errors import UsageError


@dataclass(frozen=True)
class Unit:
    """A unit of the contract: its column suffix, pint's name for it, its printed sign, and its decimals."""

    suffix: str
    pint_name: str
    sign: str
    decimals: int


UNITS: dict[str, Unit] = {
    "deg": Unit("_deg", "degree", "°", 1),
    "mm": Unit("_mm", "millimeter", "mm", 1),
    "cm": Unit("_cm", "centimeter", "cm", 0),
    "kg": Unit("_kg", "kilogram", "kg", 1),
    "rpm": Unit("_rpm", "revolutions_per_minute", "rpm", 0),
    "w": Unit("_w", "watt", "W", 0),
    "days": Unit("_days", "day", "days", 0),
}


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@lru_cache(maxsize=256)
def conversion_factor(source: str, target: str) -> float:
    """How many `target` units one `source` unit is.

    Raises UsageError where pint does not know a unit or the two measure different things.
    """
    import pint

    try:
        return float(_registry().Quantity(1.0, source).to(target).magnitude)
    except (pint.errors.UndefinedUnitError, pint.errors.DimensionalityError) as fault:
        raise UsageError(
            f"Unit {source!r} cannot be turned into {target!r}: {fault}. Expected a unit of the same kind, "
            "such as mm, cm or in for a length and deg or rad for an angle. Correct the unit."
        ) from fault
