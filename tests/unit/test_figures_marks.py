"""What pictures draw: every mark within its axis, claims apart from the unclear, words and hovers beside truth set by hand."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest

from dashboard.figures import (
    better,
    control,
    dose,
    dot_rows,
    effects,
    foreseen,
    funnel,
    loading,
    nearer,
    neutral,
    returns,
    symmetry,
    symmetry_curve,
)
from dashboard.figures.dose import dose_chart
from dashboard.figures.names import CHECKS, MEASURES, OUTCOMES, PLAIN, table_name, unit_words
from dashboard.figures.scales import even_ticks
from dashboard.figures.theme import PALETTES
from dashboard.questions.coaching.answers_fitters import FitterRow
from dashboard.questions.data.answers_data import LeftOutRow, LoadRow
from dashboard.questions.effects.answers_effects import NeutralRow
from dashboard.questions.returns.answers_returns import HeldRow, LastingRow, ReturnFigure
from dashboard.questions.studio.answers_studios import BetweenStudiosRow, Studios
from dashboard.questions.studio.answers_trends import TrendRow
from dashboard.questions.symmetry.answers_asymmetry import CurveRow, PrevalenceRow
from tests.unit.made_answers import SHARED
from tests.unit.made_effects import NEUTRAL
from tests.unit.made_periods import made_periods
from tests.unit.made_trends import made_goal, made_trends
from tests.unit.test_effect_words import SHOWN
from tests.unit.test_figures_dose import SHIMS
from tests.unit.test_figures_returns import FIGURES, HELD, LASTING
from tests.unit.test_pages_next import row as next_row

INK = PALETTES["light"]
LINES, MARKERS = "lines", "markers"


def plain(words: str) -> str:
    return words.replace("\N{NARROW NO-BREAK SPACE}", " ")


def traces(figure: dict[str, Any], mode: str) -> list[dict[str, Any]]:
    return [trace for trace in figure["data"] if trace["mode"] == mode]


PICTURES: dict[str, Callable[[], dict[str, Any]]] = {
    "better": lambda: better.periods_figure(
        made_periods(), {"return_rate": made_goal("return_rate", 0.95, "misses it")}, "light"
    ),
    "held": lambda: returns.held_figure(HELD, "light"),
    "lasting": lambda: returns.lasting_figure(LASTING, "light"),
    "kept": lambda: returns.kept_figure(FIGURES, "light"),
    "neutral": lambda: neutral.neutral_chart(NEUTRAL, "light"),
    "told": lambda: effects.estimates_panel([SHOWN, replace(SHOWN, told_low=-3.0, told_high=-2.0)], "tilt", "light"),
}


@pytest.mark.parametrize("name", PICTURES)
def test_every_mark_and_line_lies_on_the_axes_of_its_picture(name: str) -> None:
    figure = PICTURES[name]()
    for letter in ("x", "y"):
        low, high = sorted(figure["layout"][f"{letter}axis"]["range"])
        drawn = [value for trace in figure["data"] for value in trace[letter] if value is not None]
        assert drawn and low <= min(drawn) and max(drawn) <= high


@pytest.mark.parametrize("name", ["better", "held", "lasting", "kept", "told"])
def test_rows_stand_below_each_other_and_what_belongs_to_one_at_one_height(name: str) -> None:
    """A row's interval lies as high as its mark; marks of different rows do not."""
    figure = PICTURES[name]()
    points = {y for trace in traces(figure, MARKERS) for y in trace["y"]}
    low, high = sorted(figure["layout"]["yaxis"]["range"])
    assert all(low < y < high for y in points)
    assert all(below - above > 0.05 for above, below in pairwise(sorted(points)))


def test_what_is_measured_again_is_full_and_what_is_not_told_of_all_is_hollow() -> None:
    quiet = dot_rows._intervals([(0.5, dot_rows.Mark(0.5, 0.4, 0.6, "", is_quiet=True))], True, INK)
    loud = dot_rows._intervals([(0.5, dot_rows.Mark(0.5, 0.4, 0.6, ""))], False, INK)
    assert (quiet["line"]["color"], loud["line"]["color"]) == (INK.muted, INK.accent)
    assert (quiet["x"], loud["x"]) == ([0.4, 0.6, None], [0.4, 0.6, None])


