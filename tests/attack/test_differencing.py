"""What a fitter can subtract: the attack replayed on the demo, the rule that holds it off on random studios, and two loads.

FITLEDGER_REPLAY_DAYS=365 replays a year of days over all questions; without it some days and the questions that fell first.
"""

import os
from collections.abc import Mapping
from pathlib import Path
from shutil import copyfile
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.questions.door.apart import PLACES, Flags, given_out, parts_to_hide, places_of
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl.keeping.forget import forget
from shared.settings import Settings
from tests.attack.differencing import replay

DAYS = int(os.environ.get("FITLEDGER_REPLAY_DAYS", "0"))
FELL_FIRST = ("ratings", "types", "sides")
LEAST = 3


def test_no_two_answers_tell_of_a_few_riders(demo_warehouse: Path) -> None:
    questions = QUESTIONS if DAYS else FELL_FIRST
    found = replay(demo_warehouse, "F2", days=DAYS or 2, questions=questions, splits=(None, "foot_type") if DAYS else (None,))
    assert [(row.question, row.told, row.examples) for row in found if row.told] == []
    # It is an attack only where it is answered.
    assert min(row.answered for row in found) > 20
    assert min(row.pairs for row in found) > 20


@st.composite
def studios(draw: st.DrawFn) -> tuple[Any, dict[str, dict[Any, Flags]]]:
    """Fits of a few riders, some the reader's own, and three ways to part them, one by the foot."""
    n = draw(st.integers(4, 40))
    number = st.integers(0, 2)
    rider = np.array(draw(st.lists(st.integers(0, 11), min_size=n, max_size=n)))
    own = np.array(draw(st.lists(st.integers(0, 4), min_size=n, max_size=n))) == 0
    families: dict[str, dict[Any, Flags]] = {"all": {"all": np.ones(PLACES * n, dtype=bool)}}
    for name in ("quarter", "kind"):
        level = np.repeat(draw(st.lists(number, min_size=n, max_size=n)), PLACES)
        families[name] = {at: level == at for at in range(3)}
    feet = np.array(draw(st.lists(number, min_size=PLACES * n, max_size=PLACES * n)))
    families["arch"] = {at: feet == at for at in range(2)}
    return places_of(np.arange(n), rider, own), families


@settings(max_examples=80, deadline=None, derandomize=True)
@given(studios())
def test_groups_that_are_given_out_stand_apart_pair_by_pair(studio: tuple[Any, dict[str, dict[Any, Flags]]]) -> None:
    places, families = studio
    given_ = given_out(families, places, LEAST)
    groups = [group for family in given_.values() for group in family.values()]

    def riders(group: Flags) -> int:
        return len({int(places.rider[at]) for at in np.flatnonzero(group) if places.others[at]})

    for one in groups:
        assert riders(one) >= LEAST
        for other in groups:
            assert riders(one & ~other | other & ~one) not in range(1, LEAST)
        for family in given_.values():
            inside = [group for group in family.values() if group is not one and not (group & ~one).any()]
            if inside:
                assert riders(one & ~np.logical_or.reduce(inside)) not in range(1, LEAST)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.dictionaries(st.integers(0, 8), st.integers(0, 12), min_size=1), st.integers(0, 5))
def test_nothing_of_too_few_is_left_of_a_whole(parts: dict[int, int], unknown: int) -> None:
    counts = {part: (n,) for part, n in parts.items()}
    hidden = {part for part, n in parts.items() if n < LEAST}
    hidden |= set(parts_to_hide(counts, (sum(parts.values()) + unknown,), hidden, LEAST))
    rest = unknown + sum(parts[part] for part in hidden)
    shown = [n for part, n in parts.items() if part not in hidden and n]
    assert rest not in range(1, LEAST) or not shown


def shown_to_a_fitter(asker: Asker) -> Mapping[Any, Any]:
    """Every list of groups, over all fits and over two cells."""
    by = AskedBy(asker, lambda: Reader("ada", Role.FITTER, "F2"))
    told = {}
    for question in ("ratings", "types", "returns", "studio", "noise", "periods"):
        for selection in (Selection(), Selection(studio=("ropewalk",))):
            answer = by.ask(question, selection)
            told |= {(question, selection, name): getattr(answer, name) for name in QUESTIONS[question].sight.figures}
    return told


def test_a_rider_who_came_yesterday_changes_nothing_that_is_told(demo_warehouse: Path, tmp_path: Path) -> None:
    """Yesterday's warehouse is today's without one rider of a quarter that is not closed."""
    today, yesterday = Asker(demo_warehouse, Settings()), tmp_path / "yesterday.duckdb"
    copyfile(demo_warehouse, yesterday)
    new = "SELECT min(rider_id) FROM (SELECT rider_id FROM mart.fits GROUP BY 1 HAVING min(session_date) >= DATE '2026-06-01')"
    rider = today.look_up(lambda at: str(at.value(new)))
    forget(yesterday, rider)
    before = Asker(yesterday, Settings())
    whole = (Selection(), Selection(studio=("quayside",)), Selection(studio=("ropewalk",)))
    assert any(today.ask("ratings", one).rows() != before.ask("ratings", one).rows() for one in whole)
    assert shown_to_a_fitter(before) == shown_to_a_fitter(today)


@pytest.mark.parametrize("question", ["ratings", "returns", "effects"])
def test_an_answer_that_is_remembered_for_the_owner_is_not_handed_on(demo_warehouse: Path, question: str) -> None:
    """And what is remembered for one fitter is not what another is given."""
    asker = Asker(demo_warehouse, Settings())
    selection = Selection(bike_kind=("mountain",))
    only: dict[str, tuple[str, ...]] = {"parts": ("overall",), "outcomes": ("tilt",)} if question == "effects" else {}
    whole = AskedBy(asker, lambda: Reader("olga", Role.OWNER)).ask(question, selection, **only)
    for fitter in ("F2", "F3"):
        seen = AskedBy(asker, lambda fitter=fitter: Reader("ada", Role.FITTER, fitter)).ask(question, selection, **only)  # type: ignore[misc]
        assert seen is not whole
        assert seen.selection != whole.selection
    assert AskedBy(asker, lambda: Reader("olga", Role.OWNER)).ask(question, selection, **only) is whole
