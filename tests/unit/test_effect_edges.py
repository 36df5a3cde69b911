"""What is told of effects at the edges: captures alone, knees at a limit, three levels, what more changes would bring."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy import stats

from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.data.fitter_noise import FitterNoise
from dashboard.questions.effects import plain_change
from dashboard.questions.effects.answers_effects import NeutralRow
from dashboard.questions.effects.dose import _bend, _Dose
from dashboard.questions.effects.effect_parts import EffectParts
from dashboard.questions.effects.families import compared, shrunken
from dashboard.questions.effects.influence import influence_rows
from dashboard.questions.effects.nearer import _surest
from dashboard.questions.effects.needed import nearest, needed
from dashboard.questions.effects.off_neutral import _words, neutral_rows
from dashboard.questions.effects.power import _headline, _precision_of
from dashboard.questions.effects.responders import responder_rows
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.claims import Found, Noted
from dashboard.questions.models.supports import Counts
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.statistics.told import PERSISTS, WEAK
from tests.spec.test_effects_beside import ends
from tests.unit.made_answers import made_effects
from tests.unit.test_check_words import check
from tests.unit.test_effect_nearer import row
from tests.unit.test_effect_words import fits
from tests.unit.test_studio_words import bare

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})
ONE_AND_THREE = np.array([1.0, 3.0] * 5)


def knees(off_neutral: np.ndarray, sway: np.ndarray) -> dict[str, Any]:
    return {"off_neutral_change": off_neutral, "sway_change": sway, "rider": np.arange(len(sway))}


@pytest.mark.parametrize(
    ("off_neutral", "sway", "told"),
    [
        (-ONE_AND_THREE, np.array([1.0, -1.0] * 5), [
            "the distance of the tilt from neutral changed by −2.00° (−2.75 to −1.25°) on average over 10 knees: knees left "
            "nearer to neutral",
            "the sway changed by 0.00 mm (−0.75 to 0.75 mm) on average over 10 knees: no clear change",
        ]),
        (ONE_AND_THREE, ONE_AND_THREE, [
            "the distance of the tilt from neutral changed by 2.00° (1.25 to 2.75°) on average over 10 knees: knees left "
            "further from neutral",
            "the sway changed by 2.00 mm (1.25 to 2.75 mm) on average over 10 knees: knees left with more sway",
        ]),
        (np.full(10, np.nan), -ONE_AND_THREE, [
            "the sway changed by −2.00 mm (−2.75 to −1.25 mm) on average over 10 knees: knees left with less sway",
        ]),
    ],
)  # fmt: skip
def test_a_plain_change_is_told_by_its_interval(off_neutral: np.ndarray, sway: np.ndarray, told: list[str]) -> None:
    """Five at 1 and five at 3: standard deviation 1.054, by t on nine degrees 2.262157 · 1.054/√10 = 0.754 to either side."""
    assert [bare(words) for words in plain_change._changes(knees(off_neutral, sway), Settings())] == told


def test_a_plain_change_of_one_rider_or_of_few_knees_is_none() -> None:
    one_rider = {**knees(-ONE_AND_THREE, -ONE_AND_THREE), "rider": np.zeros(10, int)}
    assert list(plain_change._changes(one_rider, Settings())) == []
    two = {**knees(-ONE_AND_THREE, -ONE_AND_THREE), "rider": np.repeat([0, 1], 5)}
    assert len(list(plain_change._changes(two, Settings()))) == 2
    assert list(plain_change._changes(knees(-ONE_AND_THREE[:1], -ONE_AND_THREE[:1]), Settings())) == []


def plain(monkeypatch: pytest.MonkeyPatch, knees: dict[str, Any], mdc95: float | None) -> str:
    monkeypatch.setattr(plain_change, "scope_of", lambda *_: SimpleNamespace(parameters={}))
    monkeypatch.setattr(plain_change.noise, "pairs_of", lambda *_: None)
    monkeypatch.setattr(
        plain_change.noise, "row_of", lambda outcome, *_: SimpleNamespace(mdc95=mdc95) if outcome == "tilt" else 1
    )
    warehouse = cast(Any, SimpleNamespace(arrays=lambda path, *_, **__: knees if path.name == "plain_change.sql" else {}))
    return bare(plain_change.told(warehouse, Selection(), Settings(), lambda _, make: make(), ()))


def test_what_captures_alone_tell_ends_with_the_single_knee(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 1 and 3 nearer half are nearer by more than 1.0, and at 1.0 itself none is; one in ten is further."""
    given = knees(np.append(-ONE_AND_THREE[:9], 2.0), np.full(10, np.nan))
    words = plain(monkeypatch, given, 1.0)
    assert words.startswith(
        "From captures alone, from arrival to departure: the distance of the tilt from neutral changed by −1."
    )
    assert words.endswith(
        ". By the noise that the studio assumes, 40 % of knees left nearer to neutral than they came by more than 1.0°, 10 % "
        "further from it."
    )
    assert plain(monkeypatch, given, None).endswith(
        ". Of a single knee nothing is told: how much it differs from itself is neither recorded nor assumed "
        "(noise.assumed_tilt_deg)."
    )
    assert plain(monkeypatch, knees(ONE_AND_THREE[:1], ONE_AND_THREE[:1]), 1.0) == (
        "From captures alone: not enough yet to tell a change from arrival to departure, 1 knee recorded at both ends."
    )
    nothing = cast(Any, None)
    assert plain_change.told(nothing, Selection(), Settings(), nothing, ("knee_captures",)) == ""


