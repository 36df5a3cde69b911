"""The funnel draws the fitters' differences within their limits, and the months of agreement their shares."""

from dataclasses import replace
from itertools import combinations
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.funnel import alternative, difference, finding, funnel_figure
from dashboard.figures.timeline_agreement import agreement_figure
from dashboard.figures.timeline_agreement import finding as months_finding
from dashboard.questions.coaching.answers_agreement import AgreementRow
from dashboard.questions.coaching.answers_fitters import FitterRow, FunnelRow

LEVELS = ("95 %", "99.8 %")
LIMITS: dict[str, Any] = {"limit_outer_low": 0.1, "limit_inner_low": 0.2, "limit_inner_high": 0.4, "limit_outer_high": 0.5}


def fitter(name: str, observed: float, n: int) -> FitterRow:
    row = FitterRow("return_rate", "share", name, n, n, observed=observed, expected=0.3, difference=observed - 0.3, **LIMITS)
    row = replace(row, q_value=0.01)
    return replace(row, difference_low=observed - 0.4, difference_high=observed - 0.2, words=f"{name}: told.")


FITTERS = (
    fitter("F1", 0.4, 100),
    fitter("F2", 0.45, 60),
    fitter("F3", 0.05, 40),
    FitterRow("return_rate", "share", "F4", 3, 3, words="F4: not enough yet, 3 fits of the 10 needed."),
    FitterRow("comfort_gained", "points", "F1", 3, 3, words="F1: not enough yet."),
)
FUNNEL = tuple(FunnelRow("return_rate", "share", n, -2 / n, -1 / n, 1 / n, 2 / n) for n in (10, 40, 110))
MONTHS = (
    AgreementRow("month", "2026-01-01", 20, 18, 9, 0.5, 0.3, 0.7, ""),
    AgreementRow("month", "2026-02-01", 4, 3, 1, None, None, None, "February 2026: not enough yet."),
)
WHOLE = AgreementRow(None, None, 24, 21, 10, 0.476, 0.3, 0.65, "")


def figures(theme: str) -> list[dict[str, Any]]:
    return [
        funnel_figure(FITTERS, FUNNEL, "return_rate", LEVELS, theme),
        funnel_figure(FITTERS, FUNNEL, "comfort_gained", LEVELS, theme),
        funnel_figure((), (), "nearer_neutral", LEVELS, theme),
        agreement_figure(MONTHS, WHOLE, theme),
        agreement_figure((), replace(WHOLE, share=None), theme),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_figure(theme: str) -> None:
    for figure in figures(theme):
        assert go.Figure(figure).layout.height == figure["layout"]["height"]


def test_a_limit_itself_is_within() -> None:
    assert [row.place for row in FITTERS] == ["within", "between", "beyond", None, None]


def test_beyond_the_limits_and_no_surer_than_chance_among_so_many_is_not_told_as_beyond() -> None:
    unsure = [replace(row, q_value=0.2) for row in FITTERS]
    assert [row.place for row in unsure] == ["within", "between", "between", None, None]


def test_each_fitter_stands_at_its_count_and_difference_in_a_shape_of_its_place() -> None:
    traces = figures("light")[0]["data"][4:]
    assert [(trace["x"], trace["y"], trace["text"]) for trace in traces] == [
        ([row.n_fits], [row.difference], [row.fitter_id]) for row in FITTERS[:3]
    ]
    assert len({trace["marker"]["symbol"] for trace in traces}) == 3
    assert len({trace["marker"]["color"] for trace in traces}) == 1


def test_a_name_covers_no_other_point() -> None:
    """F2 stands above F1 and a little to the right: F1's name goes left. F3, alone below the line, keeps its name below."""
    rows = (fitter("F1", 0.4, 100), fitter("F2", 0.45, 101), fitter("F3", 0.05, 40))
    traces = funnel_figure(rows, FUNNEL, "return_rate", LEVELS, "light")["data"][4:]
    sides = {name: side for trace in traces for name, side in zip(trace["text"], trace["textposition"], strict=True)}
    assert sides == {"F1": "middle left", "F2": "top center", "F3": "bottom center"}


def test_a_name_covers_no_other_name() -> None:
    """Three stand close by, higher and higher, as wide apart as a name is: all three names above would lie over each other."""
    rows = (fitter("F1", 0.24, 100), fitter("F2", 0.24, 108), fitter("F3", 0.27, 112), fitter("F4", 0.2, 300))
    figure = funnel_figure(rows, FUNNEL, "return_rate", LEVELS, "light")
    low, high = figure["layout"]["yaxis"]["range"]
    at = {
        name: (x / figure["layout"]["xaxis"]["range"][1] + 0.6 * 0.12 * ("right" in side) - 0.6 * 0.12 * ("left" in side),
               y / (high - low) + 0.1 * ("top" in side) - 0.1 * ("bottom" in side))
        for trace in figure["data"][4:]
        for name, x, y, side in zip(trace["text"], trace["x"], trace["y"], trace["textposition"], strict=True)
    }  # fmt: skip
    for one, other in combinations(at.values(), 2):
        assert abs(one[0] - other[0]) >= 0.11 or abs(one[1] - other[1]) >= 0.09


def test_the_curves_are_the_limits_of_the_answer() -> None:
    curves = figures("light")[0]["data"][:4]
    for curve, key in zip(curves, ("outer_low", "inner_low", "inner_high", "outer_high"), strict=True):
        assert curve["y"] == [getattr(row, key) for row in FUNNEL]
    assert curves[0]["line"]["dash"] != curves[1]["line"]["dash"]


def test_all_fitters_lie_in_the_range() -> None:
    low, high = figures("light")[0]["layout"]["yaxis"]["range"]
    assert all(low < (row.difference or 0) < high for row in FITTERS[:3])


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (FITTERS, "Riders who came back: F3 beyond the 99.8 % limits, to look at together"),
        (FITTERS[:2], "Riders who came back: F2 outside the 95 % limits, no more than chance may bring"),
        (FITTERS[:1], "Riders who came back: F1 within the 95 % limits"),
        (FITTERS[3:], "Riders who came back: no fitter can be compared yet"),
    ],
)
def test_the_title_says_who_lies_where(rows: tuple[FitterRow, ...], words: str) -> None:
    assert finding(rows, "return_rate", LEVELS) == words


