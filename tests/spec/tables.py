"""Tiny text tables for the specifications: a header, a ruler, rows; a dash is an empty cell."""

from pathlib import Path

from etl import mart
from etl.load import load
from shared.catalogue import catalogue
from shared.warehouse import Warehouse, open_reading


def parsed(text: str) -> tuple[list[str], list[list[str]]]:
    """The header and the cells of a text table."""
    lines = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines() if line.strip()]
    header, *rows = (line for line in lines if not all(set(cell) <= {"-", " "} and len(cell) > 1 for cell in line))
    return header, [["" if cell == "-" else cell for cell in row] for row in rows]


def write_csv(folder: Path, **tables: str) -> Path:
    """Writes each text table as <name>.csv; two underscores in a name stand for a dash (`knee_captures__1`)."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in tables.items():
        header, rows = parsed(text)
        lines = [",".join(header), *(",".join(row) for row in rows)]
        (folder / f"{name.replace('__', '-')}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def fill(warehouse: Warehouse, **tables: str) -> None:
    """Puts text tables straight into core and builds the marts."""
    for name, text in tables.items():
        header, rows = parsed(text)
        for row in rows:
            given = {column: cell for column, cell in zip(header, row, strict=True) if cell}
            casts = ", ".join(f"CAST(${column} AS {catalogue()[name].column(column).sql_type})" for column in given)
            warehouse.run(f'INSERT INTO core."{name}" ({", ".join(given)}) VALUES ({casts})', given)
    mart.build(warehouse)


def loaded(folder: Path, warehouse: Path) -> Warehouse:
    """Loads a folder and opens the warehouse."""
    load([folder], warehouse)
    return open_reading(warehouse)
