"""From how many points on a change matters, on a studio small enough to count by hand, and what is told of fits and riders."""

from dataclasses import replace

import numpy as np
import pytest

from dashboard.questions.followed import important_change
from dashboard.questions.followed.answers_important import ImportantChange
from dashboard.questions.followed.worth import CLEAR, SMALL, UNCLEAR, WORSE, WORTH, Limits, limits_of
from dashboard.questions.returns import returns
from dashboard.questions.riders import riders
from dashboard.questions.riders.answers_riders import RiderTimeline
from dashboard.questions.selection.selection import Selection, parse_selection
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import fill

SETTINGS = Settings.model_validate({"important_change": {"riders": 40}})
N = 48


def rider_of(n: int) -> tuple[int, int, int]:
    """Comfort gained, pain at arrival and the answer of rider n. Of riders 0 to 19 comfort rose by 1, and every fourth calls it
    much better or more; of riders 20 to 39 by 3, and every fourth does not. Riders 40 to 43 were not asked; 44 to 47 are worse
    by 2 and asked nothing."""
    if n < 20:
        return 1, 0, (1, 0, -1, 3)[n % 4]
    return (3, 0, (2, 3, 2, 1)[n % 4]) if n < 40 else ((2, 0, 9) if n < 44 else (-2, 0, 9))


def studio(memory: Warehouse, *, is_asked: bool = True) -> Warehouse:
    told = [(n, *rider_of(n)) for n in range(N)]
    sessions = [f"S{n}{end} | R{n} | F1 | q | {day} | {kind}" for n, *_ in told
                for end, day, kind in (("", "2026-01-05", "first"), ("b", "2026-02-02", "follow_up"))]  # fmt: skip
    scores = [f"S{n}{end} | 1 | {topic} | whole | {score}" for n, gained, pain, _ in told
              for end, comfort, hurt in (("", 5, pain), ("b", 5 + gained, pain))
              for topic, score in (("comfort", comfort), ("pain", hurt))]  # fmt: skip
    asked = [f"B{n} | S{n} | 2026-01-05 | 2026-02-02 | attended | 2026-02-02 | S{n}b | {said if said < 9 and is_asked else '-'}"
             for n, _, _, said in told]  # fmt: skip
    head = "follow_up_id | session_id | booked_on | due_on | state | attended_on | returned_session_id | change_rating"
    fill(
        memory,
        riders="rider_id | riding\n" + "\n".join(f"R{n} | road" for n in range(N)),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n" + "\n".join(sessions),
        rider_ratings="session_id | capture_no | topic | body_part | score\n" + "\n".join(scores),
        knee_captures="session_id | capture_no | side | knee_tilt_deg\n"
        + "\n".join(f"S{n}{end} | 1 | {side} | 1.0" for n in range(N) for end in ("", "b") for side in ("left", "right")),
        follow_ups=f"{head}\n" + "\n".join(asked),
    )
    return memory


def asked_of(memory: Warehouse) -> ImportantChange:
    return important_change.ask(studio(memory), Selection(), SETTINGS)


def test_it_is_where_half_of_the_riders_say_so(memory: Warehouse) -> None:
    """At 1 point 5 of 20 say so, at 3 points 15 of 20: at 2 points half would, which is the share of all."""
    comfort, pain = asked_of(memory).changes
    assert (comfort.topic, comfort.n, comfort.n_riders, comfort.n_better) == ("comfort", 40, 40, 20)
    assert comfort.points == pytest.approx(2) and comfort.unadjusted_points == pytest.approx(2)
    assert comfort.correlation == pytest.approx(0.5) and comfort.better_from == "much better"
    assert comfort.words.startswith("A rise of comfort of 2.0 points of 10 (")
    assert comfort.words.endswith(
        ") is where riders begin to call it much better (20 of 40 answers of 40 riders); a change is clear from 2 on."
    )
    # Nobody hurt at arrival, so that of nobody it could hurt less.
    assert (pain.n, pain.points) == (0, None)
    assert pain.words == (
        "Pain, from which fall on riders call it much better: not enough yet: 0 riders rated again and asked how much better "
        "it is, and 40 are needed."
    )