@pytest.mark.parametrize(
    ("ends_told", "words"),
    [
        ((-1.2, -0.6), "Knees that came inward left 0.90° nearer to neutral beyond the noise (0.60 to 1.20°): the distance"),
        ((0.6, 1.2), "Knees that came inward left 0.90° further from neutral beyond the noise (0.60 to 1.20°): the distance"),
        (
            (-0.6, 1.2),
            "Knees that came inward left about as far from neutral as they came, the noise taken off (−0.60 to 1.20°)",
        ),
    ],
)
def test_where_knees_came_to_stand_is_told_by_its_interval(ends_told: tuple[float, float], words: str) -> None:
    net = 0.9 if ends_told[1] > 0 else -0.9
    came = NeutralRow("inward", 12, 4, net - 0.2, -0.2, net, *ends_told, "", 0.01, *ends_told)
    assert bare(_words(came)).startswith(words)
    assert bare(_words(came)).endswith(f"changed by {'−1.10' if net < 0 else '0.70'}°, of which −0.20° would be expected with "
                                       "nothing changed.")  # fmt: skip


def test_two_riders_are_enough_to_tell_where_knees_came_to_stand_and_one_is_not() -> None:
    given = ends([(-4.0, -1.0), (-4.0, -1.5), (-5.0, -2.0)])
    for riders, is_told in (((0, 0, 1), True), ((0, 0, 0), False)):
        inward = neutral_rows(captures_of_rows({**given, "rider": np.repeat(riders, 2)}), 1e-9, FEW)[0]
        assert (inward.net_deg is not None, inward.n_riders) == (is_told, len(set(riders)))


def test_a_knee_that_changed_by_the_limit_itself_is_unchanged() -> None:
    """Nearer by 1, further by 1, and by a little more."""
    of_tilt = NoiseRow("tilt", "deg", 9, 4, 0.36, 0.3, 0.5, 1.0, *((None,) * 5), "", "repeats")
    given = captures_of_rows(ends([(-4.0, -3.0), (2.0, 3.0), (2.0, 3.01), (4.0, 2.99)]))
    rows = list(responder_rows(given, np.zeros(4, dtype=np.int64), FitterNoise(of_tilt, 1.0), FEW))
    assert [(found.response, found.n) for found in rows] == [("better", 1), ("unchanged", 2), ("worse", 1)]
    blank = list(responder_rows(given, np.zeros(4, dtype=np.int64), FitterNoise(of_tilt, None), FEW))
    assert {found.words for found in blank} == {
        "Tilt: not enough yet, 4 knees at both ends, and no repeat captures to know the noise from."
    }
    few = list(responder_rows(given, np.zeros(4, dtype=np.int64), FitterNoise(of_tilt, 1.0), Settings()))
    assert few[0].words == "Tilt: not enough yet, 4 knees at both ends."


def test_levels_alike_foretell_one_not_yet_seen() -> None:
    """Three at 1.0 with standard errors of 0.1: no spread, an error of 0.1/√3, by t on one degree of freedom 12.7062 times it.
    Of two levels nothing is foretold."""
    half = 1.959964 * 0.1
    made = next(one for one in made_effects().effects if one.support == "shim" and one.outcome == "tilt")
    found = [
        Found(replace(made, split="arch_height", level=level, pooled=1.0, pooled_low=1 - half, pooled_high=1 + half,
                      within=1.0, within_low=1 - half, within_high=1 + half), 0.01)
        for level in ("low", "medium", "high")
    ]  # fmt: skip
    rows, [family] = shrunken(found, Settings())
    reach = 12.7062 * 0.1 / 3**0.5
    assert (family.prediction_low, family.prediction_high) == pytest.approx((1 - reach, 1 + reach), rel=1e-4)
    assert [one.row.shrunk for one in rows] == pytest.approx([1.0, 1.0, 1.0])
    [told] = compared([family])
    assert bare(told.words) == (
        "One more varus shim shows no clear difference between levels in tilt: spread between levels 0.00°; a level not yet "
        "seen would lie at 0.27 to 1.73°."
    )
    [two] = shrunken(found[:2], Settings())[1]
    assert (two.prediction_low, two.prediction_high) == (None, None)


def test_a_row_with_figures_or_with_a_tie_needs_no_more_changes() -> None:
    made = next(one for one in made_effects().effects if one.support == "shim" and one.outcome == "tilt")
    few = replace(
        made, n_changes=2, n_riders=2, pooled=None, words="One more varus shim: not enough yet, 2 changes in 2 riders."
    )
    assert needed(replace(few, pooled=0.5, words="One more varus shim raises the tilt."), Settings()) is None
    lacking = needed(few, Settings())
    assert lacking is not None
    never = replace(few, n_changes=0, n_riders=0, words="it was never changed between two captures")
    assert nearest([never, few], Settings(), 5) == [(few, lacking)]


