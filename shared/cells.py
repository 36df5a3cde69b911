"""Cells as numpy holds them."""

from typing import Any

import numpy as np


def filled(array: Any) -> np.ndarray[Any, Any]:
    """A column as a plain array: missing numbers are NaN, missing texts None."""
    if not hasattr(array, "filled"):  # a masked array is what holds empty cells
        return np.asarray(array)
    if array.dtype == object:
        # filled(None) would write numpy's own "?" into the empty cells.
        cells = np.array(array.data, dtype=object)
        cells[np.ma.getmaskarray(array)] = None
        return cells
    if array.dtype.kind in "iub":
        return np.asarray(array.astype(float).filled(np.nan) if np.ma.is_masked(array) else array.data)
    return np.asarray(array.filled(np.nan) if array.dtype.kind == "f" else array.filled())
