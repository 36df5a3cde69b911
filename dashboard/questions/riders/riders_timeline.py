"""One rider's timeline: every fit and capture in order, what changed between them, and what of it is more than noise."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby
from math import isfinite
from typing import Any

from dashboard.questions.coaching.agreement_flags import Judged, judged_with_ids
from dashboard.questions.coaching.agreement_rules import FOOT_RULES, SADDLE, SADDLE_TOLD
from dashboard.questions.coaching.answers_agreement import LookRow
from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.followed.held import BECAME, SIDES, Rows, became_of, followed_fits, further_from_neutral, known_noise
from dashboard.questions.followed.worth import Limits, gained
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
from dashboard.questions.riders.riders_told import told_of
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
from dashboard.questions.selection.every_fit import Remember
from dashboard.questions.selection.levels import exam_fragments
from dashboard.questions.selection.scope import Scope
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
Row = dict[str, Any]


def timeline(
    warehouse: Warehouse,
    scope: Scope,
    selection: Selection,
    settings: Settings,
    noise: Noise | None,
    today: date | None = None,
    remember: Remember | None = None,
    limits: Mapping[str, Limits] | None = None,
) -> RiderTimeline:
    """The timeline of one rider: all that the warehouse holds of the selected fits. limits: by topic, from how many points on a
    change of it is clear, and matters."""

    def rows(name: str) -> list[Row]:
        return warehouse.rows(SQL / f"riders_{name}.sql", scope.parameters, **exam_fragments())

    judged = judged_with_ids(warehouse, scope, settings, remember)
    known = known_noise(noise)
    mdc95 = known["tilt"].mdc95 if "tilt" in known else None
    [rider] = rider_rows(warehouse, scope, judged, settings, mdc95, today, remember)
    fits, captures = rows("fits"), rows("captures")
    fitter_of = {fit["session_id"]: fit["fitter_id"] for fit in fits}
    followed = followed_fits(warehouse, scope, remember)
    became, found = _followed(followed, mdc95, {fit["fit_no"]: fit["session_id"] for fit in fits})
    knees = tuple(_with_found(knee, found) for knee in _knees(captures, _judged_by(noise, known), fitter_of))
    bookings = tuple(FollowUpRow(**row) for row in rows("follow_ups"))
    ratings = tuple(_rating(row, limits or {}) for row in rows("ratings"))
    fit_rows = _told(fits, knees, bookings, ratings, became, mdc95, max(filter(None, (today, scope.as_of))))
    told = next((fit for fit in reversed(fit_rows) if fit.became), fit_rows[-1])
    return RiderTimeline(
        **scope.head(selection),
        method=METHOD,
        **scope.counts,
        headline=told.told,
        told_id=told.session_id,
        rider=rider,
        riding=fits[-1]["riding"],
        captures=tuple(_captures(captures)),
        fits=fit_rows,
        knees=knees,
        exams=tuple(ExamRow(**row) for row in rows("exams")),
        ratings=ratings,
        bike=tuple(BikeRow(**row) for row in rows("bike")),
        follow_ups=bookings,
        look_at=tuple(_look_at(judged)),
        noise=tuple(known.values()),
        worth_words=_worth_words(ratings, limits or {}),
    )


def _rating(row: Row, limits: Mapping[str, Limits]) -> RatingRow:
    """The row, with its verdict where its topic has limits and was rated at arrival and at the follow-up."""
    rated = RatingRow(**row)
    if rated.topic not in limits or rated.arrival is None or rated.follow_up is None:
        return rated
    # Where nothing hurt, nothing could hurt less.
    if rated.topic == "pain" and rated.arrival == 0:
        return rated
    return replace(rated, verdict=limits[rated.topic].verdict(gained(rated.topic, rated.arrival, rated.follow_up)))


def _worth_words(ratings: Sequence[RatingRow], limits: Mapping[str, Limits]) -> str:
    """What the verdicts stand on, a sentence a topic of which there is one."""
    told = [topic for topic in limits if any(row.verdict and row.topic == topic for row in ratings)]
    return " ".join(f"{topic.capitalize()} is {limits[topic].words}." for topic in told)


def _followed(
    fits: Rows, mdc95: float | None, sessions: Mapping[int, str]
) -> tuple[dict[str, str], dict[tuple[str, str], tuple[float, float]]]:
    """What became of each fit that asks for a follow-up, and the tilt of its knees as it left them and as they were found."""
    became, found = {}, {}
    for place, (fit_no, end) in enumerate(zip(fits["fit_no"].tolist(), became_of(fits, mdc95).tolist(), strict=True)):
        became[sessions[fit_no]] = BECAME[end]
        for side in SIDES:
            left, again = (float(fits[f"tilt_{side}_{when}_deg"][place]) for when in ("departure", "found"))
            if isfinite(again):
                found[sessions[fit_no], side] = (left, again)
    return became, found


def _with_found(knee: KneeRow, found: Mapping[tuple[str, str], tuple[float, float]]) -> KneeRow:
    """The knee with its tilt as the follow-up found it."""
    ends = found.get((knee.session_id, knee.side)) if knee.outcome == "tilt" else None
    if ends is None:
        return knee
    further = float(further_from_neutral(*ends))
    return replace(knee, found=ends[1], further=further if isfinite(further) else None)


def _told(
    fits: Sequence[Row],
    knees: Sequence[KneeRow],
    bookings: Sequence[FollowUpRow],
    ratings: Sequence[RatingRow],
    became: Mapping[str, str],
    mdc95: float | None,
    today: date,
) -> tuple[FitRow, ...]:
    """Every fit with its own sentence."""
    rows = {}
    for fit in fits:
        session = fit["session_id"]
        given = {name: value for name, value in fit.items() if name not in ("riding", "fit_no")}
        of_fit = [knee for knee in knees if knee.session_id == session]
        rows[session] = FitRow(**given, words=fit_words(of_fit, fit["n_captures"]), became=became.get(session))
    followed = {row.returned_session_id: rows.get(row.session_id) for row in bookings}
    return tuple(
        replace(
            row,
            told=told_of(
                row,
                [knee for knee in knees if knee.session_id == session and knee.outcome == "tilt"],
                [booking for booking in bookings if booking.session_id == session],
                followed.get(session),
                mdc95,
                today,
                [rating for rating in ratings if rating.session_id == session and rating.verdict],
            ),
        )
        for session, row in rows.items()
    )


def _judged_by(noise: Noise | None, known: Mapping[str, Any]) -> dict[tuple[str, str], float | None]:
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
        for side in SIDES:
            for outcome, column in _COLUMNS.items():
                arrival, departure = (ends.get((side, number), {}).get(column) for number in (first, last))
                has_both = arrival is not None and departure is not None and last > first
                change = float(departure - arrival) if has_both else None  # type: ignore[operator]
                mdc95 = judged_by.get((fitter_of.get(session, ""), outcome), judged_by.get(("", outcome)))
                verdict = _verdict(change, mdc95)
                yield KneeRow(session, side, outcome, _UNITS[outcome], arrival, departure, change, mdc95, verdict)


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
            changes = change_words(earlier, row)
            is_changed = changes not in (NOTHING_CHANGED, NOT_RECORDED)
            since = "since the fit before: " if earlier["session_id"] != row["session_id"] else ""
            words = since + "; ".join(part for part in (changes, room_words(earlier, row)) if part)
        yield CaptureRow(**row, setup=setup_words(row), is_changed=is_changed, words=words)


def _look_at(judged: Judged) -> Iterator[LookRow]:
    """Every note and flag of the rider's fits that can be judged, by date."""
    rule_words = {**{rule.name: rule.told for rule in FOOT_RULES}, SADDLE: SADDLE_TOLD}
    for fit in range(len(judged.is_judged)):
        if not judged.is_judged[fit]:
            continue
        session, fitter = str(judged.fits["session_id"][fit]), str(judged.fits["fitter_id"][fit])
        day = date.fromisoformat(str(judged.fits["session_date"][fit])[:10])
        for side, finding in judged.findings(fit):
            words = f"{f'{side} foot: ' if side else ''}{rule_words[finding.rule]}; {finding.words}"
            yield LookRow(session, day, fitter, side, finding.rule, finding.weight, f"{words[0].upper()}{words[1:]}")
