"""The list of riders, the noise they are judged by, and what the warehouse holds of them: counted and told by hand."""

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from dashboard.questions.data import data, noise, rig
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.data.fitter_noise import FitterNoise, OwnNoise, fitter_noise, more_words, scatters_more
from dashboard.questions.followed import held
from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN, WAITING
from dashboard.questions.returns import returns, visits_alone
from dashboard.questions.returns.answers_returns import ReturnFigure, SaidRow
from dashboard.questions.returns.unseen import Left
from dashboard.questions.riders import riders_list
from dashboard.questions.riders.riders_list import FLAG, LOST, OVERDUE, SIDE_DIFFERENCE
from dashboard.questions.riders.riders_timeline import _judged_by
from dashboard.questions.riders.riders_told import BECAME_WORDS, told_of
from dashboard.questions.riders.riders_words import change_words
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from tests.unit.made_rig import WORDS, made_rig
from tests.unit.test_riders_words import FIT, SETUP, TODAY
from tests.unit.test_studio_words import bare

OWN = Settings.model_validate(
    {"knee": {"side_difference_deg": 2.0}, "minimum": {"rows_shown": 2}, "follow_up": {"returned_within_days": 120},
     "noise": {"told_below_q": 0.05}, "rig": {"least_fits": 20}}
)  # fmt: skip
COLUMNS = {
    OVERDUE: np.array([True, False, False, False]), SIDE_DIFFERENCE: np.array([False, True, True, False]),
    FLAG: np.array([False, False, True, False]), "became": np.array([HELD, NOT_HELD, NOT_SEEN, ""], dtype=object),
}  # fmt: skip


@pytest.mark.parametrize(
    ("absent", "words"),
    [
        ((), "Of 3 riders the last fit held for 1, did not for 1, and for 1 it is not known; 1 has a follow-up over, 2 left "
             "with a side difference of 2° or more, and for 1 the last fit is to look at together."),
        (("follow_ups",), "Of 4 riders 2 left with a side difference of 2° or more, and for 1 the last fit is to look at "
                          "together. What became of fits and bookings: not recorded here (follow_ups)."),
        (("knee_captures.knee_tilt_deg",), "Of 4 riders 1 has a follow-up over, and for 1 the last fit is to look at together. "
                                           "Side differences: not recorded here (knee_captures.knee_tilt_deg)."),
        (("follow_ups", "knee_captures", "foot_exams"),
         "What became of fits and bookings: not recorded here (follow_ups); side differences: not recorded here "
         "(knee_captures); agreement with the exam: not recorded here (foot_exams)."),
    ],
)  # fmt: skip
def test_a_list_of_riders_is_headed_by_what_is_recorded_of_them(absent: tuple[str, ...], words: str) -> None:
    assert bare(riders_list._headline(COLUMNS, Recorded(frozenset(absent)), OWN)) == words


def test_looks_stand_on_what_is_recorded() -> None:
    def without(absent: str) -> set[str]:
        recorded = Recorded(frozenset({absent}))
        return {look for look, figures in riders_list._LOOKS_STAND_ON.items() if any(map(recorded.instead, figures))}

    assert without("follow_ups") == {OVERDUE, LOST}
    assert without("knee_captures.knee_tilt_deg") == {LOST, SIDE_DIFFERENCE}
    assert without("foot_exams") == {FLAG}


def followed(rider: list[int], seen: list[bool], closed: list[bool], found: list[float]) -> dict[str, Any]:
    """Fits whose left knee was left at 1°, and found again somewhere."""
    n, nothing = len(rider), np.full(len(rider), np.nan)
    return {
        "rider": np.array(rider), "is_seen": np.array(seen), "is_closed": np.array(closed),
        "tilt_left_departure_deg": np.ones(n), "tilt_left_found_deg": np.array(found),
        "tilt_right_departure_deg": nothing, "tilt_right_found_deg": nothing,
        "session_date": np.array([f"2026-06-0{day}" for day in range(1, n + 1)], "datetime64[D]"),
    }  # fmt: skip


