"""The detector of claims: what must be found, what must not, and that no sentence with a word of direction is unknown."""

from pathlib import Path

import pytest

from dashboard.questions.models.verdict import _FALLS, _RISES
from tests.nothing.claims import Claim, claims_of, is_known, kind_of, shape_of, unknown_in
from tests.nothing.collecting import collected
from tests.nothing.found import FOUND
from tests.nothing.pieces import Said

CLAIMING = {
    "effect": (
        "One more varus shim raises the tilt by 0.47 to 0.56°, in 800 riders in whom it was changed.",
        "A low insole takes sway away by 0.42 to 0.59 mm; both estimates agree.",
        "One more varus shim brings knees that came inward nearer to neutral by 0.29 to 0.50° (497 riders); one mm of outward "
        "stance those that came outward, by 0.02 to 0.12° (253 riders).",
        "A low insole takes knees that came near neutral further from neutral by 0.10 to 0.30° (12 riders).",
        "Came inward: 5 nearer, 1 further",
        "0.29 to 0.50 nearer",
        "Tilt: a clear change for 2 of 6 supports",
        "Sway: a clear change for all 6 supports",
    ),
    "levels differ": (
        "One mm of outward stance differs between levels in offset: spread between levels 0.10 mm.",
        "Tilt by foot type: a difference for one more shim, and enough changes in 54 of 72 cells",
    ),
    "dose bends": ("Shims and tilt: not a straight line, known from -1 shim to 3 shims",),
    "off neutral": (
        "Knees that came inward left 0.21° nearer to neutral beyond the noise (0.10 to 0.32°): the distance changed by "
        "-0.36°, of "
        "which -0.15° would be expected with nothing changed.",
        "Beyond the noise, knees that came inward left nearer to neutral",
    ),
    "responders": (
        "12 % of knees left nearer to neutral than they came, by more than the noise (10 to 13 %; 2,775 knees).",
        "9 % of knees left with less sway by more than 3.1 mm (8 to 11 %; 2,775 knees).",
    ),
    "comfort": ("Comfort rose by 1.4 points of 10 on average (1.4 to 1.5; 1,418 fits rated at both ends).",),
    "moved": (
        "2 of 7 figures moved by more than their usual scatter.",
        "Riders who came back: 8 months in a row above the centre, November 2024 to June 2025 (60 % on average; centre 56 %).",
        "Comfort gained: beyond the upper limit from August 2025 to September 2025 (1.9 points; centre 1.2 points).",
        "Side differences left: falling for 6 months in a row, September 2024 to February 2025.",
        "Knees better at departure: above the upper limit, September 2025",
        "Comfort gained: 4 signals.",
        "a run above centre",
        "Comfort gained: 1.6 points from about June 2025 on, 1.2 points before.",
        "Comfort gained: higher from about June 2025 on",
        "Comfort gained: moved by more than its usual scatter.",
    ),
    "period": (
        "Comfort gained: better, 0.4 points more than in June, 0.1 to 0.7 (120 and 118 fits).",
        "April to June 2026 was better in comfort gained, worse in fits seen again in time.",
    ),
    "studios": ("Comfort gained: better at quayside, 0.4 points more than at ropewalk, 0.1 to 0.7 (120 and 118 fits).",),
    "groups return": (
        "Riders come back at different rates by visit kind: chance alone would bring a difference as large less than "
        "once in 1,000 "
        "times.",
    ),
    "lasting": (
        "Sway changed by -0.40 mm (-0.61 to -0.19 mm) on average from the fit's departure to the follow-up's arrival.",
    ),
    "fitter": (
        "F3: 0.61 points over 120 fits, 1.40 points expected of these riders (difference -0.79 points, -1.01 to -0.57 "
        "points); below "
        "the 99.8 % limits: look at these fits together.",
        "Of 6 fitters compared with what is expected of their riders, beyond the 99.8 % limits: F3 on comfort gained (below).",
        "Of 6 fitters compared with what is expected of their riders, beyond the 99.8 % limits: Fitter Cedar (F3) on comfort "
        "gained (below).",
        "Comfort gained: Fitter Cedar beyond the 99.8 % limits, to look at together",
        "Comfort gained: F3 beyond the 99.8 % limits, to look at together",
    ),
    "fitters scatter": ("Comfort gained: 6 fitters scatter more than chance alone.",),
    "side difference changed": (
        "Of 866 riders recorded at both ends, a side difference in tilt was resolved in 179, persisted in 202, was new "
        "in 55 and "
        "absent at both in 430: from 44 % to 30 %, fewer (-14 points, -18 to -11).",
        "30 % left with one, 14 points fewer (11 to 18; 866 riders recorded at both ends).",
    ),
    "level against the others": (
        "Low arch: 55 % of riders came with a side difference in tilt of 2° or more (48 to 61 %; 240 riders at their "
        "first session), "
        "15 points more than the other riders (7 to 22).",
        "Low arch: 55 % of riders came with one, 15 points against the other riders (7 to 22).",
    ),
    "one side leads": (
        "offset at arrival: the sides differ by 4.1 mm in the middle fit and by 9.8 mm or more in one of ten; right "
        "less left is "
        "0.55 mm on average (0.12 to 0.98 mm; 753 fits): the right side leads.",
    ),
    "rating changed": (
        "Comfort from arrival to departure: better in 61 % (58 to 64 %), the same in 21 %, worse in 18 %; +1.4 points "
        "of 10 on average "
        "(1.3 to 1.5; 1,418 pairs of 900 riders).",
    ),
    "agreement goes with": (
        "Fits in agreement gained comfort by 0.31 points more than flagged ones that began alike (0.10 to 0.52 points; "
        "812 fits).",
    ),
    "captures scatter": (
        "F3's captures scatter more in tilt than the others', 1.8 to 3.1 times.",
        "Captures that scatter more: F3",
    ),
    "late": ("About 30 % of what a support does to the tilt comes one capture late (22 to 38 %; 300 repeats after a change).",),
    "not the same": (
        "It is not the same at every step: 0.40 to 0.60° for the first shim, 0.10 to 0.20° for each further one.",
    ),
    "rig": (
        "Arrivals at ropewalk stand 1.6° (1.2 to 2.1°) further out since 6 Jun 2025 (it began between 4 Jun and 8 Jun 2025).",
        "Right knees at ropewalk stand 1.1° (0.8 to 1.4°) further out against left ones in all fits.",
        "Left and right are exchanged at ropewalk in all fits: supports under one foot move the other knee.",
        "Captures with nothing changed lie 1.8 times further apart in tilt at ropewalk since 3 May 2026.",
        "The rig at ropewalk measures tilt otherwise, as Data tells.",
        "ropewalk: arrivals stand 1.6° further out since 6 Jun 2025",
    ),
    "shim place": (
        "After one more varus shim in the shoe, tilt changed by 0.48° on average (0.41 to 0.55°; 210 changes).",
        "The change of tilt was 0.20° higher at the cleat than in the shoe (0.05 to 0.35°).",
    ),
}
HEDGED = (
    "Beside June: 1 better, 3 no clear change",
    "Most apart: fits with a side difference left, 18 % and 40 %, -22 points from June (-42 to -2); among 8 comparisons chance "
    "alone often brings one like it.",
    "July 2026: no clear change from June or from July 2025 in any of the four figures.",
    "Fits with a side difference left: no clear change from June, -22 points (-42 to -2; 49 and 47 fits).",
    "Comfort gained: no clear difference, quayside less ropewalk 0.1 points (-0.1 to 0.3; 975 and 443 fits).",
    "Knees better: not found to move beyond its usual scatter.",
    "Further varus shims were not found to do otherwise to the tilt than the first: anything from -0.10 to 0.03°.",
    "No rig is seen to have moved: no step, no drift, no side, no exchange of left and right, no change of noise.",
    "No fitter's captures were found to scatter more than the others'",
    "No clear change in sway from the fit's departure to the follow-up's arrival in knees found again, 0.2 mm (0.0 to 0.4 mm).",
    "One mm of outward stance shows no clear change in sway: anything from -0.05 to 0.02 mm; both estimates agree.",
    "A low insole: not enough yet, 4 changes in 3 riders; an estimate needs 10 changes in 10 riders.",
    "A high insole shows no clear difference between levels in tilt: spread between levels 0.15°.",
    "Tilt by foot type: no support clearly differs, and enough changes in 54 of 72 cells",
    "Stance and tilt: no bend in the line seen, known from -4 mm to 6 mm",
    "None of 7 figures moved by more than its usual scatter.",
    "Knees better: no signal. The centre of 10 % is what was usual in 12 months, March 2024 to February 2025.",
    "No clear difference in how riders come back by sex: chance alone would bring a difference as large in 40 % of cases.",
    "Of 6 fitters compared with what is expected of their riders, none lies beyond the 99.8 % limits.",
    "Outside the 95 % limits, no more than chance may bring among so many figures: F3 on comfort gained (below).",
    "Comfort gained: 6 fitters scatter no more than by chance.",
    "F2: 24 % of 331 fits, 30 % expected of these riders (ratio 0.80, 0.65 to 0.98); outside the 95 % limits, no "
    "more than chance "
    "may bring among so many figures.",
    "Comfort shows no clear change: 0.1 points of 10 on average (0.0 to 0.2; 753 fits rated at both ends).",
    "Comfort from arrival to departure: better in 41 % (38 to 44 %), the same in 21 %, worse in 38 %; +0.1 points "
    "of 10 on average "
    "(0.0 to 0.2; 1,418 pairs of 900 riders): no clear change.",
    "sway at arrival: the sides differ by 1.4 mm in the middle fit and by 3.6 mm or more in one of ten; right less "
    "left is 0.11 mm on "
    "average (0.01 to 0.21 mm; 753 fits): neither side clearly leads.",
    "2 % of knees left nearer to neutral than they came, by more than the noise (1 to 3 %; 1,480 knees).",
    "44 % of riders came with a side difference in tilt of 2° or more (41 to 47 %; 882 riders at their first session).",
    "Fits in agreement came nearer to neutral by 0.02° less than flagged ones that began alike (-0.08 to 0.04°; "
    "700 fits): no clear "
    "difference.",
)


