"""The fits to look at together, the furthest from the exam first, a few at a time; each with its case folded under it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import groupby
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.choices import turning, within
from dashboard.components.entering import task_fold, tasks_told
from dashboard.components.page import Desk
from dashboard.components.table import csv_link
from dashboard.components.text import paragraphs
from dashboard.figures.theme import day
from dashboard.pages.fitters.answer import PATH, WORST_PATH, Text, waiting
from dashboard.pages.fitters.named import Names, called
from dashboard.questions.coaching.agreement_severity import distance_words
from dashboard.questions.coaching.answers_agreement import AgreementWithExam, LookRow, WorstRow
from dashboard.questions.riders.riders_found import riders_of_fits
from dashboard.questions.selection.selection import Selection

FITS_SHOWN: Final = 10
RIDERS: Final = "riders"
# What a flag of each rule says in short.
FOUND: Final = {
    "shims_to_need": "more shims than the forefoot needs",
    "shim_against_forefoot": "a wedge against the foot's own angle",
    "insole_follows_arch": "an insole far from the arch",
    "insole_left_out": "no insole under the arch",
    "stance_follows_knee": "stance moved the wrong way for the knee",
    "insole_not_away": "an insole that pushes the knee away",
    "shims_not_away": "shims that push the knee away",
    "saddle_before_supports": "the saddle not looked at first",
}


def worst(desk: Desk, view: View, answer: AgreementWithExam, names: Names, text: Text) -> list[Any]:
    """What a fit to look at is, one page of them, links to the pages before and after, and all as CSV."""
    rule = desk.asker.settings.agreement
    return [
        *paragraphs(text["worst"], steps=rule.look_from_steps, points=f"{rule.smallest_rating_points:g}"),
        *_fits(desk, view, answer, names),
        csv_link(desk.csv("agreement", "worst", view.selection), "fits to look at together"),
        csv_link(desk.csv("agreement", "look_at", view.selection), "what the exam asks for in each"),
    ]


def _fits(desk: Desk, view: View, answer: AgreementWithExam, names: Names) -> list[Any]:
    fits = answer.worst
    if not fits:
        return [html.P("No fit of this selection is to look at.", className="looks-place")]
    start = within(view.page_words.get("start"), FITS_SHOWN, len(fits))
    page_fits = fits[start : start + FITS_SHOWN]
    sessions, fitter = [row.session_id for row in page_fits], desk.asker.fitter
    riders = desk.asker.look_up(lambda warehouse: riders_of_fits(warehouse, sessions, fitter))
    cases = {session: list(rows) for session, rows in groupby(answer.look_at, lambda row: row.session_id)}
    return [
        html.P(_place(desk, answer, start, len(page_fits)), className="looks-place"),
        html.Ul(
            [_fit(desk, view.selection, row, cases.get(row.session_id, []), riders, names) for row in page_fits],
            className="looks",
        ),
        turning("← worse ones", "the next ones →", start, FITS_SHOWN, len(fits), partial(_address, desk, view)),
    ]


def _address(desk: Desk, view: View, start: int) -> str:
    page_words = {**view.page_words, "start": str(start)}
    return desk.addresses.page(f"{PATH}/{WORST_PATH}", view.selection.query(), page_words)


def _place(desk: Desk, answer: AgreementWithExam, start: int, n: int) -> str:
    few, listed = sum(not row.is_to_look_at for row in answer.worst), len(answer.worst)
    if few:
        few_words = f"{few:,} of fitters with too few fits for a figure"
        return f"{start + 1:,} to {start + n:,} of {listed:,}: {listed - few:,} to look at, and {few_words}."
    n_all = waiting(desk, answer)
    beyond = f", of {n_all:,} in all" if n_all > listed else ""
    return f"{start + 1:,} to {start + n:,} of {listed:,} fits to look at{beyond}."


def _fit(
    desk: Desk, selection: Selection, row: WorstRow, case: Sequence[LookRow], riders: Mapping[str, str], names: Names
) -> html.Li:
    """Distance, day, fitter and rider; which rules ask for a look; and folded, each finding and what became of the rider."""
    rider = riders.get(row.session_id)
    case_words = f" of the fit of {day(row.session_date)}, {called(row.fitter_id, names)}"
    return html.Li(
        [
            html.P(html.Strong(f"{distance_words(row.n_levels, row.n_shims, row.n_others).capitalize()} from the exam")),
            html.P(
                [
                    f"{day(row.session_date)}, {called(row.fitter_id, names)}",
                    *([", ", _rider(desk, selection, rider, row.session_id)] if rider else []),
                    ". " if row.is_to_look_at else " (too few fits for a figure). ",
                    _in_short(case),
                ]
            ),
            tasks_told(desk, "fit", row.session_id, case_words),
            html.Details(
                [
                    html.Summary(["The case", html.Span(case_words, className="for-readers")]),
                    html.P(_outcome(row)),
                    html.Ul(
                        [html.Li([html.Span(f"{one.weight.capitalize()}, ", className="weight"), _words(one)]) for one in case]
                    ),
                    task_fold(desk, "fit", row.session_id, case_words),
                ],
                className="more case",
            ),
        ],
        **{"data-session": row.session_id, "data-n-steps": str(row.n_steps)},
    )


def _outcome(row: WorstRow) -> str:
    """What became of tilt, comfort and pain, as the answer tells it after the distance."""
    words = row.words.partition(": ")[2]
    return f"{words[:1].upper()}{words[1:]}"


def _in_short(case: Sequence[LookRow]) -> str:
    """The flags in short, each with the foot it is of: no insole under the arch, both feet; …"""
    feet: dict[str, list[str]] = {}
    for row in case:
        if row.weight == "flag":
            feet.setdefault(row.rule, []).append(row.side or "")
    parts = [f"{FOUND[rule]}{_of_feet(sides)}" for rule, sides in feet.items()]
    words = "; ".join(parts)
    return f"{words[:1].upper()}{words[1:]}."


def _of_feet(sides: Sequence[str]) -> str:
    return ", both feet" if len(sides) > 1 else f", {sides[0]} foot" if sides[0] else ""


def _words(row: LookRow) -> str:
    """The sentence without the session, which stands above it."""
    return row.words.removeprefix(row.session_id).removeprefix(", ").removeprefix(": ")


def _rider(desk: Desk, selection: Selection, rider: str, session: str) -> dcc.Link:
    query = replace(selection, fitter=(), rider=(rider,)).query()
    return dcc.Link(f"rider {rider}", href=desk.addresses.page(RIDERS, query, {"fit": session}))
