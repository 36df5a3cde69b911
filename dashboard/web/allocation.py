"""Keeps the memory that a finished answer frees for the next one.

Arrays of many captures are larger than what the C library keeps: it gives each back to the system and asks for every page of
it anew, up to a fifth of the effects' time at a million captures. GNU's C library only, see mallopt(3); elsewhere nothing is
changed.
"""

import ctypes
import sys
from typing import Final

# Numbers of <malloc.h>.
_TRIM_THRESHOLD, _TOP_PAD, _MMAP_MAX, _ARENA_MAX = -1, -2, -4, -8
KEPT_BYTES: Final = 512 * 1024**2
_ASKED_AT_ONCE_BYTES: Final = 64 * 1024**2


def keep_freed_memory() -> bool:
    """Keeps up to KEPT_BYTES, for all threads in one place; whether the library took it. Call before threads start."""
    if not sys.platform.startswith("linux"):
        return False
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is None:
        return False
    asked = ((_ARENA_MAX, 1), (_MMAP_MAX, 0), (_TRIM_THRESHOLD, KEPT_BYTES), (_TOP_PAD, _ASKED_AT_ONCE_BYTES))
    return all(mallopt(name, value) == 1 for name, value in asked)
