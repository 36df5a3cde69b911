"""Did a fit hold: one rule, and the same word for it in every list, sentence and figure of the demo."""

import re
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.followed.held import BECAME, became_of
from dashboard.questions.riders.answers_riders import RiderRow, RiderTimeline
from dashboard.questions.riders.riders_found import riders_found
from dashboard.questions.selection.selection import parse_selection
from shared.settings import Settings

NOT = float("nan")
# How the sentence of a fit begins, behind its name.
SAID = {
    "held": "held",
    "not_held": "did not hold",
    "not_measured": "was seen again, and whether it held is not known",
    "not_seen": "was not seen again",
    "waiting": "has not been seen again yet",
}


@pytest.mark.parametrize(
    ("left", "found", "is_seen", "is_closed", "became"),
    [
        ((-1.0, 2.0), (-1.5, 2.2), True, True, "held"),
        ((0.0, 2.0), (-1.7, 2.0), True, True, "held"),  # by the smallest real change itself, and no more
        ((-1.0, 2.0), (-2.8, 2.0), True, True, "not_held"),
        ((-1.0, 2.0), (2.8, 2.0), True, True, "not_held"),  # beyond neutral on the other side
        ((-4.0, 3.0), (0.0, 0.0), True, True, "held"),  # nearer to neutral
        ((-1.0, 2.0), (NOT, 2.0), True, True, "not_measured"),
        ((-1.0, 2.0), (NOT, 4.0), True, True, "not_held"),  # one knee that is lost is enough
        ((NOT, 2.0), (-9.0, 2.0), True, True, "held"),  # a knee that was never left on record tells nothing
        ((NOT, NOT), (1.0, 1.0), True, True, "not_measured"),
        ((-1.0, 2.0), (-1.0, 2.0), True, False, "held"),
        ((-1.0, 2.0), (NOT, NOT), False, True, "not_seen"),
        ((-1.0, 2.0), (NOT, NOT), False, False, "waiting"),
    ],
)
def test_a_fit_held_where_no_knee_went_away_from_neutral(
    left: tuple[float, float], found: tuple[float, float], is_seen: bool, is_closed: bool, became: str
) -> None:
    fits = {
        "is_seen": np.array([is_seen]),
        "is_closed": np.array([is_closed]),
        **{f"tilt_{side}_departure_deg": np.array([value]) for side, value in zip(("left", "right"), left, strict=True)},
        **{f"tilt_{side}_found_deg": np.array([value]) for side, value in zip(("left", "right"), found, strict=True)},
    }
    assert BECAME[became_of(fits, 1.7)[0]] == became
    # Where the smallest real change is not known, no fit is told to have held, nor not to.
    assert BECAME[became_of(fits, None)[0]] == ("not_measured" if is_seen else became)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


def timeline(asker: Asker, rider: str, words: dict[str, str]) -> RiderTimeline:
    answer = asker.ask("riders", parse_selection({**words, "rider": rider}))
    assert isinstance(answer, RiderTimeline)
    return answer


def looked_at(rows: list[RiderRow]) -> list[RiderRow]:
    """Those of every kind, and some of all."""
    lost = [row for row in rows if row.became == "not_held"][::3]
    return list({row.rider_id: row for row in [*lost, *rows[:6], *rows[::25]]}.values())


@pytest.mark.parametrize("words", [{}, {"visit_kind": "first", "from": "2026-01-01"}])
def test_search_list_and_timeline_agree_on_what_became_of_every_rider(asker: Asker, words: dict[str, str]) -> None:
    answer: Any = asker.ask("riders", parse_selection(words))
    rows = list(answer.riders)
    called: Any = asker.ask("calls", parse_selection(words))
    over = {row.rider_id for row in called.calls if row.state == "over"}
    assert {row.rider_id for row in rows if "overdue" in row.look.split(", ")} == over
    kinds = set()
    for row in looked_at(rows):
        told = timeline(asker, row.rider_id, words)
        assert told.rider == row
        fit = next(fit for fit in told.fits if fit.session_id == told.told_id)
        assert (fit.became or "", fit.session_date) == (row.became, row.fit_date or row.last_date)
        assert ("not_held" in row.look.split(", ")) == (fit.became == "not_held")
        assert told.headline == fit.told
        said = re.match(r"The (?:first fit|refit|follow-up) of \d+ \w+ \d+ ?([^;]*);", told.headline)
        assert said and said[1] == SAID.get(row.became, "")
        assert asker.look_up(lambda warehouse, rider=row.rider_id: riders_found(warehouse, rider)) == (row.rider_id,)
        kinds.add(row.became)
    assert kinds >= {"held", "not_held", "not_seen"}


def test_the_counts_of_returns_are_those_of_the_fits_one_by_one(asker: Asker) -> None:
    """All fits of one fitter, whose riders are told one by one."""
    words = {"fitter": "F7", "from": "2026-01-01"}
    answer: Any = asker.ask("riders", parse_selection(words))
    fits = [fit for row in answer.riders for fit in timeline(asker, row.rider_id, words).fits]
    last = date(2026, 8, 28)
    closed = [fit.became for fit in fits if fit.became and (last - fit.session_date).days > 42]
    returns: Any = asker.ask("returns", parse_selection(words))
    assert {row.became: row.n for row in returns.held} == {
        end: closed.count(end) for end in ("held", "not_held", "not_measured", "not_seen")
    }
    assert closed.count("held") > 5


def test_a_rider_of_the_demo_is_told_whole_in_one_sentence(asker: Asker) -> None:
    answer = timeline(asker, "R0655", {})
    assert answer.headline == (
        "The refit of 10 Jun 2026 held; tilt was −3.2° left and 3.2° right on arrival, −1.5° and 2.5° at departure (no clear "
        "change), −1.6° and 2.6° at the follow-up 26 days later; comfort went from 7 on arrival to 9 at the follow-up (clear, "
        "small); since departure no knee went away from neutral by more than 1.7°, the smallest real change."
    )
    first, _, follow_up = answer.fits
    assert first.told.startswith("The first fit of 20 Dec 2025 was not seen again; ")
    assert first.told.endswith("; the follow-up of 3 Jan 2026 was missed.")
    assert follow_up.told.endswith("; it followed up the refit of 10 Jun 2026, which held.")