def test_of_a_rider_the_last_fit_is_told() -> None:
    """Rider 0 held and then did not; rider 1 is waited for, rider 2 never was asked to come; 1.8 is further by 0.8 itself."""
    fits = followed([0, 1, 0], [True, False, True], [True, False, True], [1.8, np.nan, -1.81])
    ends, days = riders_list._last_fits(fits, np.array([0, 2, 1]), 0.8)
    assert ends.tolist() == [NOT_HELD, "", WAITING]
    assert [str(day) for day in days] == ["2026-06-03", "NaT", "2026-06-02"]
    assert riders_list._last_fits(fits, np.array([0, 1]), None)[0].tolist() == [NOT_MEASURED, WAITING]
    assert [BECAME[code] for code in held.became_of(fits, 0.8)] == [HELD, WAITING, NOT_HELD]


def test_each_end_of_a_fit_has_its_words() -> None:
    assert {end: BECAME_WORDS[end] for end in BECAME} == {
        "held": "held", "not_held": "did not hold", "not_measured": "seen again, not measured",
        "not_seen": "not seen again", "waiting": "not seen yet",
    }  # fmt: skip
    assert "; no tilt was recorded; " in told_of(FIT, [], (), None, None, TODAY)
    assert change_words({**SETUP, "insole_level": None}, SETUP) == "setup not recorded"


def test_riders_stand_by_reasons_and_have_no_state_of_bookings_where_none_are_recorded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows = {
        "rider": np.array([0, 1]), "rider_no": np.array([0, 1]), "rider_id": np.array(["R1", "R2"], dtype=object),
        "studios": np.array(["quay", "mill"], dtype=object), "n_fits": np.array([1, 2]),
        "first_date": np.array(["2026-05-01", "2026-05-02"], "datetime64[D]"),
        "last_date": np.array(["2026-06-01", "2026-06-02"], "datetime64[D]"),
        "tilt_left_deg": np.array([1.0, -2.0]), "tilt_right_deg": np.array([1.5, 0.5]),
        "side_difference_deg": np.array([0.5, 2.5]), "follow_up": np.array(["closed", "over"], dtype=object),
        "due_on": np.array(["NaT", "2026-06-20"], "datetime64[D]"),
    }  # fmt: skip
    judged = cast(Any, SimpleNamespace(
        fits={"rider": np.array([0, 1, 1])}, is_judged=np.array([True, True, True]), to_look_at=np.array([True, True, False])
    ))  # fmt: skip
    monkeypatch.setattr(riders_list, "followed_fits", lambda *_: followed([0, 1], [True, False], [True, False], [1.0, np.nan]))

    def listed(recorded: Recorded) -> list[Any]:
        scope = cast(Scope, SimpleNamespace(n_riders=2, parameters={}, as_of=TODAY, recorded=recorded))
        return list(
            riders_list.rider_rows(cast(Any, SimpleNamespace(arrays=lambda *_, **__: rows)), scope, judged, OWN, 0.8, TODAY)
        )

    second, first = listed(Recorded())
    assert (second.rider_id, second.follow_up, second.became, second.n_judged_fits, second.n_flagged_fits) == (
        "R2", "over", WAITING, 2, 1,
    )  # fmt: skip
    assert (second.look, bare(second.words)) == (
        "overdue, side_difference",
        "Follow-up over since 20 Jun 2026. 2.5° between the knees remain, the right one further out.",
    )
    assert (first.rider_id, first.look, first.became) == ("R1", "flag", HELD)
    assert {row.follow_up for row in listed(Recorded(frozenset({"follow_ups"})))} == {""}


