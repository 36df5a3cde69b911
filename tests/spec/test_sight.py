"""What each role sees of each answer, on the demo: every list of every answer is walked."""

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import pytest

from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.counted_rows import TOO_FEW
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.riders.answers_riders import RiderTimeline
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection, parse_selection
from shared.errors import NotPermittedError, NotReleasedError, TooFewError
from shared.settings import Settings
from shared.warehouse import open_reading

FITTER = Reader("ada", Role.FITTER, "F2")
# The demo's last day is 28 August 2026: 84 days before it, the second quarter was not over.
CLOSED = date(2026, 3, 31)
OWNER = Reader("olga", Role.OWNER)
HEAD = Reader("hanna", Role.HEAD_FITTER)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def ids(demo_warehouse: Path) -> dict[str, set[str]]:
    """The sessions and riders of others than the fitter, and of the fitter."""
    warehouse = open_reading(demo_warehouse)
    rows = warehouse.rows("SELECT session_id, rider_id, fitter_id FROM mart.fits")
    own = {row["session_id"] for row in rows if row["fitter_id"] == FITTER.fitter_id}
    riders = {row["rider_id"] for row in rows if row["fitter_id"] == FITTER.fitter_id}
    return {
        "own": own | riders,
        "others": {row["session_id"] for row in rows} - own | {row["rider_id"] for row in rows} - riders,
        "fitters": {row["fitter_id"] for row in rows} - {FITTER.fitter_id},
    }


def cells(value: Any) -> Iterator[str]:
    """Every text anywhere in an answer."""
    if isinstance(value, str):
        yield value
    elif is_dataclass(value):
        for field in fields(value):
            yield from cells(getattr(value, field.name))
    elif isinstance(value, dict):
        for part in value.values():
            yield from cells(part)
    elif isinstance(value, Sequence):
        for part in value:
            yield from cells(part)


def words_of(answer: Answer) -> set[str]:
    return {word.strip(".,;:()") for cell in cells(answer) for word in cell.split()}


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_list_is_decided_on(asker: Asker, question: str) -> None:
    if question != "riders":
        assert set(type(asker.ask(question, Selection())).lists()) == QUESTIONS[question].sight.decided()


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("words", [{}, {"visit_kind": "first"}, {"from": "2026-01-01"}])
def test_a_fitter_sees_no_case_and_no_colleague_of_others(
    asker: Asker, ids: dict[str, set[str]], question: str, words: dict[str, str]
) -> None:
    answer = AskedBy(asker, lambda: FITTER).ask(question, parse_selection(words))
    told = words_of(answer)
    assert not told & ids["others"]
    assert not told & ids["fitters"]


@pytest.mark.parametrize(("question", "rows"), [("riders", "riders"), ("agreement", "look_at"), ("calls", "calls")])
def test_a_fitter_sees_their_own_cases(asker: Asker, ids: dict[str, set[str]], question: str, rows: str) -> None:
    answer = AskedBy(asker, lambda: FITTER).ask(question, Selection())
    own = asker.ask(question, Selection(fitter=("F2",)))
    assert getattr(answer, rows) == getattr(own, rows) != ()
    assert words_of(answer) & ids["own"]


@pytest.mark.parametrize("question", ["studio", "ratings", "types", "noise"])
def test_a_fitter_sees_the_studio_s_figures_up_to_the_closed_day(asker: Asker, question: str) -> None:
    """Row by row the owner's own answer over the same fits, or nothing but its name."""
    whole = asker.ask(question, Selection(date_to=CLOSED))
    seen = AskedBy(asker, lambda: FITTER).ask(question, Selection())
    assert seen.selection == {"to": CLOSED}
    shown = 0
    for name in set(QUESTIONS[question].sight.figures) - {"groups"}:
        for row, own in zip(getattr(seen, name), getattr(whole, name), strict=True):
            assert row == own or getattr(row, "words", TOO_FEW) == TOO_FEW
            shown += row == own
    assert shown > 5 or question == "noise"


@pytest.mark.parametrize("question", ["returns", "asymmetry", "agreement"])
@pytest.mark.parametrize("studio", ["quayside", "ropewalk"])
def test_a_fitter_may_ask_for_the_figures_of_either_studio(asker: Asker, question: str, studio: str) -> None:
    """F2 has no fit at ropewalk: there are no own cases, and that is no error."""
    seen = AskedBy(asker, lambda: FITTER).ask(question, Selection(studio=(studio,)))
    assert seen.selection == {"to": CLOSED, "studio": (studio,)}
    assert "studio" in seen.selection_words
    cases = {"asymmetry": "knees", "agreement": "look_at"}.get(question)
    assert cases is None or bool(getattr(seen, cases)) == (studio == "quayside")


