"""The riders question on three riders small enough to follow by hand. The data's last date is 30 June 2026."""

import dataclasses
import statistics
from datetime import date

import pytest

from dashboard.questions.data import noise
from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.riders import riders
from dashboard.questions.riders.answers_riders import CaptureRow, Riders, RiderTimeline
from dashboard.questions.riders.riders_found import riders_found, riders_of_fits
from dashboard.questions.riders.riders_words import change_words, room_words, setup_words
from dashboard.questions.selection.selection import Selection, parse_selection
from etl import mart
from shared.errors import TooFewError
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})

RIDERS = "rider_id | riding\nR1 | road\nR2 | road\nr2b | gravel"
SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind | notes
S1 | R1  | F1 | q | 2026-04-01 | first     | likes the numbers
S2 | R1  | F2 | w | 2026-04-20 | follow_up | -
S3 | R2  | F1 | q | 2026-05-01 | first     | -
S4 | r2b | F1 | q | 2026-06-30 | first     | -
"""
# R1: left from -5 to -1, right 1.0 to 1.4, then a follow-up of one capture. R2: three captures with nothing changed.
CAPTURES = """
session_id | capture_no | side | knee_tilt_deg | knee_sway_mm
S1 | 1 | left  | -5.0 | 20
S1 | 1 | right |  1.0 | 20
S1 | 2 | left  | -3.0 | 20
S1 | 2 | right |  1.2 | 20
S1 | 4 | left  | -1.0 | 20
S1 | 4 | right |  1.4 | 20
S2 | 1 | left  | -1.2 | 20
S2 | 1 | right |  1.1 | 20
S3 | 1 | left  |  0.0 | 20
S3 | 1 | right |  3.0 | 20
S3 | 2 | left  |  0.5 | 20
S3 | 2 | right |  3.0 | 20
S3 | 3 | left  |  0.5 | 20
S3 | 3 | right |  2.5 | 20
S4 | 1 | left  |  0.0 | 20
S4 | 2 | left  |  0.0 | 20
"""
SETUPS = """
session_id | capture_no | side | insole_level | shims_added | shims_built_in | shim_place | stance_mm | stance_by
S1 | 1 | left  | low    | 0 | 1 | -        | 0 | -
S1 | 1 | right | none   | 0 | 0 | -        | 0 | -
S1 | 2 | left  | medium | 1 | 1 | at_cleat | 0 | -
S1 | 2 | right | none   | 0 | 0 | -        | 0 | -
S1 | 4 | left  | medium | 1 | 1 | at_cleat | 3 | spacer
S1 | 4 | right | none   | 0 | 0 | -        | 0 | -
S2 | 1 | left  | medium | 0 | 1 | -        | 3 | spacer
S2 | 1 | right | none   | 0 | 0 | -        | 0 | -
S3 | 1 | left  | none   | 0 | 0 | -        | 0 | -
S3 | 1 | right | none   | 0 | 0 | -        | 0 | -
S3 | 2 | left  | none   | 0 | 0 | -        | 0 | -
S3 | 2 | right | none   | 0 | 0 | -        | 0 | -
S3 | 3 | left  | none   | 0 | 0 | -        | 0 | -
S3 | 3 | right | none   | 0 | 0 | -        | 0 | -
S4 | 1 | left  | none   | 0 | 0 | -        | 0 | -
S4 | 2 | left  | none   | 0 | 0 | -        | 0 | -
"""
FOLLOW_UPS = """
follow_up_id | session_id | booked_on | due_on | state | attended_on | returned_session_id | setup_kept | satisfaction | pain
B1 | S1 | 2026-04-01 | 2026-04-15 | attended | 2026-04-20 | S2 | all | 9 | 0
B2 | S3 | 2026-05-01 | 2026-05-15 | open     | -          | -  | -   | - | -
B3 | S4 | 2026-06-30 | 2026-07-14 | open     | -          | -  | -   | - | -
"""
EXAMS = """
session_id | side | arch_height | forefoot_angle_deg
S1 | left  | medium | 5
S1 | right | low    | 0
S3 | left  | high   | 0
S3 | right | low    | 0
"""
RATINGS = """
session_id | capture_no | topic | body_part | score
S1 | 1 | comfort | whole | 4
S1 | 2 | comfort | whole | 5
S1 | 4 | comfort | whole | 7
S2 | 1 | comfort | whole | 6
"""
BIKE = """
session_id | moment | measure | value_mm
S1 | arrival   | saddle_height | 700
S1 | departure | saddle_height | 712
"""


@pytest.fixture
def studio(memory: Warehouse) -> Warehouse:
    fill(
        memory,
        riders=RIDERS,
        fitters="fitter_id | fitter_name\nF1 | Alder\nF2 | Birch",
        fit_sessions=SESSIONS,
        knee_captures=CAPTURES,
        foot_setups=SETUPS,
        follow_ups=FOLLOW_UPS,
        foot_exams=EXAMS,
        rider_ratings=RATINGS,
        bike_measures=BIKE,
    )
    return memory


def known(studio: Warehouse) -> Noise:
    return noise.ask(studio, Selection(), FEW)


def listed(studio: Warehouse, **words: str) -> Riders:
    answer = riders.ask(studio, parse_selection(words), FEW, known(studio))
    assert isinstance(answer, Riders)
    return answer


def timeline(studio: Warehouse, rider: str, with_noise: bool = True, **words: str) -> RiderTimeline:
    answer = riders.ask(studio, parse_selection({"rider": rider, **words}), FEW, known(studio) if with_noise else None)
    assert isinstance(answer, RiderTimeline)
    return answer


def changes(answer: RiderTimeline, side: str) -> list[str]:
    return [row.words for row in answer.captures if row.side == side]


def test_the_list_holds_each_rider_once_those_with_most_reasons_first(studio: Warehouse) -> None:
    rows = listed(studio).riders
    assert [(row.rider_id, row.n_fits, row.studios) for row in rows] == [("R2", 1, "q"), ("R1", 2, "q, w"), ("r2b", 1, "q")]
    assert [(row.first_date, row.last_date) for row in rows][1] == (date(2026, 4, 1), date(2026, 4, 20))
    # As the last fit left them: R1 at S2, R2 at its third capture; r2b has no right knee.
    assert [(row.tilt_left_deg, row.tilt_right_deg) for row in rows] == [(0.5, 2.5), (-1.2, 1.1), (0.0, None)]
    assert [row.side_difference_deg for row in rows] == [pytest.approx(2.5 - 0.5), pytest.approx(1.1 + 1.2), None]


def test_the_list_says_what_deserves_a_look(studio: Warehouse) -> None:
    second, first, later = listed(studio).riders
    assert (later.follow_up, later.due_on, later.look) == ("booked", date(2026, 7, 14), "")
    assert later.words == "Nothing that asks for a look."
    # A difference of exactly the limit of 2 degrees is left over; a high arch without insole leaves the exam.
    assert (second.follow_up, second.due_on, second.look) == ("over", date(2026, 5, 15), "overdue, side_difference, flag")
    assert second.words == (
        "Follow-up over since 15 May 2026. 2.0° between the knees remain, the right one further out. "
        "Last fit not as the exam suggests."
    )
    # S2 has no exam: the last fit that can be judged is S1, whose left foot has two shims where one is asked for.
    assert (first.follow_up, first.look, first.n_judged_fits, first.n_flagged_fits) == (
        "came",
        "side_difference, flag",
        1,
        1,
    )


@pytest.mark.parametrize(("look", "riders"), [("overdue", ["R2"]), ("side_difference", ["R2", "R1"]), ("flag", ["R2", "R1"])])
def test_those_who_deserve_a_look_are_those_whose_row_says_so(studio: Warehouse, look: str, riders: list[str]) -> None:
    rows = listed(studio).riders
    assert rows.where(look) == tuple(row for row in rows if look in row.look.split(", "))
    assert [row.rider_id for row in rows.where(look)] == riders


def test_of_riders_with_as_many_reasons_the_newest_fit_stands_first(studio: Warehouse) -> None:
    wide = FEW.model_copy(update={"knee": FEW.knee.model_copy(update={"side_difference_deg": 2.2})})
    answer = riders.ask(studio, Selection(), wide)
    assert isinstance(answer, Riders)
    # R2 (1 May) keeps two reasons without its side difference, and stands before R1 (20 April).
    assert [(row.rider_id, row.look) for row in answer.riders] == [
        ("R2", "overdue, flag"),
        ("R1", "side_difference, flag"),
        ("r2b", ""),
    ]


def test_the_headline_of_the_list_counts(studio: Warehouse) -> None:
    assert listed(studio).headline == (
        "Of 3 riders the last fit held for 1, did not for 0, and for 2 it is not known; 1 has a follow-up over, 2 left with a "
        "side difference of 2° or more, and for 2 the last fit is to look at together."
    )


def test_the_list_says_what_became_of_the_last_fit_that_asks_for_a_follow_up(studio: Warehouse) -> None:
    # R1's S1 was followed up by S2, which asks for none: left 0.2° further from neutral, right 0.3° nearer. R2's window has
    # closed.
    assert {row.rider_id: (row.became, row.fit_date) for row in listed(studio).riders} == {
        "R1": ("held", date(2026, 4, 1)), "R2": ("not_seen", date(2026, 5, 1)), "r2b": ("waiting", date(2026, 6, 30))
    }  # fmt: skip
    # Without the noise of repeat captures no fit is told to have held; where the selection holds no fit that asks, none is
    # told.
    unknown = riders.ask(studio, Selection(), FEW)
    assert isinstance(unknown, Riders)
    assert [row.became for row in unknown.riders if row.rider_id == "R1"] == ["not_measured"]
    assert [(row.rider_id, row.became, row.fit_date) for row in listed(studio, visit_kind="follow_up").riders] == [
        ("R1", "", None)
    ]


def test_a_follow_up_is_told_by_today(studio: Warehouse) -> None:
    def states(today: date) -> dict[str, str]:
        answer = riders.ask(studio, Selection(), FEW, None, today)
        assert isinstance(answer, Riders)
        return {row.rider_id: row.follow_up for row in answer.riders}

    assert states(date(2026, 7, 13))["r2b"] == "booked"
    assert states(date(2026, 7, 14))["r2b"] == "due"
    assert states(date(2026, 7, 15)) == {"R1": "came", "R2": "over", "r2b": "over"}


def test_a_selection_bounds_the_list_and_several_riders_are_a_list(studio: Warehouse) -> None:
    assert [row.rider_id for row in listed(studio, fitter="F2").riders] == ["R1"]
    assert [row.rider_id for row in listed(studio, rider="R1,R2").riders] == ["R2", "R1"]


@pytest.mark.parametrize("unknown", ["R9", "r1"])
def test_an_unknown_rider_is_an_empty_selection(studio: Warehouse, unknown: str) -> None:
    with pytest.raises(TooFewError, match=rf"No fit matches this selection \(0 fits, rider {unknown}\)"):
        timeline(studio, unknown)


def test_the_timeline_says_what_changed_since_the_capture_before(studio: Warehouse) -> None:
    answer = timeline(studio, "R1")
    assert answer.selection_words == "2 fits, 1 Apr to 20 Apr 2026, both studios, rider R1"
    assert changes(answer, "left") == [
        "arrived with low insole; 1 varus shim built in",
        "medium insole instead of low; one more varus shim (2 varus shims in all) at the cleat",
        "foot 3.0\xa0mm outward by spacer",
        "since the fit before: one varus shim fewer (1 varus shim in all)",
    ]
    assert changes(answer, "right")[1:] == ["nothing changed", "nothing changed", "since the fit before: nothing changed"]
    assert [(row.place, row.capture_no) for row in answer.captures if row.side == "left"] == [(1, 1), (2, 2), (3, 4), (4, 1)]
    assert [row.setup for row in answer.captures if row.side == "left"][2] == (
        "medium insole; 1 varus shim added at the cleat, 1 varus shim built in; stance 3.0\xa0mm by spacer"
    )
    assert [row.is_changed for row in answer.captures if row.side == "left"] == [False, True, True, True]


def test_a_change_is_told_against_the_noise_of_the_repeat_captures(studio: Warehouse) -> None:
    # Repeat pairs, later less earlier: R1's right knee, R2's left and right, r2b's left.
    mdc95 = 1.96 * statistics.stdev([0.2, 0.2, 0.5, 0.0, 0.0, -0.5, 0.0])
    answer = timeline(studio, "R1")
    tilts = {(row.session_id, row.side): row for row in answer.knees if row.outcome == "tilt"}
    left, right = tilts["S1", "left"], tilts["S1", "right"]
    assert (left.arrival, left.departure, left.change) == (-5.0, -1.0, -1.0 + 5.0)
    assert left.mdc95 == pytest.approx(mdc95, abs=1e-9)
    assert (left.verdict, right.verdict, tilts["S2", "left"].verdict) == ("changed", "unclear", "unknown")
    assert answer.fits[0].words == (
        "left tilt went from −5.0° to −1.0°, more than the 0.6° that would be noise; "
        "right did not clearly change (from 1.0° to 1.4°)."
    )
    # The visit that followed up says what it followed up; the fit before it is told first.
    assert answer.fits[1].told == (
        "The follow-up of 20 Apr 2026; tilt was −1.2° left and 1.1° right on arrival; it followed up the first fit of 1 Apr "
        "2026, which held."
    )
    assert (
        answer.headline
        == answer.fits[0].told
        == (
            "The first fit of 1 Apr 2026 held; tilt was −5.0° left and 1.0° right on arrival, −1.0° and 1.4° at departure "
            "(the left knee clearly changed), −1.2° and 1.1° at the follow-up 19 days later; since departure no knee went "
            "away from neutral by more than 0.6°, the smallest real change."
        )
    )
    assert (left.found, left.further) == (-1.2, pytest.approx(0.2))
    assert tilts["S2", "left"].found is None
    assert answer.fits[0].next_session_id == "S2" == answer.fits[1].session_id


def test_without_a_typical_error_nothing_is_told_from_noise(studio: Warehouse) -> None:
    strict = Settings()
    answer = riders.ask(studio, parse_selection({"rider": "R1"}), strict, noise.ask(studio, Selection(), strict))
    assert isinstance(answer, RiderTimeline)
    assert answer.noise == ()
    assert {row.verdict for row in answer.knees} == {"unknown"}
    assert answer.fits[0].words == (
        "left tilt went from −5.0° to −1.0° and right tilt went from 1.0° to 1.4°; whether that is more than noise is not "
        "known, since there are too few repeat captures yet."
    )
    assert answer.fits[0].told.startswith("The first fit of 1 Apr 2026 was seen again, and whether it held is not known; ")
    assert answer.fits[0].told.endswith("; the rider came on 20 Apr 2026, and there are too few repeat captures yet.")


def test_both_knees_are_told_whichever_side_is_selected(studio: Warehouse) -> None:
    assert {row.side for row in timeline(studio, "R1", side="left").captures} == {"left", "right"}


def test_what_else_is_held_of_the_rider(studio: Warehouse) -> None:
    answer = timeline(studio, "R1")
    said = [(row.session_id, row.arrival, row.departure, row.follow_up) for row in answer.ratings]
    assert said == [("S1", 4, 7, 6), ("S2", 6, None, None)]
    [measure] = answer.bike
    assert (measure.arrival_mm, measure.departure_mm, measure.change_mm) == (700, 712, 712 - 700)
    [booking] = answer.follow_ups
    assert (booking.state, booking.returned_session_id, booking.setup_kept) == ("attended", "S2", "all")
    assert [(row.side, row.forefoot) for row in answer.exams] == [("left", "mild_varus"), ("right", "neutral")]
    assert answer.fits[0].notes == "likes the numbers"
    flags = [(row.session_id, row.side, row.rule) for row in answer.look_at if row.weight == "flag"]
    assert flags == [("S1", "left", "shims_to_need"), ("S1", "left", "stance_follows_knee")]
    assert b"Alder" not in answer.to_json()
    assert answer.to_csv().startswith("place,session_id,session_date,capture_no,side,knee_tilt_deg")


@pytest.mark.parametrize(
    ("today", "end"),
    [
        (None, "its follow-up was due on 15 May 2026, 46 days ago."),
        (date(2026, 7, 2), "its follow-up was due on 15 May 2026, 48 days ago."),
    ],
)
def test_a_fit_that_was_not_seen_again_says_where_its_booking_stands(studio: Warehouse, today: date | None, end: str) -> None:
    answer = riders.ask(studio, parse_selection({"rider": "R2"}), FEW, known(studio), today)
    assert isinstance(answer, RiderTimeline)
    assert answer.headline == (
        "The first fit of 1 May 2026 was not seen again; tilt was 0.0° left and 3.0° right on arrival, 0.5° and 2.5° at "
        f"departure (no clear change); {end}"
    )
    waiting = riders.ask(studio, parse_selection({"rider": "r2b"}), FEW, known(studio), today)
    assert waiting.headline == (
        "The first fit of 30 Jun 2026 has not been seen again yet; tilt was 0.0° left (right not recorded) on arrival, 0.0° "
        "left (right not recorded) at departure (no clear change); its follow-up is booked for 14 Jul 2026."
    )


def test_a_fit_that_did_not_hold_says_which_knee(studio: Warehouse) -> None:
    studio.run("UPDATE core.knee_captures SET knee_tilt_deg = -2.2 WHERE session_id = 'S2' AND side = 'left'")
    mart.build(studio)
    answer = timeline(studio, "R1")
    assert "The first fit of 1 Apr 2026 did not hold; " in answer.headline
    assert answer.headline.endswith(
        "; since departure the left knee went 1.2° away from neutral, more than 0.6°, the smallest real change."
    )


def test_riders_are_found_by_a_part_of_their_id_without_case(studio: Warehouse) -> None:
    assert riders_found(studio, "R2") == ("R2", "r2b")
    assert riders_found(studio, "2B ") == ("r2b",)
    assert riders_found(studio, "R3") == ()
    assert riders_of_fits(studio, ["S3", "S9"]) == {"S3": "R2"}


def test_a_fitter_finds_the_riders_of_their_own_fits_only(studio: Warehouse) -> None:
    assert riders_found(studio, "r", "F2") == ("R1",)
    assert riders_of_fits(studio, ["S1", "S2"], "F2") == {"S2": "R1"}


def setup(**other: object) -> dict[str, object]:
    plain = {name.name: None for name in dataclasses.fields(CaptureRow)}
    return {**plain, "insole_level": "none", "shims_added": 0, "stance_mm": 0.0, **other}


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ({}, {}, "nothing changed"),
        ({"insole_level": "high"}, {}, "no insole instead of high"),
        ({}, {"shims_added": 2, "shim_place": "in_shoe"}, "two more varus shims in the shoe"),
        ({}, {"shims_added": -1}, "one more valgus shim"),
        ({"shims_added": 1}, {"shims_added": -1}, "1 valgus shim instead of 1 varus shim"),
        ({"shims_added": -1}, {}, "one valgus shim fewer"),
        ({"shims_built_in": 1}, {"shims_added": 1}, "the same shims in all, now 1 varus shim"),
        (
            {"shims_added": 1, "shim_place": "in_shoe"},
            {"shims_added": 1, "shim_place": "at_cleat"},
            "shims at the cleat",
        ),
        ({"stance_mm": 4.0}, {"stance_mm": 2.5, "stance_by": "cleat"}, "foot 1.5\xa0mm inward by cleat"),
        ({"foot_room_ok": True}, {"foot_room_ok": False}, "nothing changed"),
        ({}, {"insole_level": None}, "setup not recorded"),
    ],
)
def test_a_change_of_setup_in_words(before: dict[str, object], after: dict[str, object], words: str) -> None:
    assert change_words(setup(**before), setup(**after)) == words


def test_foot_room_is_found_and_is_no_change_of_the_setup() -> None:
    room, none = setup(foot_room_ok=True), setup(foot_room_ok=False)
    assert (room_words(room, none), room_words(none, room)) == ("too little foot room now", "foot room again")
    assert (room_words(room, room), room_words(room, setup())) == ("", "")


def test_a_setup_in_words() -> None:
    given = setup(insole_level="low", shims_added=1, shims_built_in=-1, shim_place="at_cleat", stance_mm=2.0, stance_by="cleat")
    assert setup_words(given) == (
        "low insole; 1 varus shim added at the cleat, 1 valgus shim built in; stance 2.0\xa0mm by cleat"
    )