def test_names_stand_in_the_place_of_ids_where_they_may_be_seen() -> None:
    names = {"F2": "Birch", "F3": "Cedar"}
    assert finding(FITTERS, "return_rate", LEVELS, names) == (
        "Riders who came back: Cedar beyond the 99.8 % limits, to look at together"
    )
    traces = funnel_figure(FITTERS, FUNNEL, "return_rate", LEVELS, "light", names)["data"][4:]
    assert [trace["text"] for trace in traces] == [["F1"], ["Birch"], ["Cedar"]]


def test_the_words_name_every_fitter() -> None:
    assert alternative(FITTERS, "return_rate").endswith(
        "F1: told. F2: told. F3: told. F4: not enough yet, 3 fits of the 10 needed."
    )


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.123, "share", "+12"),
        (-0.05, "share", "−5"),
        (0.4, "points", "+0.40"),
        (-0.001, "points", "0.00"),
        (-0.26, "deg", "−0.26"),
        (None, "deg", "–"),
    ],
)
def test_a_difference_has_its_sign(value: float | None, unit: str, text: str) -> None:
    assert difference(value, unit) == text


def test_months_with_too_few_fits_are_left_out() -> None:
    figure = agreement_figure(MONTHS, WHOLE, "light")
    assert figure["data"][0]["x"] == ["2026-01-01"]
    assert figure["layout"]["shapes"][0]["y0"] == WHOLE.share
    assert (
        months_finding(MONTHS, WHOLE)
        == "In agreement with the exam: 48\u202f% over all, 50\u202f% (30 to 70\u202f%) in January 2026"
    )
    assert months_finding(MONTHS[1:], WHOLE) == "In agreement with the exam, by month: not enough yet"


def test_the_axis_is_in_points_of_a_hundred_also_where_no_fitter_can_be_compared() -> None:
    for rows in (FITTERS, FITTERS[3:4]):
        across = funnel_figure(rows, FUNNEL, "return_rate", LEVELS, "light")["layout"]["yaxis"]
        assert across["ticktext"] == [difference(tick, "share") for tick in across["tickvals"]]
        assert "0" in across["ticktext"] and 3 <= len(across["tickvals"]) <= 7


def test_no_fitter_and_no_limit_is_told_in_words_without_an_axis() -> None:
    figure = funnel_figure(FITTERS[4:], (), "comfort_gained", LEVELS, "light")
    assert not figure["data"] and not figure["layout"]["yaxis"]["visible"]
    assert figure["layout"]["annotations"][0]["text"].startswith("not enough yet")


def test_no_month_with_enough_fits_is_told_in_words_without_an_axis() -> None:
    figure = agreement_figure(MONTHS[1:], WHOLE, "light")
    assert not figure["data"] and not figure["layout"]["xaxis"]["visible"]
    assert figure["layout"]["annotations"][0]["text"] == "not enough yet in any month"
