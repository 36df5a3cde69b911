"""One studio beside the others, on twelve riders whose comfort is known."""

from pathlib import Path

import pytest

from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio import studios
from dashboard.questions.studio.answers_studios import Studios
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})
# Points of comfort that each rider's fit gained.
GAINED = {"quayside": (4, 5, 4, 5, 4, 5), "ropewalk": (1, 1, 2, 2, 1, 2)}


def filled(memory: Warehouse, gained: dict[str, tuple[int, ...]]) -> Warehouse:
    sessions, ratings = [], []
    for studio, points in gained.items():
        for at, gain in enumerate(points):
            session = f"{studio}{at}"
            sessions.append(f"{session} | R{len(sessions)} | F1 | {studio} | 2026-03-1{at} | first")
            ratings += [f"{session} | 1 | comfort | whole | 2", f"{session} | 2 | comfort | whole | {2 + gain}"]
    ids = [row.split(" | ")[0] for row in sessions]
    captures = [f"{each} | {number} | left | 1 | 12" for each in ids for number in (1, 2)]
    fill(
        memory,
        riders="rider_id\n" + "\n".join(f"R{n}" for n in range(len(sessions))),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        knee_captures="session_id | capture_no | side | knee_tilt_deg | knee_sway_mm\n" + "\n".join(captures),
        foot_setups="session_id | capture_no | side | insole_level | shims_added | stance_mm\n"
        + "\n".join(f"{each} | {number} | left | none | 0 | 0" for each in ids for number in (1, 2)),
        rider_ratings="session_id | capture_no | topic | body_part | score\n" + "\n".join(ratings),
    )
    return memory


def test_two_studios_are_compared_once_with_the_interval_of_the_difference(memory: Warehouse) -> None:
    """Means 4.5 and 1.5, both of variance 0.3 on six riders: error √(2 · 0.3 / 6), and t at 10 degrees of freedom is 2.228."""
    answer = studios.ask(filled(memory, GAINED), Selection(), FEW)
    assert {(row.studio, row.estimate) for row in answer.figures if row.figure == "comfort_gained"} == {
        ("quayside", 4.5),
        ("ropewalk", 1.5),
    }
    [row] = [each for each in answer.differences if each.figure == "comfort_gained"]
    half = 2.228 * (2 * 0.3 / 6) ** 0.5
    assert (row.difference, row.low, row.high) == pytest.approx((3.0, 3 - half, 3 + half), abs=1e-3)
    assert row.words == "Comfort gained: better at quayside, 3.0\xa0points more than at ropewalk, 2.3 to 3.7 (6 and 6 fits)."
    assert answer.headline == row.words


def test_what_is_not_there_is_not_compared(memory: Warehouse) -> None:
    answer = studios.ask(filled(memory, GAINED), Selection(), FEW)
    [row] = [each for each in answer.differences if each.figure == "return_rate"]
    assert (row.judged, row.difference) == ("not enough yet", None)
    assert row.words == "Fits seen again in time: not recorded here (follow_ups)."


def test_of_three_studios_each_is_held_against_all_others(memory: Warehouse) -> None:
    answer = studios.ask(filled(memory, {**GAINED, "weir": (1, 2, 1, 2, 1, 2)}), Selection(), FEW)
    told = {row.studio: (row.against, row.difference) for row in answer.differences if row.figure == "comfort_gained"}
    assert told == {
        "quayside": ("the others", pytest.approx(4.5 - 1.5)),
        "ropewalk": ("the others", pytest.approx(1.5 - 3.0)),
        "weir": ("the others", pytest.approx(1.5 - 3.0)),
    }


def test_one_studio_alone_has_nothing_beside_it(memory: Warehouse) -> None:
    answer = studios.ask(filled(memory, {"weir": (1, 2, 1, 2)}), Selection(), FEW)
    assert (answer.headline, answer.differences) == (
        "There is one studio in this selection, and nothing to compare it with.",
        (),
    )


def test_studios_alike_are_no_news_and_a_fitter_sees_none(demo_warehouse: Path) -> None:
    asker = Asker(demo_warehouse, Settings())
    answer = asker.ask("studios", Selection())
    assert isinstance(answer, Studios)
    assert answer.headline == "No clear difference between quayside and ropewalk."
    assert {row.judged for row in answer.differences} == {"no clear difference"}
    seen = AskedBy(asker, lambda: Reader("ada", Role.FITTER, "F2")).ask("studios", Selection())
    assert isinstance(seen, Studios)
    assert (seen.differences, seen.figures) == ((), ())
    assert seen.headline == "One studio beside the other is for the head fitter and the owner."