@pytest.mark.parametrize(
    "words",
    [
        {"to": "2026-03-30"},
        {"from": "2025-04-02", "to": "2025-06-30"},
        {"from": "2026-03-09", "to": "2026-03-09"},
        {"studio": "quayside", "visit_kind": "first"},
        {"studio": "quayside", "from": "2025-01-01", "to": "2025-12-31"},
        {"arch_height": "low,high"},
        {"from": "2026-04-01"},
    ],
)
@pytest.mark.parametrize("question", ["types", "ratings", "sides", "fitters", "data"])
def test_another_group_is_not_told_and_the_way_out_is(asker: Asker, question: str, words: dict[str, str]) -> None:
    by = AskedBy(asker, lambda: FITTER)
    with pytest.raises(NotReleasedError, match="whole groups only") as refusal:
        by.ask(question, parse_selection(words))
    nearest = parse_selection(dict(parse_qsl(refusal.value.nearest or "")))
    assert by.ask(question, nearest).selection == nearest.as_dict() or question == "data"
    own = parse_selection(dict(parse_qsl(refusal.value.own)))
    assert own == replace(parse_selection(words), fitter=("F2",))


@pytest.mark.parametrize("words", [{"from": "2026-03-09", "to": "2026-03-27"}, {"studio": "quayside", "visit_kind": "first"}])
def test_their_own_fits_are_open_in_every_selection(asker: Asker, words: dict[str, str]) -> None:
    selection = parse_selection({**words, "fitter": "F2"})
    for question in ("types", "ratings", "sides"):
        own = AskedBy(asker, lambda: FITTER).ask(question, selection)
        assert own.rows() == asker.ask(question, selection).rows() != []


def test_one_rider_a_row_is_for_others(asker: Asker) -> None:
    """The left and right knee of single riders, and what single knees leave of a model."""
    by = AskedBy(asker, lambda: FITTER)
    assert by.ask("sides", Selection()).rows() == []
    effects: Any = by.ask("effects", Selection(), parts=("overall", "influence", "residuals"), outcomes=("tilt",))
    assert effects.effects
    assert not effects.influence
    assert not effects.residuals


def test_a_fitter_reads_no_value_of_a_rejected_row(asker: Asker) -> None:
    data: Any = AskedBy(asker, lambda: FITTER).ask("data", Selection())
    whole: Any = asker.ask("data", Selection())
    rejected = {row.words for row in data.reasons if row.state == "rejected"}
    assert rejected == {"What was found in the rows is shown to those who load them."}
    assert [row.n for row in data.reasons] == [row.n for row in whole.reasons]
    assert {row.names for row in data.loads} == {""}
    assert not data.rejects


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_fitter_cannot_ask_for_another_fitter(asker: Asker, question: str) -> None:
    with pytest.raises(NotPermittedError, match="found F1, expected F2"):
        AskedBy(asker, lambda: FITTER).ask(question, Selection(fitter=("F1",)))


def test_a_rider_of_others_is_as_unknown(asker: Asker, ids: dict[str, set[str]]) -> None:
    stranger = min(one for one in ids["others"] if one.startswith("R"))
    for question in ("riders", "studio", "returns"):
        with pytest.raises(TooFewError):
            AskedBy(asker, lambda: FITTER).ask(question, Selection(rider=(stranger,)))


def noted(asker: Asker) -> str:
    sql = "SELECT rider_id FROM core.fit_sessions WHERE notes IS NOT NULL ORDER BY session_id LIMIT 1"
    return str(open_reading(asker.path).value(sql))


def test_notes_are_for_fitters_and_not_for_the_owner(asker: Asker) -> None:
    selection = Selection(rider=(noted(asker),))
    for reader, sees in ((LOCAL, True), (HEAD, True), (OWNER, False)):
        answer = AskedBy(asker, lambda reader=reader: reader).ask("riders", selection)  # type: ignore[misc]
        assert isinstance(answer, RiderTimeline)
        assert any(fit.notes for fit in answer.fits) == sees


def test_the_owner_sees_no_received_row_that_may_hold_notes(asker: Asker) -> None:
    rejects = AskedBy(asker, lambda: OWNER).ask("data", Selection()).rows("rejects")
    assert {row["received"] for row in rejects if row["table"] == "fit_sessions"} <= {"{}"}
    assert any(row["received"] != "{}" for row in rejects)


@pytest.mark.parametrize("question", QUESTIONS)
def test_who_sits_at_the_machine_and_the_head_fitter_see_the_answer_itself(asker: Asker, question: str) -> None:
    whole = asker.ask(question, Selection())
    for reader in (LOCAL, HEAD):
        assert AskedBy(asker, lambda reader=reader: reader).ask(question, Selection()) is whole  # type: ignore[misc]


def test_a_fitter_chooses_among_no_colleagues_and_loads_nothing(asker: Asker) -> None:
    asked_by = AskedBy(asker, lambda: FITTER)
    assert asked_by.choices().fitter == ("F2",)
    with pytest.raises(NotPermittedError, match="owner and the head fitter"):
        asked_by.require_loading()
    AskedBy(asker, lambda: OWNER).require_loading()


def test_a_rider_s_fits_are_told_by_the_noise_of_the_closed_quarters(asker: Asker, ids: dict[str, set[str]]) -> None:
    """The smallest real change over all fits, to the last digit, would tell of each rider who is loaded."""
    by, rider = AskedBy(asker, lambda: FITTER), min(one for one in ids["own"] if one.startswith("R"))
    told: Any = by.ask("riders", Selection(rider=(rider,)))
    closed: Any = asker.ask("noise", Selection(date_to=CLOSED))
    assert told.noise == closed.noise
    assert all(row.mdc95 is None or row.mdc95 == round(row.mdc95, 1) for row in told.knees)