def test_a_fit_is_judged_by_its_own_fitters_noise_alone() -> None:
    rows = [
        SimpleNamespace(level=level, outcome=outcome, group=group, judged_by=limit)
        for level, outcome, group, limit in (
            ("F1", "tilt", "fitter", 0.9), ("F1", "sway", "fitter", 3.0), ("left", "tilt", "side", 7.0),
        )
    ]  # fmt: skip
    known = {"tilt": SimpleNamespace(mdc95=0.8)}
    assert _judged_by(cast(Any, SimpleNamespace(groups=rows)), known) == {("", "tilt"): 0.8, ("F1", "tilt"): 0.9}
    assert _judged_by(None, {}) == {}


def row_of(known_by: str, outcome: str = "tilt") -> NoiseRow:
    return NoiseRow(outcome, "deg", 40, 20, 0.3, 0.2, 0.4, 0.8, *((None,) * 5), "In words.", known_by)


def test_noise_is_known_by_repeats_or_by_what_a_studio_assumes() -> None:
    for known_by, is_known in (("repeats", True), ("assumed", True), ("model", False), ("", False)):
        assert ("tilt" in held.known_noise(cast(Any, SimpleNamespace(noise=(row_of(known_by),))))) == is_known


def test_where_no_follow_up_is_recorded_no_fit_is_told_not_to_have_been_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    fits = followed([0], [False], [True], [np.nan])
    monkeypatch.setattr(held, "read_or_cut", lambda *_: fits)
    for absent, n in ((frozenset[str](), 1), (frozenset({"follow_ups"}), 0)):
        scope = cast(Scope, SimpleNamespace(recorded=Recorded(absent)))
        assert {len(column) for column in held.followed_fits(cast(Any, None), scope).values()} == {n}


def test_fitters_who_scatter_differently_are_judged_by_their_own_noise_and_others_by_the_usual() -> None:
    """Differences of 0.14 make a typical error of 0.1 and limits of 1.96 · √2 · 0.1 = 0.28; a fourth fitter's are ten times so,
    and the usual one of four is ten to the power of a quarter times so."""
    rng = np.random.default_rng(15)
    differences = rng.normal(0.0, 0.1 * 2**0.5, 400) * np.repeat([1.0, 1.0, 1.0, 10.0], 100)
    rider, fitter = np.arange(400), np.repeat(np.arange(4), 100)
    found = fitter_noise(row_of("repeats"), differences, rider, fitter, OWN)
    assert found.differs
    assert found.mdc95 == pytest.approx(0.277 * 10**0.25, rel=0.1)
    *quiet, loud, unknown = found.limits(np.array([0, 1, 2, 3, 9])).tolist()
    assert quiet == pytest.approx([0.277] * 3, rel=0.2) and loud == pytest.approx(2.77, rel=0.2) and unknown == found.mdc95
    assert found.own[3].ratio > 1 and scatters_more(found.own[3], OWN) and not scatters_more(found.own[0], OWN)
    alike = fitter_noise(row_of("repeats"), rng.normal(size=400), rider, fitter, OWN)
    assert (alike.differs, alike.mdc95, {own.mdc95 for own in alike.own.values()}) == (False, 0.8, {0.8})


def test_noise_is_told_as_one_limit_or_from_the_least_to_the_most() -> None:
    own = {3: OwnNoise(2.84, 3.1, 1.84, 4.26, 0.049), 4: OwnNoise(0.71, 0.9, 0.5, 1.2, 0.6)}
    assert FitterNoise(row_of("repeats"), 0.84).limit_words() == "0.8°"
    assert FitterNoise(row_of("repeats"), 0.84, own, True).limit_words() == "their fitter's own noise (0.7 to 2.8°)"
    assert np.isnan(FitterNoise(row_of(""), None).limits(np.array([1]))).all()
    assert more_words("F3", "tilt", own[3]).startswith(
        "F3's captures scatter more in tilt than the others', 1.8 to 4.3 times. "
    )
    assert scatters_more(own[3], OWN) and not scatters_more(replace(own[3], q_value=0.05), OWN)
    assert not scatters_more(replace(own[3], ratio_low=1.0), OWN)


