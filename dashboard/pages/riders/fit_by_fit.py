"""Fit by fit: every fit's own sentence, the whole timeline, and the knees of the chosen fit."""

from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, Show
from dashboard.components.table import Column, table
from dashboard.figures.names import plain
from dashboard.figures.theme import day, number
from dashboard.figures.timeline import change_numbers
from dashboard.pages.riders import ids
from dashboard.pages.riders.answer import drawn
from dashboard.pages.riders.listing import whole_day
from dashboard.pages.riders.tables import KNEES, change_columns
from dashboard.pages.riders.told import FITS_PATH, TEXT, Told, showing
from dashboard.questions.riders.answers_riders import FitRow
from dashboard.questions.riders.riders_told import BECAME_WORDS, VISITS

LISTS: Final = ("captures", "fits", "knees", "exams", "ratings", "bike", "follow_ups")


def layout() -> list[Any]:
    return [ids.FITS]


def shows(desk: Desk) -> dict[str, Show]:
    return showing(desk, ids.FITS, FITS_PATH, _fits)


def _fits(told: Told) -> list[Any]:
    picture = (
        [_key(bool(told.answer.noise)), drawn(told, panels=("tilt", "sway"))]
        if told.answer.captures
        else [html.P("No capture is recorded at these fits.")]
    )
    return [
        table("All fits of this rider", _columns(told), told.answer.fits, row_key="session_id", table_id="riders-all-fits"),
        *picture,
        html.P(told.facts(), className="fit-facts", id="fit"),
        _numbers(told),
        _changes(told),
        _lists(told),
        method(told.answer, [*told.words("reading", band=_band(told)), *told.words("method")]),
        data_note(told.answer),
    ]


def _numbers(told: Told) -> html.Details:
    """The knees of the told fit in numbers, folded."""
    caption = f"Knees at the {VISITS[told.fit.visit_kind]} of {day(told.fit.session_date)}: first, last, found again"
    knees = table(caption, KNEES, told.own()["knees"], table_id="riders-knees")
    return html.Details([html.Summary(caption), knees], className="changes more")


def _columns(told: Told) -> list[Column]:
    def link(row: FitRow) -> dcc.Link:
        return dcc.Link(whole_day(row.session_date), href=told.address(FITS_PATH, row.session_id))

    return [
        Column("Fit", link),
        Column("Visit", lambda row: VISITS[row.visit_kind]),
        Column("Did it hold?", lambda row: BECAME_WORDS.get(row.became or "", "")),
        Column("What happened", lambda row: _without_name(row.told), wide=True),
    ]


def _without_name(told: str) -> str:
    """A fit's sentence without what the row's first cells say already."""
    _, _, rest = told.partition("; ")
    return f"{rest[:1].upper()}{rest[1:]}"


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


def _band(told: Told) -> str:
    """How the band is read, with its sizes; or why there is none."""
    noise = {row.outcome: row for row in told.answer.noise}
    if not {"tilt", "sway"} <= set(noise):
        return " ".join(TEXT["no_band"])
    tilt, sway = noise["tilt"], noise["sway"]
    return " ".join(TEXT["band"]).format(
        pairs=number(tilt.n_pairs, "count"),
        tilt=number(tilt.typical_error, "deg", effect=True).lstrip("+"),
        sway=number(sway.typical_error, "mm", effect=True).lstrip("+"),
        tilt_mdc=number(tilt.mdc95, "deg"),
        sway_mdc=number(sway.mdc95, "mm"),
    )


def _changes(told: Told) -> html.Details:
    """Every change by its number in the picture, folded."""
    changed = [row for row in told.answer.captures if row.is_changed]
    caption = "Changes of a foot's setup, by their number in the picture"
    columns = change_columns(change_numbers(told.answer.captures))
    words = "Nothing was changed on either foot."
    shown = table(caption, columns, changed, table_id="riders-changes") if changed else html.P(words)
    return html.Details([html.Summary(caption), shown], className="changes more")


def _lists(told: Told) -> html.Details:
    """Every list of the answer as CSV."""
    links = [
        html.Li(
            html.A(plain(rows).capitalize(), href=told.desk.csv("riders", rows, told.selection), className="csv", download="")
        )
        for rows in LISTS
    ]
    return html.Details(
        [html.Summary("All fits of this rider as CSV"), html.Ul(links, className="csv-lists")], className="more"
    )
