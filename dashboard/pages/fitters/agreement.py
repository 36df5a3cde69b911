"""What the Fitters page shows of `agreement`: the share over time, and the newest fits to look at together."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures.theme import day, number
from dashboard.figures.timeline_agreement import agreement_figure, alternative, finding
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.tables import months, rules
from dashboard.questions.coaching.answers_agreement import AgreementWithExam, LookRow
from dashboard.questions.riders.riders_found import riders_of_fits
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError

FITS_SHOWN: Final = 10
PATH: Final = "fitters"
RIDERS: Final = "riders"
Text = dict[str, tuple[str, ...]]


def agreed(desk: Desk, view: View, answer: AgreementWithExam, text: Text, theme: str | None) -> list[Any]:
    """The share over time with its months, then the fits to look at, a few at a time."""
    selection, whole = view.selection, answer.agreement[0]
    level = number(desk.level, "share")
    return [
        html.H2("Agreement with the exam", className="section-title"),
        html.P(unbroken(whole.words), className="agreement-words"),
        html.Div(
            chart(
                agreement_figure(answer.months, whole, theme),
                title=finding(answer.months, whole),
                alternative=alternative(answer.months),
                name="agreement",
                table_id=ids.MONTHS,
            ),
            className="panels is-single",
        ),
        reading(*paragraphs(text["agreement"], level=level)),
        html.Details(
            [
                html.Summary("Agreement by month"),
                table(
                    "Agreement by month",
                    months(level),
                    answer.months,
                    csv=desk.csv("agreement", "months", selection),
                    table_id=ids.MONTHS,
                ),
            ],
            className="more",
        ),
        html.Details(
            [
                html.Summary("How often each rule asks for a look"),
                table(
                    "How often each rule asks for a look",
                    rules(level),
                    answer.rules,
                    csv=desk.csv("agreement", "rules", selection),
                ),
            ],
            className="more",
        ),
        html.H2("Fits to look at together", className="section-title"),
        *paragraphs(text["look"]),
        *_looks(desk, view, answer),
        csv_link(desk.csv("agreement", "look_at", selection), "fits to look at together"),
        method(answer, [html.P(words) for words in answer.cautions], what="agreement"),
        data_note(answer),
    ]


def _looks(desk: Desk, view: View, answer: AgreementWithExam) -> list[Any]:
    """One page of fits, each with its sentences and the way to the rider, and links to the pages before and after."""
    fits = [(session, list(rows)) for session, rows in groupby(answer.look_at, lambda row: row.session_id)]
    if not fits:
        return [html.P("No fit of this selection asks for a second look.")]
    start = min(starting_place(view.page_words.get("start")), (len(fits) - 1) // FITS_SHOWN * FITS_SHOWN)
    page_fits = fits[start : start + FITS_SHOWN]
    sessions, fitter = [session for session, _ in page_fits], desk.asker.fitter
    riders = desk.asker.look_up(lambda warehouse: riders_of_fits(warehouse, sessions, fitter))
    place = f"{start + 1} to {start + len(page_fits)} of the newest {counted(len(fits), 'fit')}, of {answer.n_flagged:,} in all"
    return [
        html.P(place, className="looks-place"),
        html.Ul([_fit(desk, view.selection, rows, riders) for _, rows in page_fits], className="looks"),
        html.P(list(_turning(desk, view, start, len(fits))), className="turning"),
    ]


def _fit(desk: Desk, selection: Selection, rows: Sequence[LookRow], riders: Mapping[str, str]) -> html.Li:
    first = rows[0]
    rider = riders.get(first.session_id)
    return html.Li(
        [
            html.P(
                [
                    html.Strong(f"{day(first.session_date)}, fitter {first.fitter_id}"),
                    *([": ", _rider(desk, selection, rider, first.session_id)] if rider else []),
                ]
            ),
            html.Ul([html.Li([html.Span(f"{row.weight.capitalize()}, ", className="weight"), _words(row)]) for row in rows]),
        ],
        **{"data-session": first.session_id},
    )


def _words(row: LookRow) -> str:
    """The sentence without the session, which stands above it."""
    return row.words.removeprefix(row.session_id).removeprefix(", ").removeprefix(": ")


def _rider(desk: Desk, selection: Selection, rider: str, session: str) -> dcc.Link:
    query = replace(selection, fitter=(), rider=(rider,)).query()
    return dcc.Link(f"rider {rider}", href=desk.addresses.page(RIDERS, query, {"fit": session}))


def starting_place(start: str | None) -> int:
    """The first fit shown, from the address. Raises UsageError where it is no whole number."""
    if start is not None and not start.isdecimal():
        raise UsageError(f"start: found {start!r}, expected a whole number such as {FITS_SHOWN}.")
    return int(start or 0)


def _turning(desk: Desk, view: View, start: int, n: int) -> Iterator[dcc.Link]:
    def link(words: str, to: int) -> dcc.Link:
        page_words = {**view.page_words, "start": str(to)}
        return dcc.Link(words, href=desk.addresses.page(PATH, view.selection.query(), page_words), className="choice")

    if start:
        yield link("← newer fits", max(start - FITS_SHOWN, 0))
    if start + FITS_SHOWN < n:
        yield link("older fits →", start + FITS_SHOWN)
