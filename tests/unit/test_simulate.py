"""The simulated studios: what the story says, what the truth's knobs do, and that the recorded setup is the one in force."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from warehouse_demo.simulate import simulate
from warehouse_demo.studio import open_day
from warehouse_demo.truth import OUTCOMES, Choice, Supports, Truth, load_truth

TRUTH = load_truth()
TABLES = simulate(TRUTH, TRUTH.scale.seed)
NO_SUPPORT = Supports(0, 0, 0, 0, 0, 0)
KNEE = ["session_id", "side"]
ROW = ["session_id", "capture_no", "side"]
SETUP = ["insole_level", "shims_added", "shims_built_in", "shim_place", "stance_mm", "stance_by"]


def numbers(frame: pd.DataFrame, *columns: str) -> pd.DataFrame:
    return frame.assign(**{column: pd.to_numeric(frame[column]) for column in columns})


def captures_of(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """One row a knee in one capture with its setup, in order."""
    joined = tables["foot_setups"].merge(tables["knee_captures"], on=ROW)
    whole = numbers(joined, "capture_no", "shims_added", "shims_built_in", "stance_mm", *OUTCOMES)
    return whole.assign(total_shims=whole["shims_added"] + whole["shims_built_in"]).sort_values(ROW)


def without_noise(
    truth: Truth, *, drift: float = 0.0, noise: float = 0.0, shared: float = 0.0, variation: float = 0.0
) -> Truth:
    spread = {name: replace(one, noise=noise, drift=drift, shared=shared) for name, one in truth.spread.items()}
    return replace(truth, spread=spread, choice=replace(truth.choice, variation=variation))


def sessions() -> pd.DataFrame:
    frame = TABLES["fit_sessions"]
    is_after = frame["session_date"] >= TRUTH.scale.change_day.isoformat()
    return frame.assign(is_after=is_after, month=frame["session_date"].str[5:7])


def repeats() -> pd.Series:
    """For each session, whether both knees were recorded again with an unchanged setup."""
    setups = numbers(TABLES["foot_setups"], "capture_no").sort_values(ROW)
    before = setups.groupby(KNEE)[SETUP].shift().fillna("")
    same = (setups[SETUP].fillna("") == before).all(axis=1)
    return same.groupby([setups["session_id"], setups["capture_no"]]).all().groupby("session_id").any()


def test_the_same_seed_gives_the_same_tables() -> None:
    again = simulate(TRUTH, TRUTH.scale.seed)
    assert all(frame.equals(again[name]) for name, frame in TABLES.items())


def test_riders_can_be_few_or_none() -> None:
    assert len(simulate(TRUTH, 1, riders=3)["riders"]) == 3
    assert simulate(TRUTH, 1, riders=0)["knee_captures"].empty


def test_visits_are_numbered_by_day_inside_the_story_and_never_on_a_sunday() -> None:
    days = TABLES["fit_sessions"]["session_date"]
    assert days.is_monotonic_increasing and TABLES["fit_sessions"]["session_id"].is_monotonic_increasing
    assert days.min() >= TRUTH.scale.first_day.isoformat() and days.max() <= TRUTH.scale.last_day.isoformat()
    desk = [TABLES["follow_ups"][name].dropna() for name in ("booked_on", "due_on", "attended_on")]
    assert all(open_day(date.fromisoformat(day)).isoformat() == day for day in pd.concat([days, *desk]).unique())


def test_every_fit_has_arrival_and_departure_of_both_knees_with_their_setups() -> None:
    setups = numbers(TABLES["foot_setups"], "capture_no")
    per_knee = setups.groupby(KNEE)["capture_no"].agg(["min", "max", "count"])
    assert len(per_knee) == 2 * len(TABLES["fit_sessions"])
    assert (per_knee["min"] == 1).all() and (per_knee["max"] == per_knee["count"]).all()
    assert per_knee["max"].between(2, 8).all()
    assert len(TABLES["knee_captures"].merge(TABLES["foot_setups"], on=ROW)) == len(TABLES["knee_captures"])


def test_the_recorded_setup_is_the_one_in_force() -> None:
    """Without noise, drift and variation a knee's outcomes less what its recorded setup does are one number a session."""
    truth = without_noise(TRUTH)
    captures = captures_of(simulate(truth, 5, riders=60))
    for outcome in OUTCOMES:
        effects = truth.effects[outcome]
        insole = captures["insole_level"].map(lambda level, effects=effects: getattr(effects, f"insole_{level}", 0.0))
        own = captures[outcome] - insole - effects.shim * captures["total_shims"] - effects.stance * captures["stance_mm"]
        # The rig writes 0.01 degrees and 0.1 mm, so two values differ by at most one such step; a sway below 0 is cut.
        step = 0.0101 if outcome.endswith("_deg") else 0.101
        spans = own[captures["knee_sway_mm"] > 0].groupby([captures["session_id"], captures["side"]]).agg(np.ptp)
        assert spans.max() <= step, outcome
    assert (captures.groupby(KNEE)["insole_level"].nunique() > 1).mean() > 0.3


