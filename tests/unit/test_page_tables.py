"""The cells of the pages' tables, each under its heading, from rows that are set by hand."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from dashboard.components.shown_rows import text_of
from dashboard.components.table import Column
from dashboard.figures.returns_curve import Curve
from dashboard.pages.fitters import tables as fitters
from dashboard.pages.returns import tables as returns
from dashboard.pages.studio import tables as studio
from dashboard.pages.symmetry import tables as symmetry
from dashboard.questions.coaching.answers_fitters import FitterRow, ProcessRow
from dashboard.questions.returns.answers_returns import AtRiskRow, HeldRow, LastingRow, ReturnCurveRow, ReturnFigure, SaidRow
from dashboard.questions.selection.spans import Span, span_a_year_before, span_before
from dashboard.questions.studio.answers_periods import KneesRow, PeriodChangeRow, PeriodRow
from dashboard.questions.studio.answers_studios import BetweenStudiosRow, OneStudioRow
from dashboard.questions.studio.answers_trends import SignalRow, TrendRow
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, CurveRow, DifferenceRow, PrevalenceRow, RepeatRow
from dashboard.questions.symmetry.answers_sides import SidesRow

JUNE = Span(date(2026, 6, 1), date(2026, 6, 30))
SPANS = {"this": JUNE, "before": span_before(JUNE), "year_before": span_a_year_before(JUNE)}


def cells(columns: Sequence[Column], row: Any) -> dict[str, str]:
    """The printed cells of a row by their headings, with plain blanks."""
    texts = {column.heading: text_of(column.text(row)) for column in columns}
    return {
        heading: text.replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")
        for heading, text in texts.items()
    }


RETURNS = (
    ReturnFigure("booked", None, None, "share", "fit", 200, 0.5, 0.43, 0.57, ""),
    ReturnFigure("return_rate", None, None, "share", "fit", 1500, 0.25, 0.2, 0.31, ""),
    ReturnFigure("held", None, None, "share", "fit", 40, None, None, None, ""),
)


def test_a_group_has_each_share_with_its_interval_and_what_it_is_a_share_of() -> None:
    [row] = returns.group_rows(RETURNS)
    assert cells(returns.group_columns("arch_height"), row) == {
        "Arch height": "All fits",
        "Booked": "50 % (43 to 57 %) of 200 fits",
        "Came back": "25 % (20 to 31 %) of 1,500 fits",
        "Held": "not enough yet of 40 measured again",
    }
    by_level = returns.group_rows([*RETURNS, *(replace(row, level="low_arch") for row in RETURNS)])
    assert [cells(returns.group_columns(None), row)["Fits"] for row in by_level] == ["All fits", "Low arch"]


def test_fits_that_held_are_told_by_share_bounds_and_chance() -> None:
    row = HeldRow("not_seen", 1200, 300, 250, 0.25, 0.2, 0.3, 0.1, 0.6, 0.05, 0.7)
    assert cells(returns.held_columns("95 %"), row) == {
        "What became of them": "Not seen again",
        "Fits": "300",
        "Share": "25 %",
        "95 % interval": "20 to 30 %",
        "Of all, bounds": "10 to 60 %",
        "With chance": "5 to 70 %",
    }
    few = cells(returns.held_columns("95 %"), HeldRow("held", 3, 2, 2))
    assert (few["Share"], few["95 % interval"], few["With chance"]) == ("not enough yet", "–", "–")


def test_steps_of_a_curve_stand_on_the_days_of_the_grid_up_to_its_last() -> None:
    steps = (
        ReturnCurveRow(None, None, 10, 90, 0.1, 0.05, 0.15, 0.02),
        ReturnCurveRow(None, None, 28, 80, 0.3, 0.2, 0.4, 0.04),
    )
    grid = tuple(AtRiskRow(None, None, day, n) for day, n in ((0, 1100), (14, 85), (28, 60), (42, 2)))
    rows = returns.step_rows([Curve(None, steps, grid, 28)])
    told = [cells(returns.step_columns(None, "95 %"), row) for row in rows]
    assert [row["Day"] for row in told] == ["0", "14", "28"]
    assert told[0] == {
        "Fits": "All fits", "Day": "0", "Still counted": "1,100", "Seen again": "0 %", "95 % interval": "–",
        "Booking came to nothing": "0 %",
    }  # fmt: skip
    assert [(row["Seen again"], row["95 % interval"], row["Booking came to nothing"]) for row in told[1:]] == [
        ("10 %", "5 to 15 %", "2 %"),
        ("30 %", "20 to 40 %", "4 %"),
    ]


def test_what_lasted_what_was_kept_and_what_was_said() -> None:
    lasted = LastingRow(
        "tilt", "deg", 1000, 600, 300, held=0.8, worst=0.48, best=0.88, bounds_low=0.4, bounds_high=0.9, alike=0.7,
        alike_low=0.6, alike_high=0.75, words="In words.",
    )  # fmt: skip
    assert list(cells(returns.lasting_columns("95 %"), lasted).values()) == [
        "Tilt", "1,000", "600", "80 %", "48 to 88 %", "40 to 90 %", "70 %", "60 to 75 %", "In words.",
    ]  # fmt: skip
    kept = ReturnFigure("setup_kept_some", None, None, "share", "follow-up", 50, 0.2, 0.1, 0.3, "")
    assert list(cells(returns.kept_columns("95 %"), kept).values()) == ["A part of it", "50", "20 %", "10 to 30 %"]
    said = SaidRow("pain", 30, 2.0, 1.0, 3.5, "", 20, 50, 2.26, 6.1, 1.4, 0.9, 6.6, 2.4, 1.8, 3.1)
    assert list(cells(returns.SAID, said).values()) == [
        "Pain", "50", "30", "2", "1 to 3.5", "2.3", "1.4 to 6.1", "0.9 to 6.6", "2.4", "1.8 to 3.1",
    ]  # fmt: skip
    few = cells(returns.SAID, SaidRow("pain", 1, None, None, None, ""))
    assert (few["Middle answer"], few["Middle half"], few["Mean"], few["With chance"]) == (
        "not enough yet", "–", "not enough yet", "–",
    )  # fmt: skip


def test_a_change_in_points_has_a_sign_unless_it_rounds_to_none() -> None:
    assert [returns._signed(points) for points in (0.44, -0.46, 0.04, -0.04, None)] == ["+0.4", "−0.5", "0.0", "0.0", "–"]
    assert [symmetry._signed(share) for share in (0.126, -0.134, 0.004, -0.004)] == ["+13", "−13", "0", "0"]


def test_prevalence_stands_at_both_moments_of_a_level() -> None:
    came = PrevalenceRow("tilt", "deg", 2.0, "arrival", None, None, 1200, 480, 0.4, 0.33, 0.48, *(None,) * 4, "")
    left = replace(came, moment="departure", n_riders=900, share=0.3, low=0.25, high=0.36)
    [row] = symmetry.level_rows([came, left], "tilt")
    told = [
        text_of(column.text(row)).replace("\N{NARROW NO-BREAK SPACE}", " ")
        for column in symmetry.prevalence_columns("arch_height", "95 %")
    ]
    assert told[1:] == ["1,200", "40 %", "33 to 48 %", "900", "30 %", "25 to 36 %"]


def test_riders_are_counted_by_the_knee_that_is_further_out() -> None:
    def at(moment: str, left: float, right: float, n: int, *, beyond: bool) -> SidesRow:
        return SidesRow("tilt", "deg", moment, 0.0, left, right, beyond, n)

    rows = [
        at("arrival", 1.0, 4.0, 5, beyond=True), at("arrival", 4.0, 1.0, 3, beyond=True),
        at("arrival", 1.0, 1.5, 20, beyond=False),
        at("departure", 4.0, 1.0, 2, beyond=True), at("departure", 1.0, 1.0, 26, beyond=False),
    ]  # fmt: skip
    assert [list(cells(symmetry.side_columns(), row).values()) for row in symmetry.side_rows(rows, "tilt")] == [
        ["Right knee further out, beyond the limit", "5", "0"],
        ["Left knee further out, beyond the limit", "3", "2"],
        ["Within the limit", "20", "26"],
    ]


def test_what_became_of_a_pattern_is_counted_and_claimed_only_where_it_may_be() -> None:
    row = ChangeRow("far_out", None, None, 1100, 200, 100, 50, 750, 0.27, 0.14, -0.13, -0.2, -0.06, 0.001, 0.002, "")
    assert cells(symmetry.by_pattern("95 %"), row) == {
        "Pattern": "Far out", "Riders": "1,100", "Resolved": "200", "Persisting": "100", "New": "50", "None": "750",
        "Change": "−13 points", "95 % interval": "−20 to −6", "Told": "fewer",
    }  # fmt: skip
    more = replace(row, difference=0.13, low=0.06, high=0.2)
    told = [
        cells(symmetry.by_pattern("95 %"), one) for one in (more, replace(row, q_value=0.05), replace(row, difference=None))
    ]
    assert [(one["Change"], one["Told"]) for one in told] == [
        ("+13 points", "more"), ("−13 points", "no clear change"), ("not enough yet", "–"),
    ]  # fmt: skip


def test_sizes_of_differences_repeats_and_the_curve_of_limits() -> None:
    size = DifferenceRow("tilt", "deg", "arrival", None, None, 1500, 40, 0.4, 0.123, 0.7, 1.04, 2.06, "")
    assert list(cells(symmetry.differences("95 %"), size).values())[3:] == [
        "1,500",
        "1.0°",
        "2.1°",
        "+0.40°",
        "+0.12 to +0.70°",
    ]
    repeat = RepeatRow("offset", "mm", 10.0, 300, 60, 15, 0.25, 0.1, 0.5, "In words.")
    assert list(cells(symmetry.repeats("95 %"), repeat).values()) == [
        "Offset",
        "300",
        "60",
        "15",
        "25 %",
        "10 to 50 %",
        "In words.",
    ]
    limit = CurveRow("tilt", "deg", "arrival", 1.5, True, 400, 0.6, 0.5, 0.7)
    assert list(cells(symmetry.curve("95 %"), limit).values()) == ["1.5°", "arrival", "400", "60 %", "50 to 70 %", "set"]
    assert cells(symmetry.curve("95 %"), replace(limit, is_set_limit=False))["Set"] == ""


def test_a_period_stands_beside_an_earlier_one_with_the_difference_and_what_is_told() -> None:
    row = PeriodChangeRow(
        "return_rate", "year_before", "share", 50, 47, 0.6, 0.55, 0.05, -0.1, 0.2, "", judged="no clear change"
    )
    assert cells(studio.change_columns(SPANS), row) == {
        "Figure": "Fits seen again in time", "Beside": "June 2025",
        "June 2026": "60 %", "Then": "55 %", "Difference": "5 points",
        "Interval": "−10 to 20", "Told": "no clear change",
    }  # fmt: skip
    level = PeriodRow("comfort_gained", "before", *(JUNE.first, JUNE.last), "points", "fit", 1050, 1.84, 1.5, 2.2)
    assert list(cells(studio.level_columns("95 %", SPANS), level).values()) == [
        "Comfort gained", "May 2026", "1.8 points", "1.5 to 2.2 points", "1,050", "fits",
    ]  # fmt: skip
    knees = KneesRow("this", "no_clear_change", 1000, 850, 0.85, 0.8, 0.9)
    assert list(cells(studio.knees_columns("95 %", SPANS), knees).values()) == [
        "no clear change", "June 2026", "85 %", "80 to 90 %", "850 of 1,000",
    ]  # fmt: skip


def test_studios_stand_alone_and_one_less_the_other() -> None:
    one = OneStudioRow("return_rate", "quay", "share", "fit", 1200, 0.6, 0.5, 0.7)
    assert list(cells(studio.one_studio_columns("95 %"), one).values()) == [
        "Fits seen again in time", "quay", "60 %", "50 to 70 %", "1,200",
    ]  # fmt: skip
    both = BetweenStudiosRow("return_rate", "quay", "mill", "share", 9, 9, -0.12, -0.2, -0.04, "", judged="worse")
    assert list(cells(studio.between_columns("95 %"), both).values())[1:] == [
        "quay less mill",
        "−12 points",
        "−20 to −4",
        "worse",
    ]


def test_a_figure_that_moved_tells_since_when_and_from_what() -> None:
    row = SignalRow("side_difference_left", "share", "step", "lower", date(2026, 3, 1), date(2026, 6, 1), 4, 0.2, 0.35, 0.3, "")
    assert list(cells(studio.signal_columns("month"), row).values()) == [
        "Fits with a side difference left", "better", "March 2026", "20 %", "35 %", "30 %",
    ]  # fmt: skip
    assert studio.moved_words(replace(row, direction="higher")) == "worse"


def test_a_period_of_a_chart_tells_what_marks_it() -> None:
    row = TrendRow(
        "comfort_gained", "points", "fit", date(2026, 3, 1), 1200, 1.84, 1.5, 1.0, 2.0, True, False, True, "step", "moved"
    )
    assert list(cells(studio.period_columns("month"), row).values()) == [
        "March 2026", "Comfort gained", "1.8 points", "1,200", "1.5 points", "1.0 to 2.0 points",
        "base, not over yet, since it moved, moved",
    ]  # fmt: skip
    few, none = replace(row, estimate=None), replace(row, estimate=None, n=0)
    assert [cells(studio.period_columns("month"), one)["Estimate"] for one in (few, none)] == ["not enough yet", "none"]
    assert studio.told(replace(row, in_base=False, is_partial=False, signals="", note="")) == ""


FITTER = FitterRow(
    "return_rate", "share", "F1", 1200, 90, observed=0.38, expected=0.5, difference=-0.12, difference_low=-0.2,
    difference_high=0.004,
)  # fmt: skip


def test_a_fitter_is_told_beside_the_expected_in_points_or_in_the_figures_own_unit() -> None:
    assert cells(fitters.fitter_columns("share", "95 %", {"F1": "Alder"}), FITTER) == {
        "Fitter": "Alder (F1)", "Fits": "1,200", "Riders": "90", "Observed": "38 %", "Expected": "50 %",
        "Difference, points": "−12", "95 % interval": "−20 to 0",
    }  # fmt: skip
    tilt = replace(FITTER, unit="deg", observed=0.45, expected=0.5, difference=0.05)
    told = cells(fitters.fitter_columns("deg", "95 %", {}), tilt)
    assert (told["Fitter"], told["Difference"], told["95 % interval"]) == ("F1", "+0.05", "−0.20 to 0.00")
    few = cells(fitters.fitter_columns("share", "95 %", {}), FitterRow("return_rate", "share", "F2", 3, 3))
    assert (few["Observed"], few["Difference, points"], few["95 % interval"]) == ("not enough yet", "–", "–")


def test_what_a_fitter_did_is_one_row_with_a_share_for_each_thing() -> None:
    rows = [
        ProcessRow("F2", "exam_complete", 30, 40, 0.75, 0.6, 0.86, ""),
        ProcessRow("F1", "exam_complete", 2, 3, None, None, None, ""),
        ProcessRow("F2", "repeat_capture", 10, 50, 0.2, 0.1, 0.33, ""),
    ]
    done = fitters.done(rows)
    assert [row.fitter_id for row in done] == ["F2", "F1"]
    assert cells(fitters.process_columns(), done[0]) == {
        "Fitter": "F2", "Fits": "50", "Exam complete": "75 % 60 to 86 %", "Bicycle measured before leaving": "–",
        "Repeat capture taken": "20 % 10 to 33 %", "Follow-up booked in time": "–", "Agrees with the exam": "–",
    }  # fmt: skip
    assert cells(fitters.process_columns(), done[1])["Exam complete"] == "not enough yet 2 of 3"