def test_of_supports_that_are_no_shim_the_one_of_the_smallest_q_is_told() -> None:
    rows = [row("insole_low", "inward", -0.5, -0.3, q_value=q) for q in (0.03, 0.001, 0.02)]
    assert _surest(rows) is rows[1]
    assert _surest([*rows, row("shim", "inward", -0.5, -0.3, q_value=0.04)]) is not rows[1]
    assert _surest([]) is None


def test_each_estimate_names_the_riders_without_whom_it_would_be_least_and_most() -> None:
    """The two models hold their riders in orders of their own. Without a rider an estimate is less by what he adds."""
    told = {"shim": (0.5, 0.2), "stance": (0.1, 0.1), "insole_low": (0.2, 0.1)}
    made = fits(told, told)
    made = replace(
        made,
        pooled=replace(made.pooled, riders=np.array([0, 1]), influence=np.array([[0.3, 0, 0], [-0.2, 0, 0]])),
        within=replace(made.within, riders=np.array([1, 0]), influence=np.array([[0.1, 0, 0], [-0.4, 0, 0]])),
    )
    [told_row] = influence_rows("tilt", made, np.array(["R1", "R2"]), ["shim"])
    assert (told_row.pooled_without_low, told_row.rider_low) == (pytest.approx(0.2), "R1")
    assert (told_row.pooled_without_high, told_row.rider_high) == (pytest.approx(0.7), "R2")
    assert (told_row.within_without_low, told_row.within_rider_low) == (pytest.approx(0.4), "R2")
    assert (told_row.within_without_high, told_row.within_rider_high) == (pytest.approx(0.9), "R1")


def test_a_bend_is_tested_against_a_straight_line_through_none() -> None:
    """1.0 at one shim and 1.5 at two: (2 · 1.0 − 1.5)/√5 with a variance of 0.01 is √5 standard errors, on the fewer of 9 and 4
    degrees of freedom of the within-knee fit."""
    within = SimpleNamespace(
        terms=("stance", "shim at 1", "shim at 2"), estimate=np.array([9.0, 1.0, 1.5]), df=np.array([2.0, 9.0, 4.0]),
        robust_covariance=np.diag([9.0, 0.01, 0.01]),
    )  # fmt: skip
    made = cast(Any, SimpleNamespace(within=within, pooled=SimpleNamespace(terms=within.terms, df=np.full(3, 99.0))))
    doses = [_Dose("shim", size, Counts(40, 20)) for size in (1.0, 2.0)]
    assert _bend(made, doses) == pytest.approx(2 * stats.t.sf(5**0.5, 4))
    assert _bend(made, [*doses[:1], _Dose("shim", 3.0, Counts(40, 20))]) is None


def test_figures_told_as_narrowly_as_is_cared_about_are_counted() -> None:
    rows = cast(Any, [1, 2, 3])
    assert _headline([], []) == "No capture has a setup, so that nothing can be foreseen."
    assert _headline(rows, []) == "All 3 figures are told as narrowly as the studio cares about."
    assert _headline(rows, rows[:2]) == "1 of 3 figures is told as narrowly as the studio cares about."
    assert _headline(rows, rows[:1]) == "2 of 3 figures are told as narrowly as the studio cares about."


def test_what_may_be_foreseen_of_a_third_is_left_out_where_its_checks_failed() -> None:
    made = next(one for one in made_effects().effects if one.support == "shim" and one.outcome == "tilt")
    made = replace(made, pooled=0.5, within=0.7, sequential=0.6, sequential_low=0.4, sequential_high=0.8, strength=30.0)
    for why, is_there in ((WEAK, True), (PERSISTS, False)):
        found = _precision_of(Found(made, 0.01, Noted(True, 0.2, why, 50.0)))
        assert (found.third_from_pooled is not None, found.third_half > 0) == (is_there, is_there)
        assert (found.difference, found.strength) == (pytest.approx(0.2), 30.0)
    alone = _precision_of(Found(replace(made, sequential=None), 0.01, Noted(True, 0.2, WEAK, 50.0)))
    assert alone.third_from_pooled is None


def test_a_row_carries_what_was_found_of_its_support_and_one_without_figures_carries_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = next(one for one in made_effects().effects if one.support == "shim" and one.outcome == "tilt")
    parts = EffectParts(cast(Any, None), Selection(), Settings(), cast(Any, None))
    bend = check("shim_bend")
    monkeypatch.setattr(parts, "_figures_of", lambda *_: (bend, replace(bend, check="stance_bend")))
    monkeypatch.setattr(parts, "_checks_found", lambda _: {"shim_bend"})
    [carried] = parts.carried(made)
    assert "first" in carried
    assert parts.carried(replace(made, told_low=None)) == []
    monkeypatch.setattr(parts, "_checks_found", lambda _: set())
    assert parts.carried(made) == []
