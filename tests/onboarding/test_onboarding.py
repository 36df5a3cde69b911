"""A new studio from its own files to true figures: by the commands alone, without a line of a mapping or a script by hand."""

from pathlib import Path

import pytest

from tests.onboarding.compared import figures_of, true_warehouse, wrong_cells
from tests.onboarding.newcomer import set_up
from tests.onboarding.scenarios import SCENARIOS, Scenario
from tests.onboarding.table import row_of, table_text


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_every_cell_and_every_figure_is_the_truth(scenario: Scenario, tmp_path: Path) -> None:
    done = set_up(scenario, tmp_path)
    assert done.likely.items() >= scenario.proposes.items()
    truth = true_warehouse(scenario, tmp_path)
    assert not wrong_cells(scenario, truth, done.warehouse)
    expected, found = figures_of(truth), figures_of(done.warehouse)
    assert expected.keys() == found.keys()
    for key, value in expected.items():
        near = pytest.approx(value, abs=2e-2) if isinstance(value, float) else value
        assert found[key] == near, key
    assert sum(value is not None for value in expected.values()) > 8
    # What the table tells is what was done.
    assert done.tries <= 4 and done.by_hand == 0 and done.written <= 30
    assert row_of(scenario, done, 0) in table_text()
