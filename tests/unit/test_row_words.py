"""A row of the warehouse in words."""

import pytest

from shared.row_words import example_words, row_words


@pytest.mark.parametrize(
    ("table", "key", "words"),
    [
        ("foot_exams", "S00139|right", "session S00139, right foot"),
        ("knee_captures", "S2|4|left", "session S2, capture 4, left knee"),
        ("fit_sessions", "S2", "session S2"),
        ("bike_measures", "S2|departure|saddle_height", "session S2, at departure, saddle height"),
        ("rider_ratings", "S2|1|comfort|lower_back", "session S2, capture 1, comfort, lower back"),
        ("riders", "r_1", "rider r_1"),
    ],
)
def test_a_key_is_told_part_by_part(table: str, key: str, words: str) -> None:
    assert row_words(table, key) == words


def test_an_id_that_holds_the_sign_between_parts_leaves_the_key_as_it_stands() -> None:
    assert row_words("foot_exams", "S|1|right") == "S|1|right"


def test_an_example_is_a_sentence_that_begins_with_the_row() -> None:
    assert example_words("fit_sessions", [{"row_key": "s2", "words": "no exam."}]) == ["Session s2: no exam."]