def test_no_effect_leaves_the_knee_where_it_was() -> None:
    truth = replace(without_noise(TRUTH), effects=dict.fromkeys(OUTCOMES, NO_SUPPORT))
    spans = captures_of(simulate(truth, 6, riders=30)).groupby(KNEE)["knee_tilt_deg"].agg(np.ptp)
    assert spans.max() == 0


def test_drift_is_added_with_every_capture() -> None:
    truth = replace(without_noise(TRUTH, drift=0.25), effects=dict.fromkeys(OUTCOMES, NO_SUPPORT))
    tilt = captures_of(simulate(truth, 7, riders=30)).groupby(KNEE)[["capture_no", "knee_tilt_deg"]].diff().dropna()
    assert np.allclose(tilt["knee_tilt_deg"], 0.25 * tilt["capture_no"], atol=0.0101)


def test_noise_shared_in_full_moves_both_knees_alike() -> None:
    truth = replace(without_noise(TRUTH, noise=1.0, shared=1.0), effects=dict.fromkeys(OUTCOMES, NO_SUPPORT))
    tilt = captures_of(simulate(truth, 8, riders=30)).pivot(index=["session_id", "capture_no"], columns="side")["knee_tilt_deg"]
    spans = (tilt["right"] - tilt["left"]).dropna().groupby("session_id").agg(np.ptp)
    assert spans.max() <= 0.0201  # each of the two is rounded to 0.01


@pytest.mark.parametrize("noise", ["normal", "heavy_tailed"])
def test_both_kinds_of_noise_have_the_stated_spread(noise: str) -> None:
    """SD of the differences of consecutive captures is sqrt(2) x noise; with 800 riders its standard error is below 2 %, also
    with the heavy tails of t with 4 degrees of freedom (whose own fourth moment is infinite: hence 8 % are allowed)."""
    truth = replace(without_noise(TRUTH, noise=1.0, shared=0.3), effects=dict.fromkeys(OUTCOMES, NO_SUPPORT))
    truth = replace(truth, choice=replace(truth.choice, noise=noise))
    change = captures_of(simulate(truth, 9, riders=800)).groupby(KNEE)["knee_tilt_deg"].diff().dropna()
    assert change.std() / 2**0.5 == pytest.approx(1.0, rel=0.08 if noise == "heavy_tailed" else 0.03)
    assert (change.kurt() > 0.8) == (noise == "heavy_tailed")


def test_a_studio_may_see_every_rider_once() -> None:
    tables = simulate(replace(TRUTH, scale=replace(TRUTH.scale, repeat_visits=0.0)), 10, riders=80)
    assert len(tables["fit_sessions"]) == len(tables["riders"]) == 80


def first_lift(choice: Choice) -> float:
    """Correlation of the arrival tilt with the outward lean of what was then put in, where the feet do nothing to the knee."""
    foot = replace(TRUTH.foot, arch_low=0, arch_high=0, forefoot_per_deg=0, collapse_some=0, collapse_marked=0)
    truth = replace(TRUTH, foot=foot, choice=choice, scale=replace(TRUTH.scale, repeat_visits=0.0))
    ordered = captures_of(simulate(truth, 11, riders=500))
    level = ordered["insole_level"].map({"none": 0, "low": 1, "medium": 2, "high": 3, "custom": 2})
    ends = ordered.assign(lean=level + ordered["total_shims"] - ordered["stance_mm"]).groupby(KNEE)
    return float(np.corrcoef(ends["knee_tilt_deg"].first(), ends["lean"].last() - ends["lean"].first())[0, 1])