def test_too_few_repeats_say_how_to_learn_the_noise_or_what_is_assumed() -> None:
    few = noise.noise_row("tilt", np.array([0.1, np.nan]), np.arange(2), OWN)
    assert few.words == "Tilt: not enough yet, 1 repeat pair. Record a knee twice before a change to learn its noise."
    assert (few.typical_error, few.known_by, few.n_pairs) == (None, "none", 1)
    assumes = Settings.model_validate({"noise": {"assumed_tilt_deg": 0.5}})
    assumed = noise.noise_row("tilt", np.array([0.1, np.nan]), np.arange(2), assumes)
    assert bare(assumed.words) == (
        f"{few.words} The studio assumes a typical error of 0.50° (a setting), so that a knee is taken to have changed beyond "
        "1.4°."
    )
    assert (assumed.mdc95, assumed.known_by) == (pytest.approx(1.96 * 2**0.5 * 0.5), "assumed")
    assert [noise._quarter_words(number) for number in (0, 225)] == ["1970 quarter 1", "2026 quarter 2"]


def test_noise_that_comes_from_nothing_recorded_says_so_unless_repeats_tell_it() -> None:
    scope = cast(Scope, SimpleNamespace(recorded=Recorded(frozenset({"foot_setups"}))))
    told = noise._or_absent(row_of("repeats"), scope, OWN)
    assert told.words == "In words."
    absent = noise._or_absent(replace(row_of(""), typical_error=None, mdc95=None), scope, OWN)
    assert absent.words == (
        "Tilt: not recorded here (foot_setups): noise comes from two captures of a knee with the same setup. A studio may "
        "assume one in its settings (noise.assumed_tilt_deg)."
    )


def test_the_models_residual_stands_in_the_place_of_noise_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    fits: Any = SimpleNamespace(pooled=SimpleNamespace(variance_residual=0.25))
    few = replace(row_of(""), typical_error=None, mdc95=None, words="Too few.")
    monkeypatch.setattr(noise, "fitted", lambda *_: ([], fits))
    row = noise._with_residual(few, cast(Any, None), OWN)
    assert bare(row.words).startswith("Too few. In its place the pooled model's residual, 0.50°: it holds what the model does")
    assert (row.typical_error, row.mdc95, row.known_by) == (0.5, pytest.approx(1.96 * 2**0.5 * 0.5), "model")
    assert noise._with_residual(row_of("repeats"), cast(Any, None), OWN).known_by == "repeats"
    monkeypatch.setattr(noise, "fitted", lambda *_: ([], None))
    assert noise._with_residual(few, cast(Any, None), OWN) is few


def test_rigs_are_told_by_the_first_finding_and_need_twice_the_least_fits() -> None:
    found = made_rig().findings
    assert rig._headline(found, 500, OWN) == WORDS
    assert rig._headline(found * 3, 500, OWN) == f"{WORDS} 2 more findings below."
    assert rig._headline((), 39, OWN) == "Not enough yet to watch a rig: 39 fits with both knees, of 40 needed."
    assert rig._headline((), 40, OWN).startswith("No rig is seen to have moved: no step, no drift, no side, no exchange")


