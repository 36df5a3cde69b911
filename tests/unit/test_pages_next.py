"""The Next rider page by a hand-written answer: what stands in the picture, what apart, and when it is silent."""

from dataclasses import replace
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.components.address import Addresses, read_view
from dashboard.components.page import Desk
from dashboard.figures.foreseen import (
    LIKELY,
    alternative,
    finding,
    foreseen_panel,
    pictured,
    reliability_panel,
    reliability_words,
    span_of,
)
from dashboard.pages.next_rider import ids
from dashboard.pages.next_rider.asked import NOBODY
from dashboard.pages.next_rider.callbacks import PAGE
from dashboard.questions.foresight.answers_foresight import AlikeRow, Foresight, ForesightRow, Next, NextRow, ReliabilityRow
from dashboard.questions.foresight.next_rider import CAUTIONS
from dashboard.questions.foresight.setups import AS_IT_IS
from shared.settings import Settings
from tests.unit.page_places import words


def row(setup: str, place: int, expected: float | None, side: str = "left", outcome: str = "tilt", **more: Any) -> NextRow:
    figures = (None,) * 5 if expected is None else (expected, expected - 1, expected + 1, expected - 0.5, expected + 0.5)
    made = NextRow(side, setup, outcome, "deg", True, "", place, False, *figures, 0.8, None, 12, expected is None, "")
    return replace(made, **more)


ROWS = (
    row("a medium insole", 1, -2.8),
    row("a low insole", 2, -3.2),
    row("one varus shim more (1 in all)", 3, -3.3),
    row("stance 2 mm narrower", 4, -3.4),
    row(AS_IT_IS, 5, -3.7),
    row("a high insole", 1, -2.5, is_allowed=False, against="a low arch left with a high insole, 2 levels above it."),
    row("one valgus shim more (2 in all)", 6, None),
    row("a medium insole", 1, 2.8, outcome="off_neutral", nearer=0.62),
    row(AS_IT_IS, 5, 3.7, outcome="off_neutral", nearer=0.2),
    row(AS_IT_IS, 1, 0.4, side="right"),
    row(AS_IT_IS, 1, 0.7, side="right", outcome="off_neutral", nearer=0.1),
)
ANSWER = Next(
    as_of=date(2026, 8, 28),
    selection={},
    selection_words="",
    method={},
    headline="Nearest to neutral: left with a medium insole (3.7 to 2.8°).",
    is_silent=False,
    session_id="S00012",
    cautions=CAUTIONS,
    side_difference_now=4.1,
    side_difference_first=3.2,
    setups=ROWS,
    alike=(
        AlikeRow(
            "left", "S00077", "right", -3.9, -2.6, None, 5.0, 7.0, None, 8.0, ("insole",), "insole none to medium", "not_held"
        ),
    ),
    alike_told=("1 knee most like the left one: made.",),
)
RECORD = Foresight(
    date(2026, 8, 28), {}, "", {}, "What is foreseen has held so far: made.", True,
    (ForesightRow("tilt", "deg", "all", "", 900, 80, 0.8, 0.77, 0.83, 2.1, 0.6, 0.9, 1.5, ""),
     ForesightRow("tilt", "deg", "month", "2026-08", 90, 8, 0.7, 0.6, 0.8, 2.1, 0.7, 1.0, 1.5, "")),
    (ReliabilityRow("tilt", "deg", 1, 90, 40, -3.0, -2.9), ReliabilityRow("tilt", "deg", 2, 90, 40, 1.0, 0.8)),
)  # fmt: skip


class Asked:
    """Answers the page's two questions, and counts who is asked about."""

    settings = Settings()

    def __init__(self, answer: Next = ANSWER, record: Foresight = RECORD) -> None:
        self.answers = {"next": answer, "foresight": record}

    def ask(self, question: str, _selection: Any, **_: Any) -> Any:
        return self.answers[question]


def shown(place: str, search: str = "?rider=R0012", asked: Asked | None = None) -> str:
    desk = Desk(asked or Asked(), Addresses("/"))  # type: ignore[arg-type]
    return words(PAGE.shows(desk)[place](read_view(search), "light"))


