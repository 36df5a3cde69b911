"""Studios whose riders come back at random, whatever the visit: no kind of visit may seem to bring more of them back."""

import numpy as np
import pytest

from dashboard.questions.returns import returns
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.selection.selection import parse_selection
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import fill

BOOKED, COMES = 0.6, 0.7


def studio(memory: Warehouse, seed: int, riders: int = 300) -> Warehouse:
    """Each rider has a first fit, a third of them a refit a year later. Six fits in ten have a follow-up booked, X
    attended. At a follow-up visit another one is booked for three in ten, who come as often."""
    rng = np.random.default_rng([1630, seed])
    sessions, follow_ups = [], []

    def visit(rider: int, day: int, kind: str, booked: float) -> None:
        session = f"S{len(sessions)}"
        sessions.append(f"{session} | R{rider} | F1 | q | {_date(day)} | {kind}")
        if rng.random() >= booked:
            return
        comes, back = rng.random() < COMES, day + int(rng.integers(10, 40))
        number = len(follow_ups)
        follow_ups.append("")
        told = f"attended | {_date(back)} | S{len(sessions)}" if comes else "missed | - | -"
        follow_ups[number] = f"B{number} | {session} | {_date(day)} | {_date(day + 14)} | {told}"
        if comes:
            visit(rider, back, "follow_up", 0.3)

    for rider in range(riders):
        day = int(rng.integers(0, 365))
        visit(rider, day, "first", BOOKED)
        if rng.random() < 1 / 3:
            visit(rider, day + 365, "refit", BOOKED)
    fill(
        memory,
        riders="rider_id\n" + "\n".join(f"R{rider}" for rider in range(riders)),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        follow_ups="follow_up_id | session_id | booked_on | due_on | state | attended_on | returned_session_id\n"
        + "\n".join(follow_ups),
    )
    return memory


def _date(day: int) -> str:
    return str(np.datetime64("2024-01-01") + day)


def by_visit(memory: Warehouse, seed: int) -> Returns:
    return returns.ask(studio(memory, seed), parse_selection({"split": "visit_kind"}), Settings())


@pytest.mark.parametrize("seed", range(3))
def test_visits_that_bring_riders_back_alike_are_not_told_apart(memory: Warehouse, seed: int) -> None:
    """Counted where another one was booked, follow-up visits brought 70 % back and fits 42 %."""
    answer = by_visit(memory, seed)
    [compared] = answer.comparisons
    assert compared.levels == "first; refit"
    assert compared.words.startswith("No clear difference in how riders come back")
    rates = {row.level: (row.low, row.high) for row in answer.figures if row.figure == "return_rate"}
    assert set(rates) == {None, "first", "refit"}
    assert rates[None][0] < BOOKED * COMES < rates[None][1]