def test_what_fits_hold_is_a_share_of_all_of_them() -> None:
    counts = {"n_fits": 40, "n_examined": 30, "n_unexamined": 4, "n_recorded_twice": 40, "n_bike_measured": 0, "n_repeated": 10}
    warehouse = cast(Any, SimpleNamespace(rows=lambda *_, **__: [counts]))

    def told(absent: tuple[str, ...] = (), n_fits: int = 40) -> list[str]:
        counts["n_fits"] = n_fits
        scope = cast(Scope, SimpleNamespace(parameters={}, recorded=Recorded(frozenset(absent))))
        return [bare(row.words) for row in data._quality(warehouse, scope, OWN)]

    assert told() == [
        "75 % of fits have arch and forefoot examined on both feet (30 of 40).",
        "10 % of fits have no exam of either foot (4 of 40).",
        "100 % of fits were recorded at arrival and departure (40 of 40).",
        "0 % of fits have the bicycle measured before leaving (0 of 40).",
        "25 % of fits hold a repeat capture with nothing changed (10 of 40).",
    ]
    assert set(told(n_fits=1)) == {"Not enough yet: 1 fit."}
    assert told(("foot_exams", "foot_setups", "bike_measures")) == [
        "Arch and forefoot examined on both feet: not recorded here (foot_exams).",
        "No exam of either foot: not recorded here (foot_exams).",
        "100 % of fits were recorded at arrival and departure (40 of 40).",
        "Bicycle measured before leaving: not recorded here (bike_measures).",
        "A repeat capture with nothing changed: not recorded here (foot_setups).",
    ]


@pytest.mark.parametrize(
    ("n", "in_time", "words"),
    [
        (0, 0, "From visits alone: of 40 visits none is a follow-up by its kind."),
        (1, 1, "From visits alone: 1 visit is a follow-up by kind; 1 came within 120 days of the rider's fit before. No share "
               "is told, since bookings alone say who was to come."),
        (1200, 1000, "From visits alone: 1,200 visits are follow-ups by kind; 1,000 came within 120 days of the rider's fit "
                     "before. No share is told, since bookings alone say who was to come."),
    ],
)  # fmt: skip
def test_visits_alone_tell_who_came_and_no_share(n: int, in_time: int, words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(visits_alone, "scope_of", lambda *_: SimpleNamespace(parameters={}, n_fits=40))
    rows: Callable[..., Any] = lambda path, *_, **__: (  # noqa: E731
        [{"n_follow_ups": n, "n_in_time": in_time}] if path.name == "returns_visits.sql" else []
    )
    warehouse = cast(Any, SimpleNamespace(rows=rows))
    assert visits_alone.told(warehouse, Selection(), OWN, cast(Any, None), ()) == words


def test_returns_that_stand_on_nothing_recorded_say_so_by_name() -> None:
    figure = ReturnFigure("held", None, None, "share", "fit", 40, 0.5, 0.3, 0.7, "In words.", 40)
    assert (
        returns._if_recorded(figure, Recorded(), "too few repeats.").words == "Held, of those measured again: too few repeats."
    )
    assert returns._if_recorded(figure, Recorded()) is figure
    absent = Recorded(frozenset({"follow_ups"}))
    came = replace(figure, figure="return_rate")
    assert returns._if_recorded(came, absent, "too few repeats.").words == "Came back: not recorded here (follow_ups)."
    for topic, name in (("satisfaction", "Satisfaction"), ("pain", "Pain")):
        said = SaidRow(topic, 0, None, None, None, "", 0, 0)
        assert returns._if_recorded(said, absent).words == f"{name}: not recorded here (follow_ups)."


def test_what_was_known_of_a_fit_when_its_rider_left_holds_whether_it_was_a_refit() -> None:
    """Twenty fits, half of them refits, whose knees stood alike but for ten that arrived at 3 instead of 1."""
    n = 20
    rows: dict[str, Any] = {
        f"{name}_{side}_{when}": np.ones(n)
        for name in ("tilt", "sway") for side in ("left", "right") for when in ("arrival", "departure")
    }  # fmt: skip
    rows["tilt_left_arrival"] = np.repeat([1.0, 3.0], 10)
    rows |= {name: np.full(n, 2.0) for name in ("pain_arrival", "pain_departure", "comfort_arrival", "comfort_departure")}
    left = Left({**rows, "is_refit": np.tile([0, 1], 10), "rider": np.arange(n), "fit_no": np.arange(n)})
    assert left.known.terms == ("intercept", "off_neutral_arrival_deg", "refit")
    assert left.known.design[:, 1].tolist() == [1.0] * 10 + [2.0] * 10
