"""Whether this machine can draw and print: Chromium, and what drives it."""

import shutil
from importlib.util import find_spec
from typing import Final

_NAMES: Final = ("chromium", "chromium-browser", "google-chrome", "chrome")


def missing() -> str:
    """What keeps this machine from drawing and printing, as a sentence; empty where nothing does."""
    if chromium() is None:
        return (
            "The report needs Chromium to draw its charts; found none on this machine. Install it (Debian: apt-get install "
            "chromium) and try again."
        )
    if find_spec("playwright") is None:
        return (
            "The report needs the package playwright, which drives Chromium. Install it with pip install 'fitledger[report]'."
        )
    return ""


def chromium() -> str | None:
    """Where this machine has Chromium; None where it has none."""
    return next((path for name in _NAMES if (path := shutil.which(name))), None)