@pytest.mark.parametrize(("step", "ticks"), [(0.25, ["0 %", "25 %", "50 %", "75 %", "100 %"]), (0.5, ["0 %", "50 %", "100 %"])])
def test_an_axis_of_shares_goes_to_all_in_whole_steps(step: float, ticks: list[str]) -> None:
    row = dot_rows.DotRow("Row", "", "", (dot_rows.Mark(0.1, 0.0, 0.19, ""),))
    shown = dot_rows.dot_rows([row], None, of="fits", step=step)["layout"]["xaxis"]
    assert ([tick.replace("\N{NARROW NO-BREAK SPACE}", " ") for tick in shown["ticktext"]], shown["title"]["text"]) == (
        ticks, "share of fits",
    )  # fmt: skip


def test_ticks_to_either_side_of_zero_are_at_most_so_many() -> None:
    assert even_ticks(10, 5) == [-10, -5, 0, 5, 10]
    assert even_ticks(9.9, 5) == [-5, 0, 5]
    assert even_ticks(0.4, 3) == [0]
    assert even_ticks(10, 3) == [-10, 0, 10]


def test_an_axis_of_differences_reaches_the_furthest_end_or_goal_and_says_which_side_is_better() -> None:
    def marks(low: float, high: float, goal: float | None = None) -> list[better.BetterMark]:
        return [better.BetterMark(0.0, low, high, "", "", goal=goal)]

    assert better._reach(marks(-1.0, 2.0)) == (2.0, [-2, -1, 0, 1, 2])
    assert better._reach(marks(-7.0, 2.0)) == (7.0, [-5, 0, 5])
    assert better._reach(marks(-1.0, 2.0, goal=25.0)) == (25.0, [-20, -10, 0, 10, 20])
    assert better._reach([]) == (1.0, [-1, 0, 1])
    notes = {(note["x"], note["text"]) for note in PICTURES["better"]()["layout"]["annotations"]}
    ends = PICTURES["better"]()["layout"]["annotations"]
    assert [note["text"] for note in ends] == ["← worse", "points of 100", "better →"] and len(notes) == 3
    assert ends[0]["x"] < ends[1]["x"] == 0 < ends[2]["x"]


def test_studios_beside_each_other_or_beside_the_others_name_which_side_is_whose() -> None:
    def figure(*against: str) -> list[str]:
        rows = tuple(
            BetweenStudiosRow("return_rate", f"S{at}", other, "share", 60, 50, 0.1, 0.05, 0.15, "", judged="better")
            for at, other in enumerate(against)
        )
        answer = Studios(**SHARED, n_fits=9, n_riders=9, headline="", figures=(), differences=rows)
        made = better.studios_figure(answer, "light")
        names = [text for trace in made["data"] if trace.get("textposition") == "middle right" for text in trace["text"]]
        return [*names, *(note["text"] for note in made["layout"]["annotations"])]

    assert figure("S9") == ["<b>Fits seen again in time</b>", "← better at S9", "points of 100", "better at S0 →"]
    assert figure("the others", "the others") == [
        "<b>Fits seen again in time, S0</b>", "<b>Fits seen again in time, S1</b>", "← worse there", "points of 100",
        "better there →",
    ]  # fmt: skip


def test_hovers_of_effects_tell_each_estimate_with_its_own_ends_and_their_signs() -> None:
    row = replace(SHOWN, told_low=0.1, told_high=0.4, q_value=0.01)
    told = effects.told_row(row, lambda _: "none")
    assert (told.printed, told.is_claimed) == ("0.10 to 0.40 outward", True)
    assert told.hover == "<b>One more shim</b><br>+0.10 to +0.40°<br>60 changes, 30 riders"
    falls = effects.told_row(replace(row, told_low=-0.4, told_high=-0.1), lambda _: "none")
    assert falls.printed == "0.10 to 0.40 inward"
    unclear = effects.told_row(replace(row, q_value=0.2), lambda _: "none")
    assert (unclear.printed, unclear.is_claimed, unclear.low, unclear.high) == ("unclear", False, 0.1, 0.4)
    both = effects._with_estimates(row)
    assert both.hover == ("<b>One more shim</b><br>pooled −0.60° (−0.90 to −0.30°)<br>within knee +0.80° (+0.50 to +1.20°)")
    assert both.printed == "+0.10 to +0.40"
    assert effects.row_name(replace(row, level="mild_varus")) == "Mild varus: one more shim"
    words = effects.told_words([row, replace(row, q_value=0.2), replace(row, told_low=None)], "tilt")
    assert words == (
        "Chart of the told intervals of tilt in degrees, minus is inward, plus is outward. One more shim: +0.10 to +0.40°; "
        "One more "
        "shim: +0.10 to +0.40°, no clear change; One more shim: no figure."
    )


