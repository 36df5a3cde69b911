"""What the studios of all scenarios write alike: decimal commas, days, files."""

from pathlib import Path
from typing import Any

import pandas as pd

Tables = dict[str, pd.DataFrame]


def comma(cell: str) -> str:
    """A number with a decimal comma."""
    return "" if cell in ("", "nan") else cell.replace(".", ",")


def save(rows: list[dict[str, Any]], path: Path, sep: str = ",", encoding: str = "utf-8") -> None:
    """Writes rows as a CSV file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pd.DataFrame(rows).to_csv(path, sep=sep, index=False, encoding=encoding)


def day(cell: str) -> str:
    """2024-03-19 as 19/03/2024."""
    return "" if cell in ("", "nan", "NaT") else f"{cell[8:10]}/{cell[5:7]}/{cell[:4]}"
