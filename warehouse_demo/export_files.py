"""The simulated tables as export files: text cells in the catalogue's columns, one file a table."""

from pathlib import Path
from typing import Any

import pandas as pd

from shared.catalogue import catalogue
from shared.warehouse import write_parquet

_CSV_YEARS = ("2024", "2025")
_PARQUET_YEAR = "2026"


def table_frame(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Rows of one table as text cells in the catalogue's order of columns; an empty cell is None."""
    columns = {column.name: [_cell(row.get(column.name), column.type) for row in rows] for column in catalogue()[name].columns}
    return pd.DataFrame(columns, dtype=object)


def write_exports(tables: dict[str, pd.DataFrame], folder: Path) -> None:
    """One CSV a table; the knee captures in two CSV files and one Parquet file by year.

    UTF-8, comma, ISO dates, an empty cell where a value is missing; the same bytes for the same tables.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in tables.items():
        if name == "knee_captures":
            year = frame["captured_at"].str[:4].fillna(_CSV_YEARS[-1])
            for part in _CSV_YEARS:
                _write_csv(frame[year == part], folder / f"{name}-{part}.csv")
            _write_captures_parquet(frame[year >= _PARQUET_YEAR], folder / f"{name}-{_PARQUET_YEAR}.parquet")
        else:
            _write_csv(frame, folder / f"{name}.csv")


def _write_csv(frame: pd.DataFrame, path: Path) -> None:
    frame.to_csv(path, index=False, lineterminator="\n")


def _write_captures_parquet(frame: pd.DataFrame, path: Path) -> None:
    typed = frame.copy()
    for column in catalogue()["knee_captures"].columns:
        if column.type == "number":
            typed[column.name] = pd.to_numeric(typed[column.name])
        elif column.type == "integer":
            typed[column.name] = pd.to_numeric(typed[column.name]).astype("Int64")
    write_parquet(typed, path)


def _cell(value: Any, kind: str) -> str | None:
    if value is None:
        return None
    if kind == "boolean":
        return str(value).lower()
    return f"{value:g}" if kind == "number" and abs(value) < 1e5 else str(value)