def test_fitters_decide_by_what_the_truth_says() -> None:
    """1,000 knees: a correlation that is truly zero stays within 0.13 with more than 99.9 %."""
    blind = replace(TRUTH.choice, exam=1.0, measured=0.0, true=0.0, squat_sees=0.0)
    assert abs(first_lift(blind)) < 0.13
    assert first_lift(replace(blind, exam=0.0, measured=1.0)) < -0.5
    assert first_lift(replace(blind, exam=0.0, true=1.0)) < -0.5


def test_an_impossible_choice_is_refused() -> None:
    with pytest.raises(ValueError, match="add up to 1"):
        replace(TRUTH.choice, exam=0.9)
    with pytest.raises(ValueError, match="expected one of normal, heavy_tailed"):
        replace(TRUTH.choice, noise="pink")


def test_repeat_captures_are_taken_in_about_a_quarter_of_the_fits_and_more_after_the_change() -> None:
    frame = sessions().set_index("session_id")
    taken = repeats().reindex(frame.index)
    assert 0.2 <= taken.mean() <= 0.32
    by_practice = taken.groupby(frame["is_after"]).mean()
    assert by_practice[True] > by_practice[False] + 0.1


def test_the_change_of_practice_shows_in_bookings_and_comfort() -> None:
    frame = sessions()
    fits = frame[frame["visit_kind"] != "follow_up"]
    booked = fits["session_id"].isin(TABLES["follow_ups"]["session_id"]).groupby(fits["is_after"]).mean()
    assert booked[True] > booked[False] + 0.2
    ratings = numbers(TABLES["rider_ratings"].query("topic == 'comfort'"), "capture_no", "score").sort_values("capture_no")
    ends = ratings.groupby("session_id")["score"].agg(["first", "last"])
    gain = (ends["last"] - ends["first"]).groupby(frame.set_index("session_id")["is_after"]).mean()
    assert gain[True] > gain[False] + 0.3


def comfort_at_returns() -> pd.DataFrame:
    """One row a follow-up that was recorded: comfort as the rider came to the fit, left it, and was found at the follow-up."""
    rated = numbers(TABLES["rider_ratings"].query("topic == 'comfort'"), "capture_no", "score").sort_values("capture_no")
    ends = rated.groupby("session_id")["score"].agg(came="first", left="last")
    kept = TABLES["follow_ups"].dropna(subset=["returned_session_id"])
    found = ends["came"].reindex(kept["returned_session_id"]).to_numpy()
    return kept[["session_id", "setup_kept"]].join(ends, on="session_id").assign(found=found)


@pytest.mark.parametrize(("kept", "allowed"), [("all", 0.1), ("some", 0.2), ("none", 0.6)])
def test_a_follow_up_finds_the_share_of_the_comfort_that_the_truth_says(kept: str, allowed: float) -> None:
    """317, 99 and 28 follow-ups: the standard errors of the shares are 0.04, 0.07 and 0.30, so that each may miss by at most
    two and a half of them."""
    rows = comfort_at_returns().query("setup_kept == @kept")
    share = (rows["found"] - rows["came"]).mean() / (rows["left"] - rows["came"]).mean()
    assert share == pytest.approx(getattr(TRUTH.ratings, f"held_{kept}"), abs=allowed)


def test_a_rider_is_the_same_rider_at_the_next_visit() -> None:
    """A fresh mood at each visit would leave no correlation between comfort left and found, and let any part hurt."""
    rows = comfort_at_returns()
    assert np.corrcoef(rows["left"], rows["found"])[0, 1] > 0.6
    pain = TABLES["rider_ratings"].query("topic == 'pain'").merge(sessions()[["session_id", "rider_id"]])
    assert (pain.groupby("rider_id")["body_part"].nunique() == 1).all()


