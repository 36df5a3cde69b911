"""How many more fits settle a figure: figures by hand, words, and what the demo tells."""

from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.effects.answers_power import Power, PowerRow
from dashboard.questions.effects.power import _Practice, _words, power_rows
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.claims import Found, Noted
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from shared.settings import Settings, load_settings
from shared.statistics.power import Precision, differ, expected_width, times_needed

# Both estimates alike and equally sure: the told interval is either's.
ALIKE = Precision(pooled_half=1.0, within_half=1.0, difference=0.0, difference_se=1e-9)


def test_with_four_times_the_riders_an_interval_is_half_as_wide() -> None:
    assert expected_width(ALIKE, 1.0) == pytest.approx(2.0)
    assert expected_width(ALIKE, 4.0) == pytest.approx(1.0)
    assert times_needed(ALIKE, 0.5) == pytest.approx(16, rel=0.01)
    # With twice the captures of each rider who is to come: 1 + 2 · 7.5 as much as today.
    assert times_needed(ALIKE, 0.5, captures=2.0) == pytest.approx(8.5, rel=0.01)
    # Few degrees of freedom: with ten times the riders Student's t is that of 40, not of 4 (2.776 and 2.021).
    assert expected_width(replace(ALIKE, df=4.0), 10.0) == pytest.approx(2 / 10**0.5 * 2.021 / 2.776, rel=1e-3)


def test_what_the_two_truly_differ_by_no_number_of_fits_takes_away_but_the_third_does() -> None:
    apart = Precision(pooled_half=0.2, within_half=0.2, difference=1.0, difference_se=0.05)
    assert expected_width(apart, 1e6) == pytest.approx((1 - 0.05**2 / 2) ** 0.5, rel=1e-3)
    assert times_needed(apart, 0.5) is None
    with_third = replace(apart, third_from_pooled=0.5, third_half=0.05, strength=100.0)
    # A tenth of its half width of 0.05 on both sides of the third, which lies within the bracket, where both checks pass, as
    # chance lets them; else the bracket.
    passes = 0.95**2
    told = passes * 2 * 0.05 / 10 + (1 - passes) * expected_width(apart, 100.0)
    assert expected_width(with_third, 100.0) == pytest.approx(told, rel=1e-3)
    assert times_needed(with_third, 0.5) is not None
    # Too weak to be leaned on, until there are ten times the riders.
    weak = replace(with_third, strength=2.5)
    assert expected_width(weak, 2.0) == pytest.approx(expected_width(apart, 2.0))
    assert expected_width(weak, 10.0) < 0.6


def test_a_third_too_uncertain_to_say_where_leaves_more_of_the_bracket() -> None:
    """Its half width of 0.5 beside a bracket of 1 says little of where between the two the truth lies, and its own noise moves
    it."""
    apart = Precision(pooled_half=0.02, within_half=0.02, difference=1.0, difference_se=0.01)
    unsure = replace(apart, third_from_pooled=0.5, third_half=0.5, strength=100.0)
    sure = replace(unsure, third_half=0.05)
    assert expected_width(apart, 1.0) > expected_width(unsure, 1.0) > 0.6 > expected_width(sure, 1.0)


def test_a_first_stage_that_learns_much_from_little_gains_more_than_the_riders() -> None:
    """a(1 + a) = 200/100, a = 1: with twice the riders the variance is 2/(1.5 · 2) of what it was, not half."""
    apart = Precision(pooled_half=0.02, within_half=0.02, difference=5.0, difference_se=0.01)
    third = replace(apart, third_from_pooled=2.5, third_half=0.1, strength=100.0)
    bracket, passes = expected_width(apart, 2.0), 0.95**2
    for learnt, variance in ((0.0, 1 / 2), (200.0, 1.5 / (2 * 2))):
        told = passes * 0.2 * variance**0.5 + (1 - passes) * bracket
        assert expected_width(replace(third, learnt=learnt), 2.0) == pytest.approx(told, rel=1e-3)


def test_a_repeat_divides_what_the_two_differ_by() -> None:
    apart = Precision(pooled_half=0.2, within_half=0.2, difference=1.0, difference_se=0.05)
    assert expected_width(apart, 1e6, captures=2.0) == pytest.approx(expected_width(apart, 2e6) / 2, rel=1e-3)
    assert times_needed(apart, 0.6) is None
    # All who are to come with a repeat: of 0.999 of what is left by today's practice, half in the end.
    assert times_needed(apart, 0.6, captures=2.0) is not None


