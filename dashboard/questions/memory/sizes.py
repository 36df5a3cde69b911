"""How many bytes an object holds in memory, with all that it leads to."""

import sys
from collections.abc import Iterable, Sequence, Set
from types import FunctionType, MethodType, ModuleType
from typing import Any, Final

import numpy as np

# A longer list, or array of objects, is measured by so many of its elements, evenly taken.
_MEASURED: Final = 500
_A_PLACE: Final = 8
_A_FLOAT: Final = sys.getsizeof(0.0)
# What many share, and what costs no memory of its own.
_SHARED: Final = (type, ModuleType, type(None), bool)


def held_bytes(*values: Any) -> int:
    """Bytes of memory that the values hold together; what several lead to counts once, a view as the array it looks into.

    What a function keeps for its calls counts with it. Of a long list some elements stand for all.
    """
    return _Held().of(values)


class _Held:
    def __init__(self) -> None:
        # The measured themselves, not their ids alone: an id is given anew when its object is gone.
        self._seen: dict[int, Any] = {}

    def of(self, values: Iterable[Any]) -> int:
        return sum(map(self._one, values))

    def _one(self, value: Any) -> int:
        if type(value) is float:
            return _A_FLOAT
        if isinstance(value, np.ndarray):
            return self._array(value)
        if isinstance(value, _SHARED) or id(value) in self._seen:
            return 0
        self._seen[id(value)] = value
        return sys.getsizeof(value) + self._within(value)

    def _array(self, array: np.ndarray[Any, Any]) -> int:
        while isinstance(array.base, np.ndarray):
            array = array.base
        if id(array) in self._seen:
            return 0
        self._seen[id(array)] = array
        return array.nbytes + (self._some(array.ravel()) if array.dtype == object else 0)

    def _within(self, value: Any) -> int:
        if isinstance(value, str | bytes | bytearray | int | float):
            return 0
        if isinstance(value, dict):
            return self.of(value.keys()) + self.of(value.values())
        if isinstance(value, tuple | list | Set):
            return self._some(value if isinstance(value, Sequence) else tuple(value))
        if isinstance(value, FunctionType):
            return self.of(_kept(value))
        if isinstance(value, MethodType):
            return self._one(value.__self__)
        named = getattr(value, "__dict__", {}).values()
        # The interpreter tells the size of an object without the places of its fields.
        return _A_PLACE * (len(named) + 2) + self.of((*named, *getattr(value, "args", ())))

    def _some(self, values: Any) -> int:
        n = len(values)
        if n <= 2 * _MEASURED:
            return self.of(values)
        some = values[:: n // _MEASURED]
        return round(self.of(some) * n / len(some))


def _kept(function: FunctionType) -> Iterable[Any]:
    """The objects that a function keeps alive from the scope in which it was defined."""
    for cell in function.__closure__ or ():
        try:
            yield cell.cell_contents
        except ValueError:  # not filled yet
            continue