@pytest.mark.parametrize(("kind", "sentence"), [(kind, sentence) for kind, told in CLAIMING.items() for sentence in told])
def test_a_claim_is_found_and_named(kind: str, sentence: str) -> None:
    found = kind_of(sentence)
    assert found is not None
    assert found.name == kind


@pytest.mark.parametrize("sentence", HEDGED)
def test_what_hedges_itself_or_counts_claims_nothing_and_is_known(sentence: str) -> None:
    assert kind_of(sentence) is None
    assert is_known(sentence)


@pytest.mark.parametrize("words", [*_RISES.values(), *_FALLS.values()])
def test_every_direction_that_a_verdict_knows_is_found(words: str) -> None:
    found = kind_of(f"One more varus shim {words} by 0.20 to 0.40°; both estimates agree.")
    assert found is not None and found.name == "effect"


def test_a_sentence_of_a_new_kind_is_told_as_unknown_once_a_shape() -> None:
    new = [Said("page studio", "text", f"Knees stood {n}.5° further outward than in spring.") for n in (1, 2)]
    assert unknown_in(new) == ["Knees stood 1.5° further outward than in spring."]
    assert unknown_in([Said("page studio", "text", "753 fits of 400 riders.")]) == []


def test_bold_cells_and_marks_are_claims_too() -> None:
    said = [Said("page supports", "bold", "+0.39° +0.35 to +0.43"), Said("page studio", "mark", "comfort_gained: diamond")]
    assert [(claim.kind, claim.is_echo) for claim in claims_of(said)] == [("bold", True), ("mark", True)]


