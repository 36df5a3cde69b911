"""A small part of `python -m tests.recovery.rig_table`: each fault of a rig is found at each studio, none where none is."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from shared.rig.findings import RigFinding
from shared.rig.recorded import Recorded, recorded
from shared.rig.watch import findings_of
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.recovery.rig_faults import BY_NAME, FAULTS, looks, until, with_fault
from tests.recovery.rig_table import BEGINS

NAMES = {0: "quayside", 1: "ropewalk"}


@pytest.fixture(scope="module")
def sound(demo_warehouse: Path) -> Recorded:
    warehouse = open_reading(demo_warehouse)
    try:
        return recorded(warehouse)
    finally:
        warehouse.close()


def found_with(rows: Recorded, name: str) -> tuple[RigFinding, ...]:
    return findings_of(with_fault(rows, BY_NAME[name], BEGINS, np.random.default_rng(3)), NAMES, Settings())


@pytest.mark.recovery
@pytest.mark.parametrize("fault", FAULTS[1:], ids=lambda fault: fault.name)
def test_a_fault_is_found_at_each_studio(sound: Recorded, fault: object) -> None:
    found = found_with(sound, fault.name)
    assert {finding.studio for finding in found} == {"quayside", "ropewalk"}
    assert {(finding.kind, finding.quantity) for finding in found} == {(fault.kind, "tilt")}
    if fault.since and fault.kind != "exchange":
        for finding in found:
            assert (
                finding.since_low <= date(2025, 12, 1) <= finding.since_high
                or abs((finding.since - date(2025, 12, 1)).days) < 45
            )


@pytest.mark.recovery
def test_sizes_come_back(sound: Recorded) -> None:
    for name, true in (
        ("zero moves by 1.5° on a day", 1.5),
        ("zero drifts by 0.08° a month", 0.08),
        ("right 1.4° out against left from a day on", 1.4),
        ("left and right exchanged, always", 1.0),
        ("left and right exchanged in 15 % of captures", 0.15),
    ):
        for finding in found_with(sound, name):
            assert finding.low <= true <= finding.high or abs(finding.estimate - true) < 0.2 * true, (name, finding.words)


@pytest.mark.recovery
def test_a_sound_rig_is_left_alone(sound: Recorded) -> None:
    """The demo has a change of practice and no fault of a rig; each quarter's look is silent too."""
    assert findings_of(sound, NAMES, Settings()) == ()
    first = int(sound.arrivals["day"].min())
    assert [finding.words for _, seen in looks(sound, first, 91) for finding in findings_of(seen, NAMES, Settings())] == []


@pytest.mark.recovery
def test_a_step_is_found_within_a_quarter_at_the_larger_studio(sound: Recorded) -> None:
    faulty = with_fault(sound, BY_NAME["zero moves by 1.5° on a day"], BEGINS, np.random.default_rng(3))
    seen = findings_of(until(faulty, BEGINS + 91), NAMES, Settings())
    assert "quayside" in {finding.studio for finding in seen if finding.kind == "step"}


@pytest.mark.recovery
def test_one_studio_s_fault_is_not_the_other_s(sound: Recorded) -> None:
    fault = BY_NAME["zero moves by 1.5° on a day"]
    parts = [
        rows if number else with_fault(rows, fault, BEGINS, np.random.default_rng(3)) for number, rows in sound.by_studio()
    ]
    both = Recorded(
        *(
            {name: np.concatenate([getattr(part, table)[name] for part in parts]) for name in getattr(sound, table)}
            for table in ("arrivals", "captures")
        )
    )
    assert {finding.studio for finding in findings_of(both, NAMES, Settings())} == {"quayside"}


@pytest.mark.recovery
def test_where_supports_do_nothing_no_exchange_is_found(sound: Recorded) -> None:
    """Differences that follow nothing: a coefficient of the feet cannot turn them round."""
    rng = np.random.default_rng(8)
    captures = dict(sound.captures)
    for side in ("left", "right"):
        captures[f"tilt_{side}"] = captures[f"tilt_{side}_before"] + rng.normal(0, 0.8, len(captures["day"]))
    found = findings_of(Recorded(sound.arrivals, captures), NAMES, Settings())
    assert [finding.words for finding in found if finding.kind == "exchange"] == []
