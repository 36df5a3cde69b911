"""The recovery table is that of the code as it stands: whoever changes the statistics runs `make recovery` anew."""

import re

from tests.recovery.scenarios import scenarios
from tests.recovery.table import RESTS_ON, SIZES, TABLE, code
from tests.sources import ROOT, code_of, digest

# Of each scenario and size; each size rests on 22 times as many.
LEAST_STUDIOS = 250


def test_the_table_is_of_this_code() -> None:
    written = re.search(r"on code `([0-9a-f]{12})`", TABLE.read_text(encoding="utf-8"))
    assert written is not None
    assert written[1] == code(), "the statistics or the scenarios have changed since the table was made: run make recovery"


def test_every_scenario_stands_in_the_table_at_every_size_over_enough_studios() -> None:
    lines = re.findall(r"^\| (.+?) \| (\d+) \|", TABLE.read_text(encoding="utf-8"), re.MULTILINE)
    assert [name for name, _ in lines] == [scenario.name for scenario in scenarios()] * len(SIZES)
    assert all(int(studios) >= LEAST_STUDIOS for _, studios in lines)


def test_the_digest_follows_the_code_and_not_its_comments() -> None:
    assert digest(*RESTS_ON) == digest(*RESTS_ON)
    assert digest(RESTS_ON[0]) != digest(RESTS_ON[1])
    assert {"shared/statistics/mixed/reml.py", "shared/statistics/told.py", "shared/statistics/multiplicity.py"} <= set(
        RESTS_ON
    )
    assert "shared/statistics/funnel.py" not in RESTS_ON
    code = code_of(ROOT / "shared" / "statistics" / "multiplicity.py")
    assert "def benjamini_hochberg" in code
    assert '"""' not in code
