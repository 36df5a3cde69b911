"""The pictures of the Returns page draw the numbers of the answer and nothing else; plotly's own validator accepts them."""

from dataclasses import replace
from itertools import pairwise
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures import returns, returns_curve
from dashboard.figures.theme import PALETTES, shades
from dashboard.pages.returns.tables import group_rows, step_rows
from dashboard.questions.returns.answers_returns import AtRiskRow, HeldRow, LastingRow, ReturnCurveRow, ReturnFigure, SaidRow
from tests.unit.written import written

LEVELS = (None, "low", "medium arch, marked_varus", "feet differ")
DAYS = (0, 14, 28, 42)
# From the fit on: day, at risk before, seen again, ended otherwise.
STEPS = ((9, 100, 0.1, 0.0), (14, 90, 0.25, 0.15), (30, 60, 0.5, 0.15))
AT_RISK = {
    None: (100, 85, 60, 40),
    "low": (40, 30, 20, 12),
    "medium arch, marked_varus": (16, 13, 2, 2),
    "feet differ": (44, 42, 38, 26),
}


def curve_rows(levels: tuple[str | None, ...]) -> tuple[ReturnCurveRow, ...]:
    """The steps of each level, a hundredth higher from level to level."""
    return tuple(
        ReturnCurveRow(None, level, day, n, back, back - 0.04, back + 0.04, lost)
        for place, level in enumerate(levels)
        for day, n, start, lost in STEPS
        for back in (start + 0.01 * place,)
    )


def at_risk_rows(levels: tuple[str | None, ...]) -> tuple[AtRiskRow, ...]:
    return tuple(AtRiskRow(None, level, day, n) for level in levels for day, n in zip(DAYS, AT_RISK[level], strict=True))


def curves(*levels: str | None, enough: int = 10) -> list[returns_curve.Curve]:
    return returns_curve.curves_of(curve_rows(levels), at_risk_rows(levels), enough)


def figure(name: str, level: str | None, n: int, share: float | None) -> ReturnFigure:
    ends = (None, None, None) if share is None else (share, share - 0.05, share + 0.05)
    return ReturnFigure(name, "arch_height" if level else None, level, "share", "fit", n, *ends, f"Words of {name}.")


FIGURES = (
    figure("booked", None, 200, 0.58),
    figure("return_rate", None, 190, 0.52),
    figure("setup_kept_all", None, 90, 0.7),
    figure("setup_kept_some", None, 90, 0.22),
    figure("setup_kept_none", None, 90, 0.08),
    figure("held", None, 80, 0.86),
    figure("booked", "low", 4, None),
    figure("return_rate", "low", 30, 0.4),
    figure("held", "low", 5, None),
)
LASTING = (
    LastingRow(
        "tilt",
        "deg",
        200,
        90,
        45,
        0.1,
        0.0,
        0.2,
        1.7,
        0.91,
        0.88,
        0.93,
        0.41,
        0.96,
        0.37,
        0.98,
        0.86,
        0.8,
        0.92,
        "Tilt held. So.",
    ),
    LastingRow("sway", "mm", 200, 3, 3, words="Sway: not enough yet, 3 knees found again."),
)
SAID = (
    SaidRow(
        "satisfaction", 90, 8.0, 7.0, 9.0, "Satisfaction: median 8 of 10.", 85, 200, 7.8, 3.5, 9.0, 3.2, 9.2, 7.5, 7.1, 7.9
    ),
    SaidRow("pain", 3, None, None, None, "Pain: not enough yet, 3 answers.", 3, 200),
)