def test_the_picture_holds_the_nearest_allowed_setups_and_as_it_is() -> None:
    assert [one.setup for one in pictured(ROWS, "left", AS_IT_IS)] == [
        "a medium insole", "a low insole", "one varus shim more (1 in all)", AS_IT_IS,
    ]  # fmt: skip
    assert [one.setup for one in pictured(ROWS, "right", AS_IT_IS)] == [AS_IT_IS]


def test_the_title_names_what_is_more_likely_than_not_nearer() -> None:
    rows = pictured(ROWS, "left", AS_IT_IS)
    assert finding(rows, "left", {"a medium insole": LIKELY}) == "Left: likely nearer with a medium insole"
    assert finding(rows, "left", {"a medium insole": 0.49}) == "Left: no setup is likely to be clearly nearer"
    assert finding([], "right", {}) == "Right: beyond our data"


def test_the_panel_is_a_valid_figure_with_a_band_a_setup_on_the_axis_of_both() -> None:
    rows = pictured(ROWS, "left", AS_IT_IS)
    figure = foreseen_panel(rows, {"a medium insole": 0.62}, span_of(rows), 1.0, "light")
    drawn = go.Figure(figure)
    bands = drawn.data[1].x
    assert [bands[place] for place in (0, 1, 9, 10)] == pytest.approx([-3.8, -1.8, -4.7, -2.7])
    thick = {tuple(one for one in trace.x if one is not None) for trace in drawn.data[2:4]}
    assert (-3.3, -2.3) in thick
    low, high = span_of(rows)
    assert low < -4.7 and high > 0
    assert "expected tilt of the left knee" in alternative(rows, "left") and "−2.8°" in alternative(rows, "left")


def test_expected_against_measured_says_how_far_apart() -> None:
    assert reliability_words(RECORD.reliability).endswith("within 0.2°")
    assert go.Figure(reliability_panel(RECORD.reliability, "dark")).data[1].y == (-2.9, 0.8)
    assert go.Figure(reliability_panel([], None)).layout.height == 300


def test_without_a_rider_the_page_leads_to_one() -> None:
    assert NOBODY in shown("next-head", "")
    assert "Type two feet by hand" in shown(ids.ANSWER, "") and "Type two feet by hand" in shown(ids.ALIKE, "?rider=A,B")


def test_the_answer_tells_bands_what_remains_and_what_the_exam_speaks_against() -> None:
    told = shown(ids.ANSWER)
    assert "expected as it is: 4.1°, 3.2° with the first setup on both sides. Perfect symmetry is not the aim." in told
    assert "1 setups that the exam speaks against" not in told and "One setup that the exam speaks against" in told
    assert "Left, a high insole:  a low arch left with a high insole, 2 levels above it." in told
    assert "fit S00012" in shown("next-head")


def test_a_record_that_is_not_kept_is_told_at_the_top() -> None:
    assert "held so far" not in shown("next-head")
    broken = replace(RECORD, is_kept=False, headline="Do not lean on what is foreseen today: made.")
    assert "Do not lean on what is foreseen today" in shown("next-head", asked=Asked(record=broken))


def test_a_silent_answer_has_no_figure() -> None:
    silent = replace(ANSWER, is_silent=True, setups=(), alike=(), headline="The rider told of pain (5 of 10).")
    told = shown(ids.ANSWER, asked=Asked(silent))
    assert "no medical advice" in told and "°" not in told
    assert "No like knee is told" in shown(ids.ALIKE, asked=Asked(silent))


@pytest.mark.parametrize(
    ("place", "words_told"),
    [
        (ids.ALIKE, "insole none to medium"),
        (ids.ALIKE, "did not hold"),
        (ids.ALIKE, "most like the left one: made."),
        (ids.RECORD, "What is foreseen has held so far"),
    ],
)
def test_the_views_tell_like_knees_and_the_record(place: str, words_told: str) -> None:
    assert words_told in shown(place)


def test_the_record_is_told_over_all_and_by_group_but_not_by_month() -> None:
    told = shown(ids.RECORD)
    assert "80\xa0% (77 to 83\xa0%)" in told.replace("\u202f", "\xa0") and "2026-08" not in told