def test_spring_is_busy_and_its_fits_are_short() -> None:
    frame = sessions()
    n_captures = numbers(TABLES["foot_setups"], "capture_no").groupby("session_id")["capture_no"].max()
    in_spring = frame.set_index("session_id")["month"].isin(["03", "04", "05"])
    length = n_captures.groupby(in_spring).mean()
    assert length[True] < length[False] - 0.5
    firsts = frame[(frame["visit_kind"] == "first") & frame["session_date"].str.startswith("2025")]
    assert firsts["month"].isin(["03", "04", "05"]).mean() > 0.3


def test_one_fitter_has_few_cases_and_one_the_hard_ones() -> None:
    frame = sessions()
    assert 1 <= (frame["fitter_id"] == "F6").sum() < 10
    arrival = captures_of(TABLES).query("capture_no == 1").merge(frame[["session_id", "fitter_id", "visit_kind"]])
    tilt = arrival[arrival["visit_kind"] == "first"].groupby("fitter_id")["knee_tilt_deg"].agg(lambda found: found.abs().mean())
    assert tilt["F7"] > tilt.drop(["F6", "F7"]).max() + 0.3


def test_follow_ups_name_the_visit_they_led_to() -> None:
    follow_ups, frame = TABLES["follow_ups"], TABLES["fit_sessions"]
    came = follow_ups.dropna(subset=["returned_session_id"])
    fit = came.merge(frame, on="session_id")
    visit = came[["follow_up_id", "returned_session_id"]].merge(frame, left_on="returned_session_id", right_on="session_id")
    assert len(fit) == len(visit) == len(came) == (frame["visit_kind"] == "follow_up").sum()
    both = fit.merge(visit, on="follow_up_id", suffixes=("", "_visit"))
    assert (both["rider_id"] == both["rider_id_visit"]).all()
    assert (both["attended_on"] == both["session_date_visit"]).all()
    assert set(both["visit_kind_visit"]) == {"follow_up"}
    assert set(follow_ups["state"]) == {"attended", "missed", "cancelled", "open"}
    assert (follow_ups["state"] == "attended").eq(follow_ups["attended_on"].notna()).all()
    assert follow_ups.query("state == 'open'")["due_on"].min() > "2026-06-01"


def test_a_setup_kept_in_full_is_found_at_the_follow_up() -> None:
    setups = numbers(TABLES["foot_setups"], "capture_no").sort_values(ROW)[[*ROW, *SETUP]].fillna("")
    ends = setups.groupby(KNEE)
    departure, arrival = ends.last().reset_index(), ends.first().reset_index()
    kept = TABLES["follow_ups"].query("setup_kept == 'all'").dropna(subset=["returned_session_id"])
    went = kept[["session_id", "returned_session_id"]].merge(departure, on="session_id")
    came = went.merge(arrival, left_on=["returned_session_id", "side"], right_on=KNEE, suffixes=("", "_came"))
    assert len(came) == 2 * len(kept) > 100
    assert all((came[name] == came[f"{name}_came"]).all() for name in SETUP)


def test_riders_bring_some_supports_along() -> None:
    first = (
        captures_of(TABLES).merge(sessions()[["session_id", "visit_kind"]]).query("capture_no == 1 and visit_kind == 'first'")
    )
    assert 0.1 < (first["shims_built_in"] > 0).mean() < 0.3
    assert 0.08 < (first["insole_level"] != "none").mean() < 0.2
    assert (first["shims_added"] == 0).all()


def test_awkward_notes_are_among_the_notes() -> None:
    notes = TABLES["fit_sessions"]["notes"].dropna()
    for awkward in (",", "\n", '"', "<img src=x onerror"):
        assert notes.str.contains(awkward, regex=False).any(), awkward
    assert notes.str.startswith("=").any()


def test_a_lost_marker_leaves_a_gap_now_and_then() -> None:
    captures = TABLES["knee_captures"]
    assert 0 < captures[list(OUTCOMES)].isna().to_numpy().mean() < 0.02
    assert captures[list(OUTCOMES)].notna().any(axis=1).all()
    assert 0.98 < len(captures) / len(TABLES["foot_setups"]) < 1