def test_knees_that_came_away_from_neutral_are_told_support_by_support() -> None:
    row = replace(SHOWN, outcome="off_neutral", level="inward", told_low=-0.4, told_high=-0.1, q_value=0.01)
    stance = replace(row, support="stance", told_low=-0.4, told_high=0.1)
    assert nearer.alternative([stance, row, replace(row, level="outward")], "inward", lambda _: "none") == (
        "Chart of the told intervals of the distance from neutral, knees that came inward: One more shim: 0.10 to 0.40° "
        "nearer; One mm "
        "of stance: 0.40° nearer to 0.10° further, no clear change."
    )
    assert nearer.ARRIVALS == ("inward", "near neutral", "outward")


CAME = NeutralRow("inward", 1200, 40, -1.1, -0.2, -0.9, -1.2, -0.6, "", 0.01, -1.2, -0.6, "net")


def test_the_distance_from_neutral_is_told_as_measured_by_noise_and_beyond_it() -> None:
    assert neutral._hover(CAME) == (
        "<b>Came inward</b><br>as measured −1.10°<br>by noise alone −0.20°<br>beyond the noise −0.90° (−1.20 to "
        "−0.60°)<br>1,200 knees"
    )
    few = replace(CAME, net_deg=None, told_low=None, told_high=None)
    texts = [neutral._at_right(0, row)["text"] for row in (CAME, replace(CAME, q_value=0.2), few)]
    assert texts == ["<b>−0.90°</b><br>−1.20 to −0.60", "−0.90°<br>−1.20 to −0.60", "not enough yet"]
    assert neutral.finding([replace(CAME, q_value=0.2)]) == "Beyond the noise, no clear change for any knees"
    both = neutral.finding([CAME, replace(CAME, arrival_direction="outward")])
    assert both == "Beyond the noise, knees that came inward or outward left nearer to neutral"
    assert neutral.neutral_chart([CAME], "light")["layout"]["yaxis"]["ticktext"] == ["Came inward<br>1,200 knees"]


def test_shares_print_their_own_interval_and_counts_stand_where_there_is_none() -> None:
    held = HeldRow("held", 936, 355, 345, 0.38, 0.35, 0.41, words="In words.")
    assert plain(returns._became(held).printed) == "<b>38 %</b> (35 to 41 %)"
    kept = ReturnFigure("setup_kept_all", None, None, "share", "follow-up", 1, 0.7, 0.65, 0.75, "")
    assert plain(returns._kept(kept).printed) == "<b>70 %</b> (65 to 75 %)"
    assert returns._kept(replace(kept, estimate=None)).missing == "not enough yet (1 follow-up)"
    assert returns._kept(replace(kept, estimate=None, n=1200)).missing == "not enough yet (1,200 follow-ups)"
    lasting = LastingRow("sway", "mm", 1000, 600, 9, held=0.8, worst=0.4, best=0.9, words="One. Two.")
    row = returns._lasting(lasting)
    assert (row.name, row.counted, plain(row.printed)) == ("Sway held", "600 of 1,000 seen", "<b>40 to 90 %</b>")
    assert row.marks[0].hover == "One.<br>Two."
    assert returns._lasting(replace(lasting, held=None, words="not enough yet")).missing == "not enough yet"
    assert returns._lasting(replace(lasting, held=None, words="No MDC95.")).missing == "no figure"
    assert list(returns.KEPT.values()) == ["Whole setup still in use", "A part of it", "Nothing of it"]