def test_fits_are_told_by_it_and_those_that_nobody_asked_as_well(memory: Warehouse) -> None:
    """Rose by 1 in 20 fits and fell by 2 in 4; by 3 in 20 and by 2 in 4, on limits of 2 to 2.9 points."""
    known = asked_of(memory)
    comfort, pain = known.changes
    sure = replace(known, changes=(replace(comfort, low_points=1.5, high_points=2.9), pain))
    rows = returns.ask(memory, Selection(), SETTINGS, important_change=sure).worth
    assert [(row.topic, row.verdict, row.n, row.n_fits) for row in rows] == [
        ("comfort", WORTH, 20, 48), ("comfort", SMALL, 0, 48), ("comfort", CLEAR, 4, 48), ("comfort", UNCLEAR, 20, 48),
        ("comfort", WORSE, 4, 48),
    ]  # fmt: skip
    assert rows[0].share == pytest.approx(20 / 48)
    assert rows[0].words.startswith(
        "Comfort from arrival to the follow-up: clear and worth it in 20 of 48 fits rated again, 42"
    )
    small = replace(known, changes=(replace(comfort, low_points=2.1, high_points=2.9), pain))
    assert [row.n for row in returns.ask(memory, Selection(), SETTINGS, important_change=small).worth] == [20, 4, 0, 20, 4]


def test_a_riders_sentence_says_whether_it_was_worth_it(memory: Warehouse) -> None:
    known = asked_of(memory)
    sure = replace(known, changes=(replace(known.changes[0], low_points=1.5, high_points=2.9), known.changes[1]))

    def told(rider: str, important: ImportantChange | None) -> RiderTimeline:
        answer = riders.ask(memory, parse_selection({"rider": rider}), SETTINGS, important_change=important)
        assert isinstance(answer, RiderTimeline)
        return answer

    much, little = told("R20", sure), told("R0", sure)
    assert "; comfort went from 5 on arrival to 8 at the follow-up (clear and worth it); " in much.headline
    assert "; comfort went from 5 on arrival to 6 at the follow-up (no clear change); " in little.headline
    assert much.worth_words == (
        "Comfort is clear from 2 points on, worth it from 2.9 on: riders call 2.0 (1.5 to 2.9) much better."
    )
    assert [row.verdict for row in much.ratings if row.session_id == "S20"] == ["clear and worth it", ""]
    assert much.follow_ups[0].change_rating == 2
    # Where it is not known from how many points on it matters, nothing is told of it.
    plain = told("R20", None)
    assert "comfort" not in plain.headline and plain.worth_words == "" and {row.verdict for row in plain.ratings} == {""}


def test_without_the_column_nothing_is_lost_and_nothing_is_taken_for_the_same(memory: Warehouse) -> None:
    answer = important_change.ask(studio(memory, is_asked=False), Selection(), SETTINGS)
    assert [row.n for row in answer.changes] == [0, 0]
    assert limits_of(answer) == {} and limits_of(None) == {}
    assert returns.ask(memory, Selection(), SETTINGS, important_change=answer).worth == ()


@pytest.mark.parametrize(
    ("gained", "verdict"),
    [(-2, WORSE), (-1.9, UNCLEAR), (0, UNCLEAR), (1.9, UNCLEAR), (2, SMALL), (2.1, CLEAR), (2.8, CLEAR), (2.9, WORTH)],
)
def test_each_verdict_begins_at_its_limit(gained: float, verdict: str) -> None:
    limits = Limits(smallest=2.0, low=2.1, high=2.9, points=2.4, better_from="much better")
    assert limits.verdict(gained) == verdict
    assert limits.verdict_of(np.array([np.nan])).tolist() == [-1]


def test_where_it_matters_before_it_is_clear_what_is_clear_is_worth_it() -> None:
    limits = Limits(smallest=2.0, low=0.6, high=1.4, points=1.0, better_from="a little better")
    assert (limits.verdict(1.5), limits.verdict(2)) == (UNCLEAR, WORTH)
    assert limits.words == "clear from 2 points on, and then worth it: riders call 1.0 (0.6 to 1.4) a little better"


def test_the_column_holds_seven_whole_steps() -> None:
    column = catalogue()["follow_ups"].column("change_rating")
    assert (column.type, column.minimum, column.maximum, column.required) == ("integer", -3, 3, False)