def test_where_noise_explains_what_all_supports_differ_by_no_difference_is_foreseen() -> None:
    assert not differ([0.1, -0.2], [0.2, 0.2])
    assert differ([0.1, -0.4], [0.2, 0.2])
    assert not differ([], [])
    assert differ([0.1], [0.0])
    seen = Precision(pooled_half=0.2, within_half=0.2, difference=0.3, difference_se=0.3)
    assert expected_width(replace(seen, differ=False), 1e6) < 0.01 < 0.2 < expected_width(seen, 1e6)


ROW = EffectRow(
    outcome="tilt", support="shim", unit="deg", split=None, level=None, n_riders=40, n_changes=60, pooled=0.5, pooled_low=0.0,
    pooled_high=1.0, within=0.5, within_low=0.0, within_high=1.0, bracket_low=0.0, bracket_high=1.0, q_value=0.2, words="",
    told_low=0.0, told_high=1.0, told_by="bracket",
)  # fmt: skip
NOTED = Noted(disagree=False, reach=1e-9)
# Ten riders a month, of whom as many have a shim changed as among the hundred that there are.
PRACTICE = _Practice(n_riders=100, riders_a_month=10.0, captures=2.0)


def row_of(*found: Found) -> list[PowerRow]:
    return power_rows(found, 0.6, PRACTICE, Settings())


def test_riders_and_months_by_hand() -> None:
    """Half as wide takes four times the 40 riders, 120 more, at 4 a month. With repeats, each new one counts twice: 60 more."""
    (row,) = row_of(Found(ROW, 0.2, NOTED))
    assert (row.width, row.matters, row.by) == (1.0, 0.5, "own")
    assert row.today_riders == pytest.approx(120, abs=2) and row.today_months == pytest.approx(30, abs=1)
    assert row.repeat_riders == pytest.approx(60, abs=2)
    assert row.drawn_riders == 178
    assert row.words == (
        f"One more varus shim on tilt: {row.today_riders} riders (about 30 months) more tell it narrower than 0.5°; with a "
        f"repeat before each change, {row.repeat_riders} riders (about 15 months); by draws against another step, 178 riders."
    )


def test_what_is_narrow_enough_asks_for_nothing_and_stance_is_told_for_two_millimetres() -> None:
    narrow = replace(ROW, support="stance", told_low=0.1, told_high=0.2)
    (row,) = row_of(Found(narrow, 0.2, NOTED))
    assert (row.today_riders, row.width) == (0, pytest.approx(0.2))
    assert row.words == "2 mm of outward stance on tilt: told within 0.20°, narrower than 0.5° already."


def test_a_support_without_a_figure_is_foreseen_from_the_others() -> None:
    """With 10 riders it would be told twice as widely as one with 40, so that it needs 160 riders too."""
    empty = replace(
        ROW, support="insole_low", n_riders=10, n_changes=10, told_low=None, told_high=None, pooled=None, within=None
    )
    _, row = row_of(Found(ROW, 0.2, NOTED), Found(empty))
    assert (row.by, row.width) == ("other", None)
    assert row.today_riders == pytest.approx(150, abs=2)
    (alone,) = row_of(Found(empty))
    assert alone.today_riders is None
    assert alone.words == "A low insole on tilt: how many fits settle it is not known before a first figure is."


def test_where_no_number_does_it_says_so() -> None:
    (row,) = row_of(Found(replace(ROW, within=2.0, within_low=1.5, within_high=2.5, told_high=2.5), 0.2, NOTED))
    assert row.today_riders is None
    assert "no number of fits of today's practice tells it narrower than 0.5° (about 1.5" in row.words
    assert "is left between the two)" in _words(row, Precision(0.5, 0.5, 1.5, 0.01))


def test_of_the_demo_all_is_told_narrowly_and_the_setting_changes_it(demo_warehouse: Path, tmp_path: Path) -> None:
    answer = Asker(demo_warehouse, Settings()).ask("power", Selection())
    assert isinstance(answer, Power)
    assert answer.headline == "All 12 figures are told as narrowly as the studio cares about."
    file = tmp_path / "fitledger.toml"
    file.write_text("[matters]\ntilt_deg = 0.1\n", encoding="utf-8")
    strict = Asker(demo_warehouse, load_settings(file)).ask("power", Selection())
    assert isinstance(strict, Power)
    assert {row.matters for row in strict.power} == {0.1, 2.0}
    assert any(row.today_riders != 0 for row in strict.power if row.outcome == "tilt")
    file.write_text("[matters]\ntilt_deg = 0\n", encoding="utf-8")
    with pytest.raises(UsageError, match="matters"):
        load_settings(file)