_MARCH = date(2026, 3, 1)
PERIOD = TrendRow("comfort_gained", "points", "fit", _MARCH, 1200, 1.84, 1.5, 1.0, 2.0, False, False, True, "step", "")


def test_a_period_of_a_control_chart_is_told_when_pointed_at() -> None:
    assert plain(control._hover(PERIOD, "month")) == (
        "<b>March 2026</b><br>1.8 points<br>n = 1,200<br>limits 1.0 to 2.0 points<br>the month is not over yet<br>since it "
        "moved"
    )
    quiet = replace(PERIOD, is_partial=False, signals="", limit_low=None)
    assert plain(control._hover(quiet, "month")) == "<b>March 2026</b><br>1.8 points<br>n = 1,200"
    assert control._hover(replace(PERIOD, estimate=None, n=1), "month") == "<b>March 2026</b><br>not enough yet, n = 1"


def test_means_are_drawn_around_what_is_there_and_shares_from_nothing() -> None:
    vertical, low, high = control._vertical([PERIOD, replace(PERIOD, estimate=3.0)])
    assert vertical["range"] == [low, high] == pytest.approx([1.0 - 0.16, 3.0 + 0.16])
    shares, low, high = control._vertical([replace(PERIOD, unit="share", estimate=0.31, limit_low=0.1, limit_high=0.35)])
    assert shares["tickvals"] == pytest.approx([0, 0.1, 0.2, 0.3, 0.4])
    assert [plain(text) for text in shares["ticktext"]] == ["0 %", "10 %", "20 %", "30 %", "40 %"]
    assert shares["range"] == [low, high] == pytest.approx([-0.012, 0.412])


def test_every_figure_of_a_control_chart_lies_on_its_axes() -> None:
    answer = made_trends()
    for figure in ("comfort_gained", "knees_better", "side_difference_left"):
        shown = control.control_chart(answer, figure, control.Window(None, None), "light")
        low, high = shown["layout"]["yaxis"]["range"]
        drawn = [value for trace in shown["data"] for value in trace["y"] if value is not None]
        assert low <= min(drawn) and max(drawn) <= high


def test_doses_within_the_ground_that_is_known_lie_on_the_axis() -> None:
    shown = dose_chart(SHIMS, "tilt", "shim", "light")
    low, high = shown["layout"]["xaxis"]["range"]
    assert low < -1.2 and high > 3.2
    assert all(low <= x <= high for trace in shown["data"] for x in trace["x"] if x is not None)


def test_limits_and_levels_of_side_differences_are_named_as_they_count() -> None:
    tilt = PrevalenceRow("tilt", "deg", 1.5, "arrival", None, None, 9, 9, *(None,) * 7, "")
    offset = replace(tilt, quantity="offset", unit="mm", limit=10.0, moment="departure")
    assert (symmetry.limit_words(tilt), plain(symmetry.limit_words(offset))) == ("1.5° or more", "more than 10 mm")
    assert (symmetry.level_name(None), symmetry.level_name("low / mild_varus")) == ("All riders", "Low / mild varus")
    assert symmetry.by_level([tilt, offset], "tilt") == {None: {"arrival": tilt}}


def test_names_are_those_that_a_reader_meets() -> None:
    told = {name: (each.name, each.axis, each.less, each.more) for name, each in OUTCOMES.items()}
    assert told == {
        "tilt": ("Tilt", "tilt in degrees", "inward", "outward"),
        "sway": ("Sway", "sway in mm", "less", "more"),
        "offset": ("Offset", "offset in mm", "inward", "outward"),
        "off_neutral": ("Distance from neutral", "distance from neutral tilt in degrees", "nearer", "further"),
    }
    assert [unit_words(name) for name in OUTCOMES] == ["degrees", "mm", "mm", "degrees"]
    assert table_name("follow_ups") == "follow-ups" and table_name("knee_captures") == "knee captures"
    assert all(name.lower() in within or "neutral" in within[0] for name, *within in MEASURES.values())
    assert all(words and words == words.strip() and words[0].islower() for words in PLAIN.values())
    assert set(CHECKS) == {"late", "insole_shim", "shim_bend", "stance_bend", "order_arch"}


