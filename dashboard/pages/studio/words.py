"""The words of the Studio page, read once."""

from pathlib import Path
from typing import Final

from dashboard.components.text import read_text

TEXT: Final = read_text(Path(__file__).with_name("text.md"))
