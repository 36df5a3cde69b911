"""The view of drawn orders: what is said of the newest comparison, and who may open, draw and close on the page."""

from pathlib import Path
from typing import Any

import pytest

from dashboard.components.address import Addresses, View
from dashboard.components.page import Desk
from dashboard.pages.next_rider import drawn_orders, ids
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.drawn.steps import STEPS
from dashboard.questions.selection.selection import Selection
from shared.logbook.drawing import MAY_OVERRULE, OUTCOMES, REASONS, Drawing
from shared.settings import Settings
from tests.unit.page_places import words

OPENING = {
    "first": "insole_low", "second": "shim_more", "outcome": "tilt", "arch": "medium", "forefoot": "mild_varus", "insole": "",
    "shims": "", "knee": "", "stop_after": "40", "stop_on": "2999-06-30", "confirmed": MAY_OVERRULE,
}  # fmt: skip
DRAWING = {"fit": "S99", "side": "left", "after": "1", "fitter": "", "comparison": ""}


class Noted:
    def __init__(self) -> None:
        self.did: list[tuple[str, str]] = []

    def opened(self, what: str, riders: tuple[str, ...]) -> None:
        pass

    def done(self, did: str, what: str) -> None:
        self.did.append((did, what))


def desk_of(path: Path, reader: Reader = LOCAL, notes: Noted | None = None) -> Desk:
    return Desk(AskedBy(Asker(path, Settings()), lambda: reader, notes), Addresses("/"))


def done(desk: Desk, act: Any, typed: Any) -> str:
    return words(drawn_orders.acting(desk, act)(typed))


def test_of_the_demo_it_says_what_the_draw_says(demo_warehouse: Path) -> None:
    shown = words(drawn_orders.shows(desk_of(demo_warehouse))[ids.DRAWN](View(Selection(), {}), "light"))
    assert "By the draw, no clear difference between one more varus shim and a low insole: in tilt anything from" in shown
    assert "Closed: every draw is what the sealed seed gives." in shown


def test_from_opening_to_the_seed(tmp_path: Path) -> None:
    path, notes = tmp_path / "w.duckdb", Noted()
    head = desk_of(path, Reader("hanna", Role.HEAD_FITTER), notes)
    assert done(head, drawn_orders._open_one, {**OPENING, "stop_after": "soon"}) == "After draws: expected a whole number."
    assert done(head, drawn_orders._open_one, {**OPENING, "confirmed": ""}).startswith("Confirm the sentence as it stands")
    assert done(head, drawn_orders._draw, DRAWING) == "No comparison is open."
    told = done(head, drawn_orders._open_one, OPENING)
    (comparison,) = Drawing(path).comparisons()
    assert told == f"{comparison.comparison_id} is open. Seal of its seed (SHA-256), to be kept: {comparison.commitment}"
    fitter = desk_of(path, Reader("ada", Role.FITTER, "F2"), notes)
    assert done(fitter, drawn_orders._draw, DRAWING).startswith("S99, left knee, draw 1 of 40: ")
    (drawn,) = Drawing(path).draws()
    assert (drawn.stratum, drawn.drawn_by) == ("F2", "ada")
    closed = done(head, drawn_orders._close, {"comparison": comparison.comparison_id, "why": "other"})
    assert closed == f"{comparison.comparison_id} is closed. Its seed: {comparison.seed}"
    assert notes.did == [
        ("opened a comparison", comparison.comparison_id),
        ("drew", f"{comparison.comparison_id} S99"),
        ("closed a comparison", comparison.comparison_id),
    ]


@pytest.mark.parametrize("role", [Role.FITTER, Role.NOBODY])
def test_a_fitter_opens_and_closes_nothing_and_draws_for_nobody_else(tmp_path: Path, role: Role) -> None:
    path = tmp_path / "w.duckdb"
    desk = desk_of(path, Reader("ada", role, "F2"))
    refused = "for the head fitter and the owner" if role is Role.FITTER else "Sign in first"
    assert refused in done(desk, drawn_orders._open_one, OPENING)
    assert refused in done(desk, drawn_orders._close, {"comparison": "C-1", "why": "other"})
    assert ("draws for own fits" if role is Role.FITTER else "Sign in first") in done(
        desk, drawn_orders._draw, {**DRAWING, "fitter": "F1"}
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("typed", [[1], {"fit": 3}, {1: "x"}])
def test_what_is_no_form_is_refused_in_a_sentence(tmp_path: Path, typed: Any) -> None:
    assert done(desk_of(tmp_path / "w.duckdb"), drawn_orders._draw, typed) == "Fill in the form above."


def test_every_code_that_may_be_chosen_has_its_words() -> None:
    assert set(drawn_orders._OUTCOMES) == set(OUTCOMES)
    assert set(drawn_orders._REASONS) == set(REASONS)
    assert len(STEPS) == len(set(STEPS.values()))