def test_a_shape_has_neither_numbers_nor_dates_nor_ids() -> None:
    assert shape_of("F3 on 28 Aug 2026: -0.79 of 1,418 fits, R0900.") == "ID on DATE: # of # fits, ID."


def test_nothing_that_the_demo_is_told_is_unknown(demo_warehouse: Path) -> None:
    """The demo claims of nearly every kind; a page with a sentence of a new kind fails here, with the sentence."""
    said = collected(demo_warehouse, splits=("foot_type", "visit_kind"))
    assert unknown_in(said) == []
    kinds = {claim.kind for claim in claims_of(said)}
    assert {"effect", "bold", "off neutral", "responders", "comfort", "moved", "side difference changed", "mark"} <= kinds


def test_what_moved_by_month_is_found_under_the_name_that_pages_give_it() -> None:
    """On the code before, the name that was looked for had been given up, and nothing was ever found."""
    words = "Fits seen again in time: 68 % from about June 2025 on, 51 % before."
    by_week = "Fits seen again in time: 68 % from about the week of 2 June 2025 on, 51 % before."
    found = FOUND["riders came back more with the practice, by month"]
    kind = kind_of(words)
    assert kind is not None
    assert found([Claim("page", kind.name, words, is_answer=False, is_echo=False)])
    assert not found([Claim("page", "moved", by_week, is_answer=False, is_echo=False)])
    booked = words.replace("Fits seen again in time", "Follow-ups booked")
    assert not found([Claim("page", "moved", booked, is_answer=False, is_echo=False)])
