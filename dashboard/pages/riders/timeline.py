"""One rider: headline, timeline, the table of fits, and everything that is held of the chosen fit."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, headline, method, selected
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.names import plain
from dashboard.figures.theme import day, number
from dashboard.figures.timeline import alternative, change_numbers, finding, timeline_figure
from dashboard.pages.riders import ids
from dashboard.pages.riders.layout import PATH
from dashboard.pages.riders.listing import follow_up_words, rider_address, whole_day
from dashboard.pages.riders.tables import BIKE, EXAMS, FOLLOW_UPS, KNEES, RATINGS, both_knees, capture_columns, change_columns
from dashboard.questions.coaching.answers_agreement import LookRow
from dashboard.questions.riders.answers_riders import FitRow, RiderTimeline
from dashboard.questions.riders.riders_timeline import VISITS, headline_of
from dashboard.questions.selection.selection import Selection

Text = dict[str, tuple[str, ...]]
# So many captures a phone shows at once; beyond them each keeps this width.
MOST_ON_A_PHONE, CAPTURE_PX = 15, 26
# More changes than these are folded away.
MOST_UNFOLDED = 12
LISTS = ("captures", "fits", "knees", "exams", "ratings", "bike", "follow_ups")


def told(
    desk: Desk, selection: Selection, answer: RiderTimeline, asked: str | None, text: Text, theme: str | None
) -> list[Any]:
    """The timeline with one fit of it told whole: the one named in the address, else the last."""
    fit = next((row for row in answer.fits if row.session_id == asked), answer.fits[-1])
    return [
        selected(answer),
        _ways(desk, selection, answer),
        headline(headline_of(fit)),
        html.P(f"Fit {asked} is not among the fits selected; the last one is told.")
        if asked not in (None, fit.session_id)
        else None,
        html.P(answer.rider.words, className="look-words"),
        *(_drawn(answer, fit, text, theme) if answer.captures else []),
        table("All fits of this rider", _fit_columns(desk, selection), answer.fits, row_key="session_id"),
        _changes(answer),
        *_fit(desk, selection, answer, fit),
        _lists(desk, selection),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def _drawn(answer: RiderTimeline, fit: FitRow, text: Text, theme: str | None) -> list[Any]:
    """The timeline and how it is read; where captures are many it scrolls sideways in its frame."""
    drawing = chart(
        timeline_figure(answer, fit.session_id, theme),
        title=finding(answer),
        alternative=alternative(answer),
        name="timeline",
        level=2,
        table_id=ids.CAPTURES,
    )
    n = len({row.place for row in answer.captures})
    is_long = n > MOST_ON_A_PHONE
    return [
        _key(bool(answer.noise)),
        html.Div(
            html.Div(drawing, style={"minWidth": f"{n * CAPTURE_PX}px"}) if is_long else drawing,
            className="panels is-single is-long" if is_long else "panels is-single",
        ),
        reading(*paragraphs(text["reading"], band=_band(answer, text))),
    ]


def _lists(desk: Desk, selection: Selection) -> html.P:
    """Every list of the answer as CSV."""
    links = [
        html.A(plain(rows).capitalize(), href=desk.csv("riders", rows, selection), className="csv", download="")
        for rows in LISTS
    ]
    return html.P(
        ["All fits of this rider as CSV: ", *(part for link in links for part in (link, " "))], className="csv-line csv-lists"
    )


def _ways(desk: Desk, selection: Selection, answer: RiderTimeline) -> html.P:
    """Back to the list, and what kind of rider this is."""
    back = dcc.Link("← All riders", href=desk.addresses.page(PATH, replace(selection, rider=()).query()))
    rider = answer.rider
    facts = f"Rider {rider.rider_id}, riding: {answer.riding or 'not told'}, follow-up: {follow_up_words(rider)}"
    return html.P([back, html.Span(facts)], className="ways")


def _key(has_band: bool) -> html.Ul:
    """The marks of the timeline; left and right differ in shape and line, not only in colour."""
    marks = [
        ("mark-left", "left knee"),
        ("mark-right", "right knee"),
        *([("mark-band", "one typical error to either side")] if has_band else []),
        ("mark-change", "a foot's setup was changed before this capture"),
    ]
    return html.Ul(
        [html.Li([html.Span(className=f"mark {mark}", **{"aria-hidden": "true"}), words]) for mark, words in marks],
        className="marks-key",
    )


def _band(answer: RiderTimeline, text: Text) -> str:
    """How the band is read, with its sizes; or why there is none."""
    noise = {row.outcome: row for row in answer.noise}
    if not {"tilt", "sway"} <= set(noise):
        return " ".join(text["no_band"])
    tilt, sway = noise["tilt"], noise["sway"]
    return " ".join(text["band"]).format(
        pairs=number(tilt.n_pairs, "count"),
        tilt=number(tilt.typical_error, "deg", effect=True).lstrip("+"),
        sway=number(sway.typical_error, "mm", effect=True).lstrip("+"),
        tilt_mdc=number(tilt.mdc95, "deg"),
        sway_mdc=number(sway.mdc95, "mm"),
    )


def _changes(answer: RiderTimeline) -> html.Details:
    """Every change by its number in the chart, folded where there are many."""
    changed = [row for row in answer.captures if row.is_changed]
    columns, caption = (
        change_columns(change_numbers(answer.captures)),
        "Changes of a foot's setup, by their number in the chart",
    )
    words = "Nothing was changed on either foot."
    return html.Details(
        [html.Summary(caption), table(caption, columns, changed) if changed else html.P(words)],
        open=len(changed) <= MOST_UNFOLDED,
        className="changes",
    )


def _fit(desk: Desk, selection: Selection, answer: RiderTimeline, fit: FitRow) -> list[Any]:
    """Everything that is held of one fit."""
    numbers = change_numbers(answer.captures)
    own = {name: [row for row in getattr(answer, name) if row.session_id == fit.session_id] for name in _OF_A_FIT}
    return [
        html.H2(f"{VISITS[fit.visit_kind].capitalize()} of {day(fit.session_date)}", className="section-title", id="fit"),
        _turning(desk, selection, fit),
        html.P(_facts(fit), className="fit-facts"),
        table(
            "Captures of this fit",
            capture_columns(numbers),
            both_knees(own["captures"]),
            table_id=ids.CAPTURES,
        ),
        html.Div(
            [
                table("From the first capture to the last", KNEES, own["knees"]),
                _looks(own["look_at"]),
                html.Div(
                    _or_none("Exam of the feet", EXAMS, own["exams"], "No exam is recorded at this fit."), className="is-across"
                ),
                _or_none("What the rider said, 0 to 10", RATINGS, own["ratings"], "No rating is recorded at this fit."),
                _or_none("Bicycle", BIKE, own["bike"], "No measure of the bicycle is recorded at this fit."),
                _or_none("Follow-up of this fit", FOLLOW_UPS, own["follow_ups"], "No follow-up of this fit was booked."),
                _notes(fit),
            ],
            className="fit-parts",
        ),
    ]


_OF_A_FIT = ("captures", "knees", "exams", "ratings", "bike", "follow_ups", "look_at")


def _turning(desk: Desk, selection: Selection, fit: FitRow) -> html.P:
    """Links to the fit before and the fit after."""
    before, after = fit.previous_session_id, fit.next_session_id
    rider = selection.rider[0]
    return html.P(
        [
            dcc.Link("← fit before", href=rider_address(desk, selection, rider, before), className="choice")
            if before
            else None,
            dcc.Link("next fit →", href=rider_address(desk, selection, rider, after), className="choice") if after else None,
        ],
        className="turning",
    )


def _facts(fit: FitRow) -> str:
    facts = [
        f"session {fit.session_id}",
        f"studio {fit.studio_id}",
        f"fitter {fit.fitter_id}",
        f"{plain(fit.bike_kind)} bicycle" if fit.bike_kind else "",
        f"sit bones {number(fit.sit_bone_width_mm, 'mm')} apart" if fit.sit_bone_width_mm else "",
        f"saddle {number(fit.saddle_width_mm, 'mm')} wide" if fit.saddle_width_mm else "",
        f"saddle {fit.saddle_condition}" if fit.saddle_condition else "",
    ]
    sentence = ", ".join(fact for fact in facts if fact)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _or_none(caption: str, columns: Sequence[Column], rows: Sequence[Any], words: str) -> html.Div:
    return (
        table(caption, columns, rows)
        if rows
        else html.Div([html.H3(caption, className="part-title"), html.P(words)], className="table")
    )


def _looks(rows: Sequence[LookRow]) -> html.Div:
    """The notes and flags against the exam, each a sentence."""
    words = [html.Li(f"{row.weight.capitalize()}: {row.words}") for row in rows]
    body = html.Ul(words) if words else html.P("Nothing is flagged or noted, or the fit cannot be judged.")
    return html.Div([html.H3("Beside the exam, to look at together", className="part-title"), body], className="table")


def _notes(fit: FitRow) -> html.Div:
    """What the fitter wrote, as text and nothing else."""
    body = html.P(fit.notes, className="fit-notes") if fit.notes else html.P("There is no note to show.")
    return html.Div([html.H3("The fitter's notes", className="part-title"), body], className="table")


def _fit_link(desk: Desk, selection: Selection, fit: FitRow) -> dcc.Link:
    return dcc.Link(whole_day(fit.session_date), href=rider_address(desk, selection, selection.rider[0], fit.session_id))


def _fit_columns(desk: Desk, selection: Selection) -> list[Column]:
    return [
        Column("Fit", lambda row: _fit_link(desk, selection, row)),
        Column("Visit", lambda row: VISITS[row.visit_kind]),
        Column("What happened to the knees", lambda row: f"{row.words[0].upper()}{row.words[1:]}", wide=True),
        Column("Captures", lambda row: number(row.n_captures, "count"), ("n_captures",), numeric=True),
        Column("Fitter", lambda row: row.fitter_id),
        Column("Studio", lambda row: row.studio_id),
    ]
