"""One rider's timeline: every fit and capture in order, what changed between them, and what of it is more than noise."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any

from dashboard.questions.coaching.agreement_flags import Judged, judged_with_ids
from dashboard.questions.coaching.agreement_rules import FOOT_RULES, SADDLE, SADDLE_TOLD
from dashboard.questions.coaching.answers_agreement import LookRow
from dashboard.questions.data.answers_noise import Noise, NoiseRow
from dashboard.questions.riders import SQL
from dashboard.questions.riders.answers_riders import (
    BikeRow,
    CaptureRow,
    ExamRow,
    FitRow,
    FollowUpRow,
    KneeRow,
    RatingRow,
    RiderTimeline,
)
from dashboard.questions.riders.riders_list import METHOD as LIST_METHOD
from dashboard.questions.riders.riders_list import rider_rows
from dashboard.questions.riders.riders_words import (
    CHANGED,
    NOT_RECORDED,
    NOTHING_CHANGED,
    UNCLEAR,
    UNKNOWN,
    change_words,
    fit_words,
    room_words,
    setup_words,
)
from dashboard.questions.selection.levels import exam_fragments
from dashboard.questions.selection.scope import Scope, spoken_day
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse

METHOD = {
    **LIST_METHOD,
    "noise": "typical error and MDC95 from all repeat captures of the warehouse, within one session; refused where there are "
    "too few, and then no change is told from chance",
    "verdict": "changed: from a fit's first capture to its last by more than MDC95; between two fits a knee may differ by more",
    "setup": "as it stood while the capture was recorded; the first of a fit is told beside the last of the fit before",
    "sides": "both knees, whichever side is selected",
    "order": "by date and capture",
}
_COLUMNS = {"tilt": "knee_tilt_deg", "sway": "knee_sway_mm", "offset": "knee_offset_mm"}
_UNITS = {"tilt": "deg", "sway": "mm", "offset": "mm"}
VISITS = {"first": "first fit", "follow_up": "follow-up", "refit": "refit"}
Row = dict[str, Any]


def timeline(
    warehouse: Warehouse, scope: Scope, selection: Selection, settings: Settings, noise: Noise | None, today: date | None = None
) -> RiderTimeline:
    """All that is held of one rider's selected fits."""

    def rows(name: str) -> list[Row]:
        return warehouse.rows(SQL / f"riders_{name}.sql", scope.parameters, **exam_fragments())

    judged = judged_with_ids(warehouse, scope, settings)
    [rider] = rider_rows(warehouse, scope, judged, settings, today)
    known = known_noise(noise)
    fits, captures = rows("fits"), rows("captures")
    fitter_of = {fit["session_id"]: fit["fitter_id"] for fit in fits}
    knees = tuple(_knees(captures, _judged_by(noise, known), fitter_of))
    told = tuple(_fit(fit, [knee for knee in knees if knee.session_id == fit["session_id"]]) for fit in fits)
    return RiderTimeline(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method=METHOD,
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        headline=headline_of(told[-1]),
        rider=rider,
        riding=fits[-1]["riding"],
        captures=tuple(_captures(captures)),
        fits=told,
        knees=knees,
        exams=tuple(ExamRow(**row) for row in rows("exams")),
        ratings=tuple(RatingRow(**row) for row in rows("ratings")),
        bike=tuple(BikeRow(**row) for row in rows("bike")),
        follow_ups=tuple(FollowUpRow(**row) for row in rows("follow_ups")),
        look_at=tuple(_look_at(judged)),
        noise=tuple(known.values()),
    )


def headline_of(fit: FitRow) -> str:
    """What happened at one fit, as in: At the fit of 3 May 2026, left tilt went …"""
    return f"At the {VISITS[fit.visit_kind]} of {spoken_day(fit.session_date)}, {fit.words}"


def known_noise(noise: Noise | None) -> dict[str, NoiseRow]:
    """The typical errors that come from repeat captures; what stands in for one elsewhere is a guess here."""
    return {row.outcome: row for row in noise.noise if row.limit_low is not None} if noise else {}


def _fit(fit: Row, knees: Sequence[KneeRow]) -> FitRow:
    given = {name: value for name, value in fit.items() if name != "riding"}
    return FitRow(**given, words=fit_words(knees, fit["n_captures"]))


def _judged_by(noise: Noise | None, known: Mapping[str, NoiseRow]) -> dict[tuple[str, str], float | None]:
    """The smallest real change of each outcome that a fitter's fits are judged by, and of any other fitter's ("")."""
    own = {(row.level, row.outcome): row.judged_by for row in (noise.groups if noise else ()) if row.group == "fitter"}
    own = {key: limit for key, limit in own.items() if key[1] in known}
    return {**{("", outcome): row.mdc95 for outcome, row in known.items()}, **own}


def _knees(
    captures: Sequence[Row], judged_by: Mapping[tuple[str, str], float | None], fitter_of: Mapping[str, str]
) -> Iterator[KneeRow]:
    """Each knee of each fit from its first capture to its last, on every outcome, judged by the noise of the fit's fitter."""
    for session, of_fit in groupby(captures, lambda row: row["session_id"]):
        rows = list(of_fit)
        first, last = rows[0]["capture_no"], rows[-1]["capture_no"]
        ends = {(row["side"], row["capture_no"]): row for row in rows}
        for side in ("left", "right"):
            for outcome, column in _COLUMNS.items():
                arrival, departure = (ends.get((side, number), {}).get(column) for number in (first, last))
                has_both = arrival is not None and departure is not None and last > first
                change = float(departure - arrival) if has_both else None  # type: ignore[operator]
                mdc95 = judged_by.get((fitter_of.get(session, ""), outcome), judged_by.get(("", outcome)))
                told = _verdict(change, mdc95)
                yield KneeRow(session, side, outcome, _UNITS[outcome], arrival, departure, change, mdc95, told)


def _verdict(change: float | None, mdc95: float | None) -> str:
    if change is None or mdc95 is None:
        return UNKNOWN
    return CHANGED if abs(change) > mdc95 else UNCLEAR


def _captures(captures: Sequence[Row]) -> Iterator[CaptureRow]:
    """Every capture with what changed on its foot since the one before, across fits as well."""
    before: dict[str, Row] = {}
    for row in captures:
        earlier = before.get(row["side"])
        before[row["side"]] = row
        if earlier is None:
            words, is_changed = f"arrived with {setup_words(row)}", False
        else:
            told = change_words(earlier, row)
            is_changed = told not in (NOTHING_CHANGED, NOT_RECORDED)
            since = "since the fit before: " if earlier["session_id"] != row["session_id"] else ""
            words = since + "; ".join(part for part in (told, room_words(earlier, row)) if part)
        yield CaptureRow(**row, setup=setup_words(row), is_changed=is_changed, words=words)


def _look_at(judged: Judged) -> Iterator[LookRow]:
    """Every note and flag of the rider's fits that can be judged, by date."""
    told = {**{rule.name: rule.told for rule in FOOT_RULES}, SADDLE: SADDLE_TOLD}
    for fit in range(len(judged.is_judged)):
        if not judged.is_judged[fit]:
            continue
        session, fitter = str(judged.fits["session_id"][fit]), str(judged.fits["fitter_id"][fit])
        day = date.fromisoformat(str(judged.fits["session_date"][fit])[:10])
        for side, finding in judged.findings(fit):
            words = f"{f'{side} foot: ' if side else ''}{told[finding.rule]}; {finding.words}"
            yield LookRow(session, day, fitter, side, finding.rule, finding.weight, f"{words[0].upper()}{words[1:]}")
