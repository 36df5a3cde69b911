"""What Supports and Fitters show of the checks and of the noise by fitter, from answers written by hand."""

from dataclasses import replace
from typing import Any

from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.pages.fitters.callbacks import TEXT as FITTERS_TEXT
from dashboard.pages.fitters.measured import columns, scatter
from dashboard.pages.supports.callbacks import TEXT
from dashboard.pages.supports.checked import check_columns, checked
from dashboard.questions.data.answers_noise import Noise, NoiseGroupRow
from dashboard.questions.selection.selection import Selection
from tests.unit.made_answers import SHARED, MadeAsker, made_checks
from tests.unit.page_places import words

DESK = Desk(MadeAsker(), Addresses("/"))  # type: ignore[arg-type]
WHOLE = Selection()


def cells(rows: Any, made: Any) -> list[list[str]]:
    return [[str(column.text(row)) for column in made] for row in rows]


def test_what_was_found_stands_first_and_the_rest_in_the_fold() -> None:
    answer = made_checks()
    title, found, fold = checked(DESK, WHOLE, answer, "tilt", TEXT)
    assert words(title) == "Tilt: do the effects hold as they are told?"
    assert words(found) == answer.checks[1].words
    assert answer.checks[0].words in words(fold) and answer.checks[1].words not in words(fold)


def test_where_nothing_was_found_it_is_said_in_one_sentence() -> None:
    late = made_checks().checks[0]
    answer = replace(made_checks(), headline="Nothing was found.", checks=(late,))
    assert words(checked(DESK, WHOLE, answer, "tilt", TEXT)[1]) == "Nothing was found."
    assert checked(DESK, WHOLE, replace(answer, checks=()), "tilt", TEXT) == []


def test_the_table_of_the_checks_prints_each_figure_under_its_heading() -> None:
    late, on_insole = made_checks().checks
    rows = cells((late, on_insole, replace(late, is_found=True, is_allowed_for=True)), check_columns("95 %"))
    assert rows[0] == [
        "An effect one capture late",
        "no",
        "–",
        "–",
        "−8 to 12\N{NARROW NO-BREAK SPACE}%",
        "0.300",
        "480",
        "201",
    ]
    assert rows[1][1:5] == ["yes", "+0.41 to +0.58°", "+0.70 to +0.89°", "+0.21 to +0.39°"]
    assert rows[2][1] == "yes, and allowed for"
    unknown = replace(late, difference=None, difference_low=None, difference_high=None, q_value=None)
    assert cells((unknown,), check_columns("95 %"))[0][1:6] == ["not enough yet", "–", "–", "–", "–"]


def group(fitter: str, outcome: str = "tilt", **given: Any) -> NoiseGroupRow:
    return NoiseGroupRow(
        "fitter", fitter, outcome, "deg", 40, 20, 0.61, 0.55, 0.69, 1.7, 0.0, "",
        **{"judged_by": 1.7, "ratio": 0.9, "ratio_low": 0.8, "ratio_high": 1.1, "q_value": 0.4, **given},
    )  # fmt: skip


NOISY = group("F2", judged_by=3.3, ratio=2.0, ratio_low=1.9, ratio_high=2.1, q_value=0.0, scatters_more=True)


def made_noise(*groups: NoiseGroupRow) -> Noise:
    return Noise(**SHARED, headline="", noise=(), groups=groups)


def test_a_fitter_whose_captures_scatter_more_is_named_as_a_matter_of_measuring() -> None:
    noisy = replace(NOISY, words="F2's captures scatter more.")
    title, found, *rest = scatter(DESK, WHOLE, made_noise(group("F1"), noisy), FITTERS_TEXT)
    assert words(title) == "Captures that scatter more: F2"
    assert words(found) == "F2's captures scatter more."
    assert "says nothing of the fits" in words(rest)


def test_no_name_is_told_without_a_clear_difference_nor_of_other_fitters_than_the_chosen() -> None:
    title, found, *_ = scatter(DESK, WHOLE, made_noise(group("F1"), group("F2")), FITTERS_TEXT)
    assert words(title) == "No fitter's captures were found to scatter more than the others'" and found is None
    chosen = Selection(fitter=("F1",))
    assert "F2" not in words(scatter(DESK, chosen, made_noise(group("F1"), NOISY), FITTERS_TEXT))
    few = group("F1", ratio=None, ratio_low=None, ratio_high=None, q_value=None)
    assert words(scatter(DESK, WHOLE, made_noise(few), FITTERS_TEXT)[0]) == "Too few repeats to say whose captures scatter more"
    assert scatter(DESK, WHOLE, made_noise(), FITTERS_TEXT) == []


def test_the_table_of_scatter_stands_by_outcome_and_id_without_ranks() -> None:
    assert cells((NOISY,), columns("95 %")) == [
        ["F2", "Tilt", "0.61°", "0.55 to 0.69°", "2.00", "1.90 to 2.10", "3.3°", "40", "20"]
    ]
    text = words(scatter(DESK, WHOLE, made_noise(group("F3"), NOISY, group("F1", "sway"), group("F1")), FITTERS_TEXT))
    assert text.index("F1 Tilt") < text.index("F2 Tilt") < text.index("F3 Tilt") < text.index("F1 Sway")