def test_a_dose_is_told_when_pointed_at_and_in_words() -> None:
    first, unclear, *_ = SHIMS
    assert plain(dose._hover(first, "pooled")) == (
        "<b>−1 shim</b><br>Pooled estimate: −0.50°<br>−0.70 to −0.30°<br>263 changes, " + f"{first.n_riders} riders"
    )
    assert plain(dose._hover(first, "within")).startswith("<b>−1 shim</b><br>Within-knee estimate: ")
    assert dose.alternative([first, unclear], "tilt", "shim") == (
        "Effect on tilt in degrees of shims in all, against none. −1 shim: −0.70 to −0.10°; 1 shim: +0.30 to +0.90°, no "
        "clear change."
    )
    assert dose.alternative([], "tilt", "shim").endswith("against none. No dose was changed yet.")
    # A dose without figures is not tested, and does not stand for those that are.
    few = replace(first, pooled=None, line_p_value=0.5)
    tested = replace(unclear, line_p_value=0.01, line_q_value=None)
    assert dose.line_test([few, tested]) == "Test of the straight line against any other: p = 0.010."
    assert dose.line_test([few]) is None


def test_axes_say_which_way_is_which_and_their_unit() -> None:
    assert effects.direction_axis("tilt") == {"title": "← inward   outward →", "suffix": "°"}
    assert effects.direction_axis("off_neutral") == {"title": "← nearer   further →", "suffix": "°"}
    assert effects.direction_axis("sway")["title"] == "← less   mm   more →"
    assert effects.direction_axis("offset")["title"] == "← inward   mm   outward →"


def test_control_charts_are_told_in_words_with_every_move() -> None:
    answer = made_trends()
    chart, rows, signals = control.of_figure(answer, "knees_better")
    two = [replace(signals[0], words="It moved."), replace(signals[0], words="It moved again.")]
    words = control.alternative(chart, rows, two, "month")
    assert words.endswith(" It moved. It moved again.")
    assert control.alternative(chart, rows, [], "month").endswith(" It was not found to move.")


def test_hovers_of_differences_name_what_they_are_beside() -> None:
    [dots] = [trace for trace in PICTURES["better"]()["data"] if trace.get("marker", {}).get("symbol") == "circle"]
    assert dots["text"][0] == "<b>against May</b><br>better: 0.4 (0.1 to 0.7)"


def test_two_fitters_within_the_limits_are_told_together_and_two_beyond_by_name() -> None:
    def fitter(name: str, observed: float) -> FitterRow:
        limits = {"limit_outer_low": 0.1, "limit_inner_low": 0.2, "limit_inner_high": 0.8, "limit_outer_high": 0.9}
        return FitterRow("return_rate", "share", name, 9, 9, observed=observed, expected=0.5, q_value=0.01, **limits)

    levels = ("95 %", "99.8 %")
    both = funnel.finding([fitter("F1", 0.5), fitter("F2", 0.5)], "return_rate", levels)
    assert both.endswith(": all 2 fitters within the 95 % limits")
    alone = funnel.finding([fitter("F1", 0.5)], "return_rate", levels)
    assert alone.endswith(": F1 within the 95 % limits")
    beyond = funnel.finding([fitter("F1", 0.95), fitter("F2", 0.05), fitter("F3", 0.5)], "return_rate", levels, {"F2": "Birch"})
    assert beyond.endswith(": F1 and Birch beyond the 99.8 % limits, to look at together")
    outside = funnel.finding([fitter(name, 0.85) for name in ("F1", "F2", "F3")], "return_rate", levels)
    assert outside.endswith(": F1, F2 and F3 outside the 95 % limits, no more than chance may bring")


def limits(moment: str, *shares: tuple[float, float]) -> list[CurveRow]:
    return [
        CurveRow("tilt", "deg", moment, limit, limit == 2.0, 1200, share, share - 0.05, share + 0.05) for limit, share in shares
    ]


CURVE = [*limits("arrival", (1.0, 0.7), (2.0, 0.4), (4.0, 0.1)), *limits("departure", (1.0, 0.5), (2.0, 0.2), (3.0, 0.1))]


