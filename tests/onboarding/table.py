"""Prints what it takes to set up each studio: `python -m tests.onboarding.table` (table.md holds the last one)."""

import tempfile
from pathlib import Path
from typing import Final

from tests.onboarding.compared import true_warehouse, wrong_cells
from tests.onboarding.newcomer import SetUp, set_up
from tests.onboarding.scenarios import SCENARIOS, Scenario

TABLE: Final = Path(__file__).with_name("table.md")
_HEAD: Final = (
    "| studio | commands | answers given | mapping lines by hand | by the assistant | wrong cells |",
    "| --- | --- | --- | --- | --- | --- |",
)


def row_of(scenario: Scenario, done: SetUp, n_wrong: int) -> str:
    """One line of the table."""
    counts = (done.tries, len(done.said), done.by_hand, done.written, n_wrong)
    return f"| {scenario.name}: {scenario.about} | {' | '.join(map(str, counts))} |"


def table_text() -> str:
    return TABLE.read_text("utf-8")


def main() -> None:
    """Sets all studios up and writes the table."""
    lines = list(_HEAD)
    for scenario in SCENARIOS:
        with tempfile.TemporaryDirectory() as folder:
            done = set_up(scenario, Path(folder))
            wrong = wrong_cells(scenario, true_warehouse(scenario, Path(folder)), done.warehouse)
        lines.append(row_of(scenario, done, len(wrong)))
        for words in wrong[:5]:
            print(words)  # noqa: T201 (what the command is for)
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(table_text())  # noqa: T201 (what the command is for)


if __name__ == "__main__":
    main()
