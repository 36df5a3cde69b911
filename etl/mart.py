"""Builds the marts: wide tables of stated grain, what questions read. Facts only; classes that depend on a setting are
made where they are asked for."""

from pathlib import Path

from shared.warehouse import Warehouse

SQL = Path(__file__).with_name("sql") / "mart"
MARTS = ("fit_numbers", "capture_facts", "feet", "fits", "captures", "knees", "ratings")


def build(warehouse: Warehouse) -> None:
    """Rebuilds every mart from core, in an order in which each finds its inputs."""
    for name in MARTS:
        warehouse.run(SQL / f"{name}.sql")
