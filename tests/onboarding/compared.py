"""Whether what was loaded is the truth: every cell of every table, and the figures that follow."""

from pathlib import Path
from typing import Any, Final

import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.errors import NotRecordedError
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.conftest import TODAY
from tests.onboarding.scenarios import Scenario

# Exports round to a thousandth of a unit or so.
_NEAR: Final = 2e-3
# Figures of each page, by question, list and fields.
_FIGURES: Final = (
    ("studio", "figures", ("estimate", "low", "high", "n")),
    ("asymmetry", "prevalence", ("share", "n_riders")),
    ("returns", "figures", ("estimate", "low", "high", "n")),
    ("effects", "effects", ("told_low", "told_high", "n_changes")),
    ("noise", "noise", ("typical_error", "n_pairs")),
)


def true_warehouse(scenario: Scenario, folder: Path) -> Path:
    """The truth, loaded in the contract's own form."""
    exports = folder / "truth"
    exports.mkdir(parents=True)
    for name, frame in scenario.truth().items():
        frame.to_csv(exports / f"{name}.csv", index=False)
    load([exports], folder / "truth.duckdb")
    return folder / "truth.duckdb"


def rows_of(path: Path, table: str, columns: tuple[str, ...]) -> list[tuple[Any, ...]]:
    warehouse = open_reading(path)
    try:
        listed = ", ".join(f'"{column}"' for column in columns)
        return [tuple(row.values()) for row in warehouse.rows(f'SELECT {listed} FROM core."{table}" ORDER BY ALL')]
    finally:
        warehouse.close()


def wrong_cells(scenario: Scenario, truth: Path, found: Path) -> list[str]:
    """What differs from the truth, a line each: a table of another length, or a cell."""
    wrong = []
    for table, columns in scenario.columns.items():
        expected, loaded = rows_of(truth, table, columns), rows_of(found, table, columns)
        if len(expected) != len(loaded):
            wrong.append(f"{table}: {len(loaded)} rows where there are {len(expected)}")
            continue
        for one, other in zip(expected, loaded, strict=True):
            wrong += [
                f"{table}.{name} of {one[0]}: {b} where it is {a}"
                for name, a, b in zip(columns, one, other, strict=True)
                if not _alike(a, b)
            ]
    return wrong


def _alike(one: Any, other: Any) -> bool:
    return bool(other == pytest.approx(one, abs=_NEAR)) if isinstance(one, float) else bool(one == other)


def figures_of(path: Path) -> dict[tuple[str, ...], Any]:
    """The figures of each page by question, row and field; of what is not recorded which tables are absent."""
    asker = Asker(path, Settings(), lambda: TODAY)
    figures: dict[tuple[str, ...], Any] = {}
    for question, rows, names in _FIGURES:
        try:
            answer = asker.ask(question, Selection())
        except NotRecordedError as refusal:
            figures[question,] = refusal.absent
            continue
        for at, row in enumerate(getattr(answer, rows)):
            figures |= {(question, str(at), name): getattr(row, name) for name in names}
    return figures
