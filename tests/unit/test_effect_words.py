"""From two fits to the words of a support: q-values, verdict, headline and table, beside truth that can be worked out by hand.

Student's t with ten degrees of freedom: 1.812, 2.228 and 3.169 are passed with probability 0.10, 0.05 and 0.01 on both sides
(NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, critical values of Student's t).
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboard.pages.supports.tables import effect_columns, estimate_columns
from dashboard.printing import print_answer
from dashboard.questions.data import noise
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.claims import Found, claimed
from dashboard.questions.models.effect_models import Fits, _effect_row, _refusals
from dashboard.questions.models.supports import Counts, SupportColumn
from shared.settings import Settings
from shared.statistics.mixed.answers import MixedFit, WithinFit
from tests.unit.made_answers import made_effects

DF = 10.0
AT_TEN, AT_FIVE, AT_ONE = 1.812, 2.228, 3.169
TERMS = ("shim", "stance", "insole_low")
ENOUGH = Counts(40, 20)
RIDERS = np.array(["R1", "R2"])


def fits(pooled: dict[str, tuple[float, float]], within: dict[str, tuple[float, float]]) -> Fits:
    """Two fits with given estimate and standard error of each term, ten degrees of freedom, 95 % intervals.

    Each rider adds to a term's error so that the two together make its variance, the same rider in both fits.
    """
    shared: dict[str, Any] = {"n_rows": 80, "n_riders": 2, "riders": RIDERS}

    def common(told: dict[str, tuple[float, float]]) -> dict[str, Any]:
        errors = np.array([told[term][1] for term in TERMS])
        return {
            **shared,
            "terms": TERMS,
            "estimate": np.array([told[term][0] for term in TERMS]),
            "robust_covariance": np.diag(errors**2),
            "df": np.full(len(TERMS), DF),
            "influence": np.array([errors, -errors]) / 2**0.5,
        }

    return Fits(
        design=SimpleNamespace(),  # type: ignore[arg-type]
        pooled=MixedFit(
            **common(pooled), model_covariance=np.eye(3), variance_rider=1.0, variance_knee=1.0, variance_visit=1.0,
            variance_residual=1.0, loglik=0.0,
        ),
        within=WithinFit(**common(within), residual_variance=1.0, n_knees=20),
        level=0.95,
    )  # fmt: skip


def found_of(support: str, made: Fits, outcome: str = "tilt") -> Found:
    return _effect_row(SupportColumn(support, None), ENOUGH, outcome, None, None, made)


def row_of(support: str, made: Fits, outcome: str = "tilt") -> EffectRow:
    """The row where nothing else is told beside it."""
    return claimed([found_of(support, made, outcome)], Settings())[0]


def test_a_change_is_as_sure_as_the_less_sure_of_both_estimates_and_its_family_allow() -> None:
    made = fits(
        pooled={"shim": (AT_ONE, 1.0), "stance": (AT_FIVE, 1.0), "insole_low": (AT_ONE, 1.0)},
        within={"shim": (AT_TEN, 1.0), "stance": (AT_ONE, 1.0), "insole_low": (AT_ONE, 1.0)},
    )
    rows = claimed([found_of(support, made) for support in TERMS], Settings())
    # The larger p-values are 0.10, 0.05 and 0.01; of three: 0.10 · 3/3, 0.05 · 3/2, 0.01 · 3/1.
    assert [row.q_value for row in rows] == pytest.approx([0.10, 0.075, 0.03], abs=2e-4)


def test_a_row_holds_each_estimate_with_its_own_interval_lower_end_first() -> None:
    made = fits(
        pooled={"shim": (0.5, 0.1), "stance": (0.0, 1.0), "insole_low": (0.0, 1.0)},
        within={"shim": (0.7, 0.2), "stance": (0.0, 1.0), "insole_low": (0.0, 1.0)},
    )
    row = row_of("shim", made)
    assert (row.pooled, row.pooled_low, row.pooled_high) == pytest.approx((0.5, 0.5 - 0.2228, 0.5 + 0.2228), abs=1e-4)
    assert (row.within, row.within_low, row.within_high) == pytest.approx((0.7, 0.7 - 0.4456, 0.7 + 0.4456), abs=1e-4)
    assert (row.bracket_low, row.bracket_high) == pytest.approx((0.7 - 0.4456, 0.7 + 0.4456), abs=1e-4)
    # The same rider moves both, by 0.1 and 0.2: the difference of 0.2 has a standard error of 0.1, two of which are noise, and
    # 2.228 of which are less than the quarter of a degree that matters.
    assert row.words == "One more varus shim raises the tilt by 0.25 to 1.15°; both estimates agree."
    assert (row.told_low, row.told_high, row.told_by) == (row.bracket_low, row.bracket_high, "bracket")
    assert (row.direction, row.is_rough) == (1, False)


def test_estimates_that_disagree_are_told_each_by_its_name() -> None:
    made = fits(
        pooled={"shim": (0.5, 0.1), "stance": (0.0, 1.0), "insole_low": (0.0, 1.0)},
        within={"shim": (0.9, 0.2), "stance": (0.0, 1.0), "insole_low": (0.0, 1.0)},
    )
    # A difference of 0.4 with a standard error of 0.1.
    words = row_of("shim", made).words
    assert words.startswith("One more varus shim raises the tilt by 0.28 to 1.35°. The two estimates differ")
    assert "(pooled 0.50°, within-knee 0.90°)" in words
    assert "repeat" not in words


def told(errors: tuple[float, float], settings: Settings | None = None, support: str = "shim") -> str:
    """The words of a clear effect whose two estimates are equal, by their standard errors."""
    one, other = (dict.fromkeys(TERMS, (9.0, error)) for error in errors)
    return claimed([found_of(support, fits(one, other))], settings or Settings())[0].words


def test_where_a_difference_that_matters_could_not_be_seen_the_estimates_are_not_said_to_agree() -> None:
    """The same rider moves both, so that the difference's standard error is that of one less that of the other; its interval
    reaches 2.228 of it either way. A quarter of a degree matters for a shim, and for 2 mm of stance."""
    assert told((0.1, 0.2)).endswith("; both estimates agree.")  # 0.22
    assert told((0.1, 0.22)).endswith("; no disagreement found, and little could be.")  # 0.27
    assert told((0.1, 0.2), support="stance").endswith("; no disagreement found, and little could be.")  # twice 0.22
    assert told((0.1, 0.15), support="stance").endswith("; both estimates agree.")  # twice 0.11
    wide = Settings.model_validate({"intervals": {"agree_within_deg": 0.3}})
    assert told((0.1, 0.22), wide).endswith("; both estimates agree.")


def test_a_p_value_on_few_degrees_of_freedom_is_called_rough_where_it_stands() -> None:
    sure = fits(**dict.fromkeys(("pooled", "within"), dict.fromkeys(TERMS, (9.0, 0.1))))
    few = replace(sure, within=replace(sure.within, df=np.full(len(TERMS), 3.9)))
    row = claimed([found_of("shim", few)], Settings())[0]
    assert row.is_rough
    assert row.words.endswith("how often chance alone would bring it is a rough figure.")
    by_heading = {column.heading: column.text(row) for column in effect_columns()}
    assert by_heading["By chance"].endswith(" (rough)")
    assert not claimed([found_of("shim", sure)], Settings())[0].is_rough


def test_what_chance_may_bring_among_so_many_is_not_claimed() -> None:
    """p-values of 0.04 and 0.80: among two, q is 0.08 and 0.80; alone, the first is 0.04. Its bracket leaves out zero."""
    at_four = 2.3593  # Student's t with ten degrees of freedom is passed with probability 0.04 on both sides
    both = {"shim": (at_four, 1.0), "stance": (0.26, 1.0), "insole_low": (0.0, 1.0)}
    made = fits(both, both)
    beside = claimed([found_of("shim", made), found_of("stance", made)], Settings())[0]
    assert beside.q_value == pytest.approx(0.08, abs=2e-4)
    assert beside.told_low is not None and beside.told_low > 0 and beside.direction == 0
    assert beside.words.startswith(
        "One more varus shim shows no clear change in tilt: anything from 0.13 to 4.59°, which among"
    )
    alone = row_of("shim", made)
    assert alone.q_value == pytest.approx(0.04, abs=2e-4)
    assert alone.direction == 1 and alone.words.startswith("One more varus shim raises the tilt by 0.13 to 4.59°")


SHOWN = EffectRow(
    outcome="tilt", support="shim", unit="deg", split=None, level=None, n_riders=30, n_changes=60, pooled=-0.6, pooled_low=-0.9,
    pooled_high=-0.3, within=0.8, within_low=0.5, within_high=1.2, bracket_low=-0.9, bracket_high=1.2, q_value=0.04,
    words="; both estimates agree.", told_low=-0.8, told_high=1.1, told_by="bracket",
)  # fmt: skip


def test_the_table_prints_each_figure_under_its_own_heading() -> None:
    assert [(column.heading, column.text(SHOWN)) for column in effect_columns()] == [
        ("Support", "One more shim"),
        ("Interval", "−0.80 to +1.10°"),
        ("By chance", "0.040"),
        ("Changes", "60"),
        ("Riders", "30"),
    ]
    assert [(column.heading, column.text(SHOWN)) for column in estimate_columns("95 %")] == [
        ("Support", "One more shim"),
        ("Interval", "−0.80 to +1.10°"),
        ("Pooled", "−0.60°"),
        ("95 % interval", "−0.90 to −0.30°"),
        ("Within knee", "+0.80°"),
        ("95 % interval", "+0.50 to +1.20°"),
        ("Third", "–"),
        ("95 % interval", "–"),
        ("Its strength", "–"),
        ("The two estimates", "agree"),
        ("Told by", "both, without a third"),
        ("Changes", "60"),
        ("Riders", "30"),
    ]


def test_only_what_is_claimed_is_bold() -> None:
    """The pooled interval of SHOWN leaves out zero and its told one does not; of the other both do, but not so its q-value."""
    for row in (SHOWN, replace(SHOWN, told_low=0.1, q_value=0.06), replace(SHOWN, told_low=0.1, q_value=None)):
        assert isinstance(effect_columns()[1].text(row), str)
    bold: Any = effect_columns()[1].text(replace(SHOWN, told_low=0.1))
    assert bold.children == "+0.10 to +1.10°"


def test_supports_that_cannot_be_told_apart_name_one_another_and_nobody_else() -> None:
    columns = [SupportColumn(support, None) for support in ("shim", "stance", "insole_low")]
    design = SimpleNamespace(columns=columns, counts=[ENOUGH, ENOUGH, ENOUGH])
    tangled = {"shim": ("insole_low",), "insole_low": ("shim",)}
    refused = _refusals(design, tangled, Settings())  # type: ignore[arg-type]
    assert refused == {
        "shim": "One more varus shim: no figure, since it was always changed together with a low insole. "
        "Change one support at a time to tell them apart.",
        "insole_low": "A low insole: no figure, since it was always changed together with one more varus shim. "
        "Change one support at a time to tell them apart.",
    }


def test_a_split_s_ties_name_the_support_not_the_column() -> None:
    columns = [SupportColumn(support, "low") for support in ("shim", "stance")]
    design = SimpleNamespace(columns=columns, counts=[ENOUGH, Counts(0, 0)])
    refused = _refusals(design, {"shim | low": ("stance | low",)}, Settings())  # type: ignore[arg-type]
    assert "together with one mm of outward stance." in refused["shim | low"]
    assert refused["stance | low"].endswith("no figure, since it was never changed between two captures of one knee.")


def test_the_table_prints_the_third_estimate_and_what_it_makes_of_the_interval() -> None:
    third = {"sequential": 0.3, "sequential_low": 0.1, "sequential_high": 0.5, "strength": 214.6}
    narrowed = replace(SHOWN, **third, told_low=0.0, told_high=0.6, told_by="sequential")
    columns = {column.heading: column.text(narrowed) for column in estimate_columns("95 %")}
    assert columns["Third"] == "+0.30°"
    assert columns["95 % interval"] == "+0.10 to +0.50°"  # the third's is the last of this heading
    assert columns["Its strength"] == "215"
    assert columns["Told by"] == "both, narrowed by the third"
    of_both = {column.heading: column.text(replace(SHOWN, **third)) for column in estimate_columns("95 %")}
    assert of_both["Told by"] == "both"


def test_the_command_prints_each_figure_under_its_own_key(capsys: pytest.CaptureFixture[str]) -> None:
    print_answer(replace(made_effects(), effects=(replace(SHOWN, words="A sentence of this row."),)))
    headline, _, _, keys, figures = capsys.readouterr().out.splitlines()
    assert headline == made_effects().headline
    expected = "outcome support unit split level n_riders n_changes pooled pooled_low pooled_high within within_low within_high"
    expected += " bracket_low bracket_high q_value shrunk shrunk_low shrunk_high told_low told_high told_by is_rough"
    expected += " sequential sequential_low sequential_high strength"
    assert keys.split() == expected.split()
    told = "tilt shim deg 30 60 -0.600 -0.900 -0.300 0.800 0.500 1.200 -0.900 1.200 0.040"
    told += " -0.800 1.100 bracket False A sentence of this row."
    assert figures.split() == told.split()


def test_without_repeats_the_residual_stands_in_and_the_smallest_real_change_follows_from_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """1.96 · √2 · typical error (Weir 2005, J Strength Cond Res 19:231): of 0.5° that is 1.386°."""
    empty = NoiseRow("tilt", "deg", 0, 0, *(None,) * 9, "Tilt: not enough yet.")
    made = fits(**dict.fromkeys(("pooled", "within"), dict.fromkeys(TERMS, (0.0, 1.0))))
    made = replace(made, pooled=replace(made.pooled, variance_residual=0.25))
    monkeypatch.setattr(noise, "fitted", lambda *_: ([], made))
    row = noise._with_residual(empty, None, Settings())  # type: ignore[arg-type]
    assert (row.typical_error, row.mdc95) == pytest.approx((0.5, 1.3859), abs=1e-4)
    assert row.words.startswith("Tilt: not enough yet. In its place the pooled model's residual, 0.50°:")