def test_how_much_hangs_on_the_limit_is_told_at_half_and_twice_of_it() -> None:
    assert (
        plain(symmetry_curve.finding(CURVE, "tilt")) == "At arrival, 40 % at the limit of 2°, against 70 % at 1° and 10 % at 4°"
    )
    short = [row for row in CURVE if row.limit in (2.0, 3.0)]
    assert plain(symmetry_curve.finding(short, "tilt")) == "At arrival, 40 % at the limit of 2°"
    assert symmetry_curve.finding([replace(row, is_set_limit=False) for row in CURVE], "tilt").endswith("not enough yet")
    assert plain(symmetry_curve.alternative(CURVE, "tilt")) == (
        "Share of riders with a side difference in tilt by limit: at arrival from 70 % at 1° down to 10 % at 4°; at "
        "departure from "
        "50 % at 1° down to 10 % at 3°."
    )
    assert symmetry_curve.alternative([], "tilt").endswith("by limit: not enough yet.")
    assert plain(symmetry_curve._hover(CURVE[0])) == "<b>1°, at arrival</b><br>70 %<br>65 to 75 %<br>n = 1,200"


def test_the_curve_of_limits_has_a_band_between_its_ends_and_a_mark_at_the_set_one() -> None:
    other = [replace(row, quantity="offset", limit=row.limit * 10) for row in CURVE]
    figure = symmetry_curve.curve_figure([*other, *CURVE], "tilt", "light")
    band, line, mark = figure["data"][:3]
    assert band["y"] == pytest.approx([0.75, 0.45, 0.15, 0.05, 0.35, 0.65])
    assert (line["x"], line["y"]) == ([1.0, 2.0, 4.0], [0.7, 0.4, 0.1])
    assert (mark["x"], mark["y"]) == ([2.0], [0.4])
    [limit] = figure["layout"]["shapes"]
    assert (limit["x0"], limit["x1"], limit["y0"], limit["y1"]) == (2.0, 2.0, 0, 1)
    assert figure["layout"]["xaxis"]["range"] == [0, 4.0]


def load(load_id: int, undone_at: str | None = None, **rows: int) -> LoadRow:
    counts = {"stored": 0, "replaced": 0, "unchanged": 0, "rejected": 0, "waiting": 0, **rows}
    return LoadRow(load_id, f"2026-03-0{load_id}T08:00:00", 1, 9, **counts, undone_at=undone_at)


def test_loads_stand_as_bars_of_what_became_of_their_rows_and_those_taken_back_do_not() -> None:
    loads = [load(1, stored=1200), load(2, "2026-03-03", stored=7), load(3, stored=5, rejected=2)]
    made = loading.loads_figure(loads, "light")
    by_name = {bar["name"]: bar for bar in made["data"]}
    assert by_name["stored"]["x"] == ["1", "3"] and by_name["stored"]["y"] == [1200, 5] and by_name["rejected"]["y"] == [0, 2]
    assert by_name["stored"]["text"][0] == "<b>Load 1</b>, 1 Mar 2026<br>1,200 stored"
    assert made["layout"]["barmode"] == "stack"
    rules = [LeftOutRow(3, "rejected", f"rule_{at}", 10 - at) for at in range(6)]
    left = loading.left_out_figure(loads, [*rules, LeftOutRow(2, "rejected", "rule_9", 99)], "light")
    assert [(bar["name"], bar["y"]) for bar in left["data"]] == [
        ("rule 0", [0, 10]), ("rule 1", [0, 9]), ("rule 2", [0, 8]), ("rule 3", [0, 7]), ("other reasons", [0, 11]),
    ]  # fmt: skip


def test_what_is_foreseen_is_told_with_both_ends_of_its_band() -> None:
    rows = [next_row("a low insole", 1, -3.2), next_row("as it is", 2, 0.4)]
    assert foreseen.alternative(rows, "left") == (
        "Chart of the expected tilt of the left knee in the next capture, with its band: a low insole: −3.2° (−4.2 to "
        "−2.2°); as it "
        "is: 0.4° (−0.6 to 1.4°)."
    )
    low, high = foreseen.span_of(rows)
    assert (low, high) == pytest.approx((-4.2 - 0.06 * 5.6, 1.4 + 0.06 * 5.6))
    as_it_is, *_ = foreseen.pictured([replace(row, setup="as it is") for row in rows[1:]], "left", "as it is")
    assert as_it_is.setup == "as it is"