def every_figure(theme: str) -> list[dict[str, Any]]:
    return [
        returns_curve.curve_figure(curves(None), theme),
        returns_curve.curve_figure(curves(*LEVELS), theme),
        returns_curve.curve_figure([], theme),
        returns.held_figure(HELD, theme),
        returns.lasting_figure(LASTING, theme),
        returns.kept_figure(FIGURES, theme),
        returns.kept_figure((), theme),
        returns.said_figure(SAID, theme),
        returns.said_figure((), theme),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_figure(theme: str) -> None:
    for drawn in every_figure(theme):
        assert go.Figure(drawn).layout.height == drawn["layout"]["height"]


def test_alone_a_curve_rises_from_the_fit_in_steps_with_its_interval_and_what_came_to_nothing() -> None:
    low, high, nothing, back = returns_curve.curve_figure(curves(None), "light")["data"]
    assert back["x"] == [0, 9, 14, 30, 42]
    assert back["y"] == [0.0, 0.1, 0.25, 0.5, 0.5]
    assert nothing["y"] == [0.0, 0.0, 0.15, 0.15, 0.15]
    assert low["y"][1] == pytest.approx(0.06) and high["y"][-1] == pytest.approx(0.54)
    assert {trace["line"]["shape"] for trace in (low, high, nothing, back)} == {"hv"}
    assert nothing["line"]["dash"] != back["line"]["dash"]


def test_an_end_that_cannot_be_told_takes_the_curve_itself() -> None:
    blank = tuple(replace(row, returned_low=None) for row in curve_rows((None,)))
    (curve,) = returns_curve.curves_of(blank, at_risk_rows((None,)), 10)
    assert curve.steps("returned_low") == curve.steps("returned")


def test_a_curve_ends_on_the_last_day_of_which_enough_fits_are_still_counted() -> None:
    whole, _, few, _ = curves(*LEVELS)
    assert (whole.last_day, few.last_day) == (42, 14)
    grey, short = returns_curve.curve_figure([whole, few], "light")["data"]
    assert (grey["x"][-1], short["x"]) == (42, [0, 9, 14, 14])
    assert short["y"] == pytest.approx([0.0, 0.12, 0.27, 0.27])
    # Nothing is claimed of a later day, neither in the title nor in the words.
    assert returns_curve.finding([few], 42) == (
        "By day 14, 27\u202f% of fits had been seen again (23 to 31\u202f%); later days rest on too few"
    )
    assert "27\u202f% seen again by day 14" in returns_curve.alternative([few])
    assert curves(None, enough=101) == []


def test_a_brief_curve_names_its_days_once_and_holds_the_same_steps() -> None:
    whole = returns_curve.curve_figure(curves(None), "light")
    brief = returns_curve.curve_figure(curves(None), "light", plot_px=110)
    assert brief["layout"]["height"] < whole["layout"]["height"] / 2
    assert [trace["y"] for trace in brief["data"]] == [trace["y"] for trace in whole["data"]]
    printed = [(note["x"], note["text"]) for note in brief["layout"]["annotations"] if note.get("text", "").isdigit()]
    assert printed == [(0, "100"), (28, "60")] and brief["layout"]["xaxis"]["tickvals"] == [0, 28]


HELD = (
    HeldRow("held", 936, 355, 345, 0.38, 0.35, 0.41, 0.38, 0.94, 0.35, 0.95, "355 of 936 fits held."),
    HeldRow("not_held", 936, 60, 60, 0.06, 0.05, 0.08, words="60 of 936 fits did not hold."),
    HeldRow("not_measured", 936, 70, 68, 0.07, 0.06, 0.09, words="70 of 936 fits were seen again and not measured."),
    HeldRow("not_seen", 936, 451, 433, 0.48, 0.45, 0.51, words="451 of 936 fits were not seen again."),
)


def test_what_became_of_the_fits_stands_in_one_order_with_the_bounds_of_those_that_held() -> None:
    drawn = returns.held_figure(HELD, "light")
    bounds, _, _, intervals, _, dots = drawn["data"][-6:]
    assert bounds["x"] == [0.38, 0.94, None]
    assert dots["x"] == [0.38, 0.06, 0.07, 0.48] and intervals["x"][:3] == [0.35, 0.41, None]
    assert drawn["layout"]["xaxis"]["ticktext"] == ["0\u202f%", "50\u202f%", "100\u202f%"]
    assert returns.held_finding(HELD) == "355 fits are known to have held"
    assert returns.held_finding([replace(row, share=None) for row in HELD]) == "What became of the fits: not enough yet"
    assert "451 of 936 fits were not seen again." in returns.held_alternative(HELD)


def test_levels_differ_by_dash_shade_and_name_and_a_rule_ties_each_to_its_numbers() -> None:
    drawn = returns_curve.curve_figure(curves(*LEVELS, enough=1), "light")
    lines = [trace["line"] for trace in drawn["data"] if trace["x"][0] == 0]
    assert len({line["dash"] for line in lines}) == len({line["color"] for line in lines}) == len(LEVELS)
    rules = [shape["line"] for shape in drawn["layout"]["shapes"]]
    assert [(rule["dash"], rule["color"]) for rule in rules] == [(line["dash"], line["color"]) for line in lines]
    names = [note["text"] for note in drawn["layout"]["annotations"]]
    assert all(names.count(name) == 2 for name in ("All fits", "Low", "Medium arch,<br>marked varus", "Feet differ"))


def test_a_curve_that_ends_early_is_named_by_its_numbers_alone() -> None:
    early = curves(*LEVELS)[2]
    names = [note["text"] for note in returns_curve.curve_figure([*curves(None), early], "light")["layout"]["annotations"]]
    assert names.count("All fits") == 2 and names.count("Medium arch,<br>marked varus") == 1


def test_numbers_at_risk_stand_under_their_days() -> None:
    drawn = returns_curve.curve_figure(curves(None, "low"), "light")
    assert drawn["layout"]["xaxis"]["tickvals"] == list(DAYS)
    printed = [(note["x"], note["text"]) for note in drawn["layout"]["annotations"] if note.get("text", "").isdigit()]
    assert printed == [(day, f"{n}") for level in (None, "low") for day, n in zip(DAYS, AT_RISK[level], strict=True)]


def test_names_are_moved_apart_in_their_order() -> None:
    places = returns_curve.spread([0.52, 0.5, 0.51, 0.1], 0.1, 0.6)
    assert sorted(range(4), key=lambda at: -places[at]) == [0, 2, 1, 3]
    assert all(above - below >= 0.1 - 1e-9 for above, below in pairwise(sorted(places, reverse=True)))
    assert max(places) <= 0.6
    assert returns_curve.spread([0.5, 0.1], 0.1, 0.6) == [0.5, 0.1]
    assert returns_curve.spread([], 0.1, 0.6) == []


def test_the_title_and_the_words_hold_the_step_that_holds_on_the_day() -> None:
    assert returns_curve.finding(curves(None), 28) == "By day 28, 25\u202f% of fits had been seen again (21 to 29\u202f%)"
    assert returns_curve.finding(curves(None), 5) == "No rider came back within 5 days"
    assert returns_curve.finding([], 28) == "Riders coming back: not enough yet"
    assert "All fits: 100 fits at the start, 50\u202f% seen again by day 42" in returns_curve.alternative(curves(None))


def test_the_table_of_the_curve_is_the_curve_on_the_days_of_the_grid() -> None:
    rows = step_rows(curves(None, "medium arch, marked_varus"))
    assert [(row.days, row.n_at_risk, row.returned) for row in rows if row.level is None] == [
        (0, 100, 0.0), (14, 85, 0.25), (28, 60, 0.25), (42, 40, 0.5)
    ]  # fmt: skip
    assert [row.days for row in rows if row.level] == [0, 14]


def test_shades_go_from_light_to_dark_and_keep_the_contrast_of_the_accent() -> None:
    def light(colour: str) -> float:
        return sum(int(colour[at : at + 2], 16) for at in (1, 3, 5))

    for theme in ("light", "dark"):
        found = [light(shade) for shade in shades(theme, 5)]
        assert found == sorted(found, reverse=True) and len(set(found)) == 5
    assert shades("light", 1) == [PALETTES["light"].accent]
    assert shades("light", 3)[0] == PALETTES["light"].accent
    assert shades("dark", 3)[-1] == PALETTES["dark"].accent


def test_on_paper_each_shade_has_its_own() -> None:
    drawn = returns_curve.curve_figure(curves(*LEVELS), "dark")
    printed = drawn["layout"]["meta"]["on_paper"]
    inks = [trace["line"]["color"] for trace in drawn["data"]]
    assert [printed[ink] for ink in inks] == [
        trace["line"]["color"] for trace in returns_curve.curve_figure(curves(*LEVELS), "light")["data"]
    ]


def test_a_group_has_its_three_shares_side_by_side() -> None:
    whole, low = group_rows(FIGURES)
    assert (whole.n_asked, whole.booked, whole.n_closed, whole.returned, whole.n_measured, whole.held) == (
        200, 0.58, 190, 0.52, 80, 0.86
    )  # fmt: skip
    assert (low.level, low.booked, low.returned, low.returned_low, low.held) == ("low", None, 0.4, pytest.approx(0.35), None)


def test_what_lasted_shows_the_bounds_for_those_not_seen() -> None:
    bounds, _, _, interval, _, dot = returns.lasting_figure(LASTING, "light")["data"][-6:]
    assert bounds["x"] == [0.41, 0.96, None]
    assert interval["x"] == [0.8, 0.92, None] and dot["x"] == [0.86]
    assert returns.lasting_finding(LASTING) == "Tilt held in 41 to 96\u202f% of all knees, in 91\u202f% of those found again"
    # Those found again alone have no interval that could be read as one of all knees.
    bounds, hollow, _, _, dot, _ = returns.lasting_figure([replace(LASTING[0], alike=None)], "light")["data"][-6:]
    assert bounds["x"] == [0.41, 0.96, None] and hollow["x"] == [0.41, 0.96] and dot["x"] == [0.91]
    assert returns.lasting_finding(LASTING[1:]) == "What lasted: not enough yet"
    assert "not enough yet" in written(returns.lasting_figure(LASTING, "light"))


def test_setup_kept_and_what_riders_said() -> None:
    assert returns.kept_figure(FIGURES, "light")["data"][-1]["x"] == [0.7, 0.22, 0.08]
    assert returns.kept_finding(FIGURES) == "At 70\u202f% of follow-ups the whole setup was still in use (65 to 75\u202f%)"
    assert returns.kept_finding(()) == "Setup kept: not enough yet"
    bar, bounds, median = returns.said_figure(SAID, "light")["data"]
    assert (bar["x"], bounds["x"], median["x"]) == ([7.0, 9.0, None], [3.5, 9.0, None], [8.0])
    assert returns.said_finding(SAID) == "Satisfaction: middle answer 8 in 90 of 200 fits; mean of all 3.5 to 9.0"
    assert returns.said_finding(SAID[1:]) == "What riders said: not enough yet"
