"""The checks of the effects and the doses: their figures from two fits, and their sentences, beside truth set by hand."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboard.questions.effects import check_models, checks_words, dose
from dashboard.questions.effects.answers_checks import CheckRow
from dashboard.questions.effects.answers_effects import DoseRow, NeutralRow
from dashboard.questions.effects.check_rows import check_rows
from dashboard.questions.models import verdict
from dashboard.questions.models.claims import Found, Noted, claimed
from dashboard.questions.models.effect_models import Fits
from dashboard.questions.models.forms import Form
from dashboard.questions.models.supports import Counts
from shared.settings import Settings
from tests.unit.test_effect_words import AT_FIVE, AT_ONE, AT_TEN, SHOWN, fits

SETTINGS = Settings.model_validate({"checks": {"stance_bend_mm": 6.0}})
MADE = {
    "insole_shim": ((0.5, 0.7), (0.1, 0.3), -0.4, (-0.6, -0.2), "deg"),
    "shim_bend": ((0.5, 0.7), (0.1, 0.3), -0.4, (-0.6, -0.2), "deg"),
    "stance_bend": ((0.05, 0.07), (0.01, 0.03), -0.04, (-0.06, -0.02), "deg"),
    "order_arch": ((None, None), (None, None), 0.1, (0.05, 0.15), "deg"),
    "late": ((None, None), (None, None), 0.31, (0.2, 0.42), "share"),
}


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


def check(name: str, *, is_found: bool = True, **changed: Any) -> CheckRow:
    first, other, difference, ends, unit = MADE[name]
    row = CheckRow("tilt", name, unit, 30, 1200, *first, *other, difference, *ends, 0.001, 0.002, is_found, False, "")
    return replace(row, **changed)


def test_what_is_found_is_told_with_both_cases_and_their_difference() -> None:
    assert {name: bare(checks_words.words_of(check(name), SETTINGS)) for name in MADE} == {
        "insole_shim": "One more varus shim moves the tilt by 0.50 to 0.70° without an insole and by 0.10 to 0.30° on one, a "
        "difference "
        "of −0.60 to −0.20°.",
        "shim_bend": "The first varus shim moves the tilt by 0.50 to 0.70°, each further one by 0.10 to 0.30°, a difference "
        "of −0.60 to "
        "−0.20°.",
        "stance_bend": "One mm of outward stance moves the tilt by 0.05 to 0.07° up to 6 mm and by 0.01 to 0.03° beyond, a "
        "difference "
        "of −0.06 to −0.02°.",
        "order_arch": "From capture to capture the tilt drifts otherwise by arch: 0.05 to 0.15° a capture more on a high one "
        "than on a "
        "low one. The figures allow for it.",
        "late": "About 31 % of what a support does to the tilt comes one capture late (20 to 42 %; 1,200 repeats after a "
        "change). The "
        "figures are those at the later capture.",
    }


def test_what_is_not_found_is_told_by_its_interval_and_one_without_zero_as_chance() -> None:
    around = {"difference_low": -0.1, "difference_high": 0.2}
    told = {name: bare(checks_words.words_of(check(name, is_found=False, **around), SETTINGS)) for name in MADE}
    assert told == {
        "insole_shim": "A varus shim was not found to do otherwise to the tilt on an insole: anything from −0.10 to 0.20°.",
        "shim_bend": "Further varus shims were not found to do otherwise to the tilt than the first: anything from −0.10 to "
        "0.20°.",
        "stance_bend": "Stance beyond 6 mm was not found to do otherwise to the tilt: anything from −0.10 to 0.20° a mm.",
        "order_arch": "The drift of the tilt was not found to differ by arch: anything from −0.10 to 0.20° a capture, high "
        "less low.",
        "late": "What a support does to the tilt was not found to come late: anything from −10 to 20 % of it shows one "
        "capture later "
        "only (1,200 repeats after a change).",
    }
    words = checks_words.words_of(check("shim_bend", is_found=False), SETTINGS)
    assert words.endswith("−0.60 to −0.20°, which among so many figures may be chance.")
    at_zero = checks_words.words_of(check("shim_bend", is_found=False, difference_high=0.0), SETTINGS)
    assert "chance" not in at_zero


def test_what_cannot_be_asked_yet_counts_what_there_is() -> None:
    few = {name: checks_words.words_of(check(name, difference=None, n_changes=1, n_riders=2), SETTINGS) for name in MADE}
    assert few == {
        "insole_shim": "Whether a varus shim does the same to the tilt on an insole: not enough yet, 1 change in 2 riders.",
        "shim_bend": "Whether further varus shims do the same to the tilt as the first: not enough yet, 1 change in 2 riders.",
        "stance_bend": "Whether stance beyond 6 mm does the same to the tilt: not enough yet, 1 change in 2 riders.",
        "order_arch": "Whether the tilt drifts alike on every arch: not enough yet, 2 riders.",
        "late": "Whether what a support does to the tilt comes late: not enough yet, 1 repeat in 2 riders after a change.",
    }


def test_a_verdict_carries_what_was_found_of_its_own_support() -> None:
    shim, stance = SHOWN, replace(SHOWN, support="stance")
    carried = {name: [bare(one) for one in checks_words.carried_words(check(name), shim, SETTINGS)] for name in MADE}
    assert carried == {
        "insole_shim": ["It is not the same everywhere: 0.50 to 0.70° without an insole, 0.10 to 0.30° on one."],
        "shim_bend": [
            "It is not the same at every step: 0.50 to 0.70° for the first shim, 0.10 to 0.30° for each further one."
        ],
        "stance_bend": [],
        "order_arch": [],
        "late": [],  # nothing is claimed of the row
    }
    assert checks_words.carried_words(check("stance_bend"), stance, SETTINGS) == [
        "It is not the same at every step: 0.05 to 0.07° for each mm up to 6 mm, 0.01 to 0.03° beyond."
    ]
    acts = replace(stance, told_low=0.1, told_high=0.4)
    assert [bare(one) for one in checks_words.carried_words(check("late"), acts, SETTINGS)] == [
        "About 31 % of it comes one capture late, which the figures allow for."
    ]
    assert checks_words.carried_words(check("insole_shim", difference=None), shim, SETTINGS) == []


def test_the_headline_tells_what_was_found_and_else_whether_it_could_be_asked() -> None:
    found, other = check("late", words="It comes late."), check("shim_bend", words="It bends.")
    quiet = check("stance_bend", is_found=False, words="Nothing.")
    assert checks_words.headline_of([found, quiet, other]) == "It comes late. It bends."
    assert checks_words.headline_of([quiet]) == "Nothing was found that speaks against the effects as they are told."
    assert checks_words.headline_of([replace(quiet, p_value=None)]) == (
        "Too little was changed to look at the effects more closely."
    )


def made(pooled: dict[str, tuple[float, float]], within: dict[str, tuple[float, float]], names: tuple[str, str, str]) -> Fits:
    """Two fits of three terms by other names, in the order of those of `fits`: shim, stance, insole_low."""
    both = fits(*(dict(zip(("shim", "stance", "insole_low"), one.values(), strict=True)) for one in (pooled, within)))
    return replace(both, pooled=replace(both.pooled, terms=names), within=replace(both.within, terms=names))


NAMES = ("shim", "insole_shim", "late_of")
POOLED = {"shim": (1.0, 0.1), "insole_shim": (AT_FIVE * 0.2, 0.2), "late_of": (0.0, 1.0)}
WITHIN = {"shim": (2.0, 0.1), "insole_shim": (AT_ONE * 0.2, 0.2), "late_of": (0.0, 1.0)}


def test_a_check_of_two_models_takes_the_larger_p_and_the_outer_ends_of_both() -> None:
    """p is 0.05 and 0.01. A shim: 1 ∓ 2.228 · 0.1 and 2 ∓ 2.228 · 0.1; on an insole both terms together, errors √(0.1² + "
    "0.2²)."""
    told = check_models._tested("insole_shim", Counts(40, 20), made(POOLED, WITHIN, NAMES))
    assert told.p_value == pytest.approx(0.05, abs=2e-4)
    assert told.first is not None and told.other is not None and told.ends is not None
    assert (told.first.low, told.first.high) == pytest.approx((1 - 0.2228, 2 + 0.2228), abs=1e-4)
    reach = AT_FIVE * 0.05**0.5
    assert (told.other.low, told.other.high) == pytest.approx((1 + AT_FIVE * 0.2 - reach, 2 + AT_ONE * 0.2 + reach), abs=1e-3)
    assert told.difference == pytest.approx(AT_FIVE * 0.2)
    assert (told.ends.low, told.ends.high) == pytest.approx((0, AT_ONE * 0.2 + AT_FIVE * 0.2), abs=1e-3)
    few = made(POOLED, WITHIN, NAMES)
    alone = replace(few, within=replace(few.within, df=np.array([10.0, 0.0, 10.0])))
    assert check_models._tested("insole_shim", Counts(40, 20), alone).p_value is None


def test_a_test_of_several_terms_stands_on_the_fewest_degrees_of_freedom() -> None:
    """On 1 instead of 10 the same ratio of 2.228 is passed in 0.268 of cases (Student's t with one: 1/2 − arctan(2.228)/π)."""
    both = made(POOLED, WITHIN, NAMES)
    less = replace(both.pooled, df=np.array([10.0, 1.0, 10.0]))
    assert check_models._p_value(less, ("insole_shim",)) == pytest.approx(2 * (0.5 - np.arctan(AT_FIVE) / np.pi), abs=1e-4)
    joint = check_models._p_value(replace(less, df=np.array([1.0, 10.0, 10.0])), ("shim", "insole_shim"))
    assert joint > check_models._p_value(both.pooled, ("shim", "insole_shim"))


def test_an_effect_comes_late_where_less_shows_right_after_the_change_in_both_models() -> None:
    """One-sided: −1.812 errors are passed downward with 0.05, −2.228 with 0.025; what is above zero is no sign of it."""
    names = ("shim", "stance", check_models.LATE_CHECK)
    pooled = {"shim": (0.0, 1.0), "stance": (0.0, 1.0), "late": (-AT_TEN * 0.3, 0.3)}
    within = {"shim": (0.0, 1.0), "stance": (0.0, 1.0), "late": (-AT_FIVE * 0.3, 0.3)}
    assert check_models._later(made(pooled, within, names)) == pytest.approx(0.05, abs=2e-4)
    above = {**within, "late": (AT_FIVE * 0.3, 0.3)}
    assert check_models._later(made(pooled, above, names)) == pytest.approx(0.975, abs=2e-4)
    none = made(pooled, within, names)
    assert check_models._later(replace(none, within=replace(none.within, df=np.array([10.0, 10.0, 0.0])))) == 1.0
    assert check_models._later(made(pooled, within, NAMES)) is None


def test_rows_of_checks_leave_the_models_own_test_out_and_are_found_below_their_q() -> None:
    given: dict[str, Any] = {"counts": Counts(40, 20), "difference": 0.1, "ends": check_models.Ends(0.0, 0.2)}
    tests = [
        check_models.Tested("shim_bend", **given, p_value=0.01, q_value=0.009),
        check_models.Tested("order_arch", **given, q_value=0.01),
        check_models.Tested(check_models.LATE_CHECK, Counts(40, 20), p_value=0.3),
    ]
    rows = list(check_rows("tilt", None, None, tests, Form(by_arch=True), Settings()))
    assert [(row.check, row.is_found, row.is_allowed_for) for row in rows] == [
        ("late", False, False), ("shim_bend", True, False), ("order_arch", False, True),
    ]  # fmt: skip
    assert [(row.difference_low, row.difference_high, row.n_changes) for row in rows[1:]] == [(0.0, 0.2, 40)] * 2
    late = rows[0]
    assert (late.n_changes, late.n_riders, late.difference) == (0, 0, None)


def test_a_check_that_qualifies_a_verdict_pays_for_the_outcomes_on_which_nothing_acts() -> None:
    """0.004 is below 0.01, three times as much is not; a drift, which both models allow for as it is, pays nothing."""
    given: dict[str, Any] = {"counts": Counts(40, 20), "difference": 0.1, "ends": check_models.Ends(0.05, 0.2)}
    tests = [
        *(check_models.Tested(check, **given, p_value=0.001, q_value=0.004) for check in ("insole_shim", "order_arch")),
        check_models.Tested("shim_bend", **given, p_value=0.5, q_value=0.5),
        check_models.Tested("stance_bend", Counts(2, 1)),
    ]

    def found(price: float) -> dict[str, tuple[float | None, bool]]:
        rows = check_rows("tilt", None, None, tests, Form(by_arch=True), Settings(), price)
        return {row.check: (row.q_value, row.is_found) for row in rows if row.check != "late"}

    rest = {"order_arch": (0.004, True), "stance_bend": (None, False)}
    assert found(1.0) == {"insole_shim": (0.004, True), "shim_bend": (0.5, False), **rest}
    assert found(3.0) == {"insole_shim": (0.012, False), "shim_bend": (1.0, False), **rest}


def test_a_share_that_comes_late_is_found_by_the_form_and_by_the_larger_p() -> None:
    repeats: Any = SimpleNamespace(n_riders=20, n_pairs=300, share=0.3, low=0.2, high=0.4, p_value=0.01)
    tests = [check_models.Tested(check_models.LATE_CHECK, Counts(40, 20), p_value=0.2)]
    [row] = check_rows("tilt", repeats, 0.03, tests, Form(), Settings())
    assert (row.n_riders, row.n_changes, row.difference, row.difference_low, row.difference_high) == (20, 300, 0.3, 0.2, 0.4)
    assert (row.p_value, row.q_value, row.is_found) == (0.2, 0.03, False)
    [held] = check_rows("tilt", repeats, 0.03, [], Form(is_late=True), Settings())
    assert (held.p_value, held.is_found, held.is_allowed_for) == (0.01, True, True)


def test_models_allow_for_what_is_found_over_all_fits() -> None:
    def tested(q_value: float | None) -> Any:
        return lambda _: [
            check_models.Tested("shim_bend", Counts(9, 9), q_value=0.0),
            check_models.Tested("order_arch", Counts(9, 9), q_value=q_value),
        ]

    forms = [
        check_models.form_found(late, tested(drift), Settings()) for late, drift in ((0.049, 0.01), (0.05, 0.009), (None, None))
    ]
    assert forms == [Form(is_late=True), Form(by_arch=True), Form()]


DOSES = ("shim at 1", "shim at 3", "stance at 4")


def dose_row(support: str, size: float, slope: float = 0.3) -> Any:
    pooled = {"shim at 1": (0.5, 0.1), "shim at 3": (AT_FIVE, 1.0), "stance at 4": (0.2, 0.01)}
    within = {"shim at 1": (0.7, 0.2), "shim at 3": (AT_TEN, 1.0), "stance at 4": (0.3, 0.01)}
    return dose._dose_row("tilt", dose._Dose(support, size, Counts(40, 20)), made(pooled, within, DOSES), slope, 0.02, "why")


def test_a_dose_is_told_by_the_outer_ends_of_both_estimates_beside_the_straight_line() -> None:
    one = dose_row("shim", 1)
    assert bare(one.row.words) == "1 shim in all: 0.25 to 1.15° against none; the straight line says 0.30°."
    figures = (one.row.pooled, one.row.pooled_low, one.row.pooled_high, one.row.within, one.row.within_low, one.row.within_high)
    assert figures == pytest.approx((0.5, 0.2772, 0.7228, 0.7, 0.2544, 1.1456), abs=1e-4)
    assert (one.row.line, one.row.line_p_value, one.row.n_changes, one.row.n_riders) == (0.3, 0.02, 40, 20)
    assert (one.row.told_low, one.row.told_high, one.row.is_rough) == (
        pytest.approx(0.2544, abs=1e-4),
        pytest.approx(1.1456, abs=1e-4),
        False,
    )
    three = dose_row("shim", 3)
    assert bare(three.row.words).startswith("3 shims in all: ") and three.row.line == pytest.approx(0.9)
    assert three.p_value == pytest.approx(0.10, abs=2e-4)  # of 0.05 and 0.10
    assert bare(dose_row("stance", 4).row.words).startswith(
        "4 mm of stance: 0.18 to 0.32° against none; the straight line says 1.20°"
    )
    absent = dose_row("shim", 2)
    assert (absent.row.words, absent.p_value, absent.row.told_low) == (
        "2 shims in all: not enough yet, 40 changes in 20 riders; why.", None, None,
    )  # fmt: skip


def test_a_dose_without_a_figure_says_what_it_lacks() -> None:
    few, enough = (dose._Dose("shim", 2, Counts(n, n)) for n in (9, 10))
    assert dose._lacking(few, 1, 10) == "a dose needs 10"
    assert dose._lacking(enough, 1, 10) == "doses are told once two of a support have 10 changes"
    assert dose._lacking(enough, 2, 10) == "they cannot be told from those of other supports"


def test_doses_are_one_family_and_the_tests_of_the_straight_line_another() -> None:
    """p of 0.01 and 0.04: q 0.02 and 0.04. The bends of two supports, 0.02 and 0.03: 0.03 and 0.03; each stands in all its "
    "doses."""
    row: DoseRow = dose_row("shim", 1).row
    given = [
        dose.FoundDose(replace(row, support="shim", line_p_value=0.02), 0.01),
        dose.FoundDose(replace(row, support="stance", line_p_value=0.03), 0.04),
        dose.FoundDose(replace(row, support="shim", line_p_value=0.02), None),
    ]
    told = dose.in_families(given)
    assert [one.q_value for one in told] == [pytest.approx(0.02), pytest.approx(0.04), None]
    assert [one.line_q_value for one in told] == pytest.approx([0.03, 0.03, 0.03])
    dearer = dose.in_families(given, 2.0)
    assert [one.line_q_value for one in dearer] == pytest.approx([0.06, 0.06, 0.06])
    assert [one.is_bent for one in (told[0], dearer[0])] == [True, False]


def test_doses_that_occur_are_found_below_and_above_none() -> None:
    assert dose._occurring(np.array([2, 0, -1, 2])) == [-1, 0, 2]


def test_few_riders_make_the_distance_from_neutral_rough() -> None:
    """Three degrees of freedom are few, four are not."""
    row = NeutralRow("inward", 9, 4, 0.1, 0.1, 0.0, -0.1, 0.1, "")
    assert (row.is_rough, replace(row, n_riders=5).is_rough) == (True, False)


def test_a_millimetre_and_a_degree_matter_by_their_own_settings() -> None:
    """The difference could be up to 0.5: less than a millimetre that matters, more than a quarter of a degree."""
    settings = Settings.model_validate({"intervals": {"agree_within_mm": 1.0, "agree_within_deg": 0.25}})
    rows = [
        claimed([Found(replace(SHOWN, outcome=outcome, unit=unit), 0.01, Noted(disagree=False, reach=reach))], settings)[
            0
        ].words
        for outcome, unit, reach in (("tilt", "deg", 0.5), ("sway", "mm", 0.5), ("sway", "mm", 1.0), ("sway", "mm", 1.01))
    ]
    assert ["both estimates agree" in words for words in rows] == [False, True, True, False]


@pytest.mark.parametrize(
    ("outcome", "rises", "falls", "noun"),
    [
        ("tilt", "raises the tilt", "lowers the tilt", "tilt"),
        ("sway", "adds sway", "takes sway away", "sway"),
        ("offset", "moves the knee outward", "moves the knee inward", "offset"),
        (
            "off_neutral",
            "takes the knee further from neutral",
            "brings the knee nearer to neutral",
            "the distance from neutral",
        ),
    ],
)
def test_each_outcome_rises_and_falls_in_its_own_words(outcome: str, rises: str, falls: str, noun: str) -> None:
    row, shim = replace(SHOWN, outcome=outcome, q_value=0.01), "One more varus shim"
    assert verdict.claim(replace(row, told_low=0.1, told_high=0.4)) == f"{shim} {rises} by 0.10 to 0.40°"
    assert verdict.claim(replace(row, told_low=-0.4, told_high=-0.1)) == f"{shim} {falls} by 0.10 to 0.40°"
    unclear = f"{shim} shows no clear change in {noun}: anything from"
    assert verdict.claim(replace(row, told_low=-0.1, told_high=0.4)) == f"{unclear} −0.10 to 0.40°"
    maybe = verdict.claim(replace(row, told_low=0.1, told_high=0.4, q_value=0.2))
    assert maybe == f"{unclear} 0.10 to 0.40°, which among so many figures may be chance"


def test_supports_without_a_figure_say_why() -> None:
    assert verdict.not_changed("stance") == (
        "One mm of outward stance: no figure, since it was never changed between two captures of one knee."
    )
    assert verdict.changed_together("shim", ["stance", "insole_low", "stance"], False) == (
        "One more varus shim: no figure, since it was always changed together with one mm of outward stance and a low "
        "insole. Change "
        "one support at a time to tell them apart."
    )
    assert verdict.changed_together("shim", ["stance"], True) == (
        "One more varus shim: no figure, since its changes, beside one mm of outward stance, always came at the same place "
        "of the "
        "session and cannot be told from a drift of the session. Record a repeat capture, or vary the order."
    )
    assert verdict.changed_together("shim", [], True).startswith(
        "One more varus shim: no figure, since its changes always came at"
    )
    assert verdict.one_rider("shim") == "One more varus shim: not enough yet, since the figure would rest on one rider alone."


def test_columns_of_the_checks_are_what_each_asks() -> None:
    """Shims on an insole, shims beyond the first, mm of stance beyond the setting."""
    rows = {"total_shims": np.array([0, 1, 3, 2]), "stance_mm": np.array([0.0, 6.0, 8.0, -8.0])}
    captures: Any = SimpleNamespace(rows={**rows, "insole_level": Levels(["low", "none", "high", None])})
    columns = {column.of: column for column in check_models._columns(Form(), {}, SETTINGS)}
    told = {name: columns[name].values(captures).tolist() for name in ("insole_shim", "shim_bend", "stance_bend")}
    assert told == {"insole_shim": [0, 0, 3, 0], "shim_bend": [0, 0, 2, 1], "stance_bend": [0, 0, 2, 0]}


class Levels:
    """As much of a column of codes as the checks ask of one."""

    def __init__(self, words: list[str | None]) -> None:
        self._words = words

    def __eq__(self, other: object) -> Any:
        return np.array([word == other for word in self._words])

    __hash__ = None

    def isna(self) -> np.ndarray:
        return np.array([word is None for word in self._words])
