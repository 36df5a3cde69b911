"""What happened at one fit and whether it held, in one sentence: arrival, departure, follow-up."""

from collections.abc import Mapping, Sequence
from datetime import date

from dashboard.questions.followed.held import HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN, WAITING
from dashboard.questions.riders.answers_riders import FitRow, FollowUpRow, KneeRow, RatingRow
from dashboard.questions.riders.riders_words import CHANGED, UNKNOWN
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.recorded import FIGURES
from dashboard.questions.selection.scope import spoken_day
from shared.recorded import not_recorded

VISITS = {"first": "first fit", "follow_up": "follow-up", "refit": "refit"}
# What became of a fit, as it is told in a list; in a sentence behind the fit.
BECAME_WORDS = {
    HELD: "held",
    NOT_HELD: "did not hold",
    NOT_MEASURED: "seen again, not measured",
    NOT_SEEN: "not seen again",
    WAITING: "not seen yet",
}
_BEGINS = {
    HELD: "held",
    NOT_HELD: "did not hold",
    NOT_MEASURED: "was seen again, and whether it held is not known",
    NOT_SEEN: "was not seen again",
    WAITING: "has not been seen again yet",
}


def fit_name(fit: FitRow) -> str:
    """As in: refit of 10 Jun 2026."""
    return f"{VISITS[fit.visit_kind]} of {spoken_day(fit.session_date)}"


def told_of(
    fit: FitRow,
    knees: Sequence[KneeRow],
    bookings: Sequence[FollowUpRow],
    followed: FitRow | None,
    mdc95: float | None,
    today: date,
    judged: Sequence[RatingRow] = (),
) -> str:
    """The sentence of one fit. knees: those of the fit on tilt; bookings: its own; followed: the fit that this visit followed
    up; mdc95: the smallest real change of tilt, None where it is not known; today: what bookings are told by; judged: the fit's
    ratings with a verdict.
    """
    begins = f" {_BEGINS[fit.became]}" if fit.became else ""
    parts = (_tilts(fit, knees), *map(_felt, judged), _end(fit, knees, bookings, followed, mdc95, today))
    return f"The {fit_name(fit)}{begins}; {'; '.join(parts)}."


def _felt(row: RatingRow) -> str:
    """As in: comfort went from 4 on arrival to 7 at the follow-up (clear and worth it)."""
    part = "" if row.body_part == "whole" else f" ({row.body_part.replace('_', ' ')})"
    went = "stayed at" if row.arrival == row.follow_up else f"went from {row.arrival:g} on arrival to"
    return f"{row.topic}{part} {went} {row.follow_up:g} at the follow-up ({row.verdict})"


def _tilts(fit: FitRow, knees: Sequence[KneeRow]) -> str:
    """The tilt of both knees on arrival, at departure and at the follow-up, as far as they are recorded."""
    sides = {knee.side: knee for knee in knees}
    moments = [(_pair(sides, "arrival", is_named=True), "on arrival")]
    if fit.n_captures > 1:
        moments.append((_pair(sides, "departure"), f"at departure{_verdict(knees)}"))
    if any(knee.found is not None for knee in knees) and fit.seen_on:
        days = (fit.seen_on - fit.session_date).days
        moments.append((_pair(sides, "found"), f"at the follow-up {days} day{'' if days == 1 else 's'} later"))
    told = [f"{values} {when}" for values, when in moments if values]
    return f"tilt was {', '.join(told)}" if told else "no tilt was recorded"


def _pair(sides: Mapping[str, KneeRow], moment: str, *, is_named: bool = False) -> str:
    """Both knees at one moment; empty where neither was recorded."""
    values = {side: getattr(knee, moment) for side, knee in sides.items() if getattr(knee, moment) is not None}
    told = {side: spoken(value, 1, "°") for side, value in values.items()}
    if len(told) == 1:
        [(side, value)] = told.items()
        return f"{value} {side} ({'right' if side == 'left' else 'left'} not recorded)"
    if is_named and told:
        return f"{told['left']} left and {told['right']} right"
    return " and ".join(told.values())


def _verdict(knees: Sequence[KneeRow]) -> str:
    """Whether the fit itself changed a knee by more than noise, in brackets."""
    known = [knee for knee in knees if knee.verdict != UNKNOWN]
    changed = [knee.side for knee in known if knee.verdict == CHANGED]
    if not known:
        return ""
    if not changed:
        return " (no clear change)"
    return f" ({'both knees' if len(changed) > 1 else f'the {changed[0]} knee'} clearly changed)"


def _end(
    fit: FitRow,
    knees: Sequence[KneeRow],
    bookings: Sequence[FollowUpRow],
    followed: FitRow | None,
    mdc95: float | None,
    today: date,
) -> str:
    if fit.became is None:
        if followed is None:
            is_return = fit.visit_kind == "follow_up"
            return "it asks for no follow-up" if is_return else f"whether it held is {not_recorded(FIGURES['return_rate'])}"
        end = _FOLLOWED.get(followed.became or NOT_MEASURED, _FOLLOWED[NOT_MEASURED])
        return f"it followed up the {fit_name(followed)}, {end}"
    if fit.became in (HELD, NOT_HELD) and mdc95 is not None:
        limit = f"{spoken(mdc95, 1, '°')}, the smallest real change"
        lost = [
            f"the {knee.side} knee went {spoken(knee.further, 1, '°')}"
            for knee in knees
            if knee.further is not None and knee.further > mdc95
        ]
        if lost:
            return f"since departure {' and '.join(lost)} away from neutral, more than {limit}"
        return f"since departure no knee went away from neutral by more than {limit}"
    if fit.became == NOT_MEASURED:
        return _unmeasured(fit, knees, mdc95)
    return _booking(bookings, fit.became, today)


_FOLLOWED = {HELD: "which held", NOT_HELD: "which did not hold", NOT_MEASURED: "of which it is not known whether it held"}


def _unmeasured(fit: FitRow, knees: Sequence[KneeRow], mdc95: float | None) -> str:
    came = f"the rider came on {spoken_day(fit.seen_on)}" if fit.seen_on else "the rider came"
    if any(knee.further is not None for knee in knees):
        return f"{came}, and {'there are too few repeat captures yet' if mdc95 is None else 'a knee was not recorded'}"
    return f"{came}, and no tilt was recorded"


def _booking(bookings: Sequence[FollowUpRow], became: str, today: date) -> str:
    """Where the booking of a fit that was not seen again stands today."""
    if not bookings:
        return "no follow-up was booked" if became == NOT_SEEN else "no follow-up is booked"
    open_ones = [row for row in bookings if row.state == "open"]
    last = (open_ones or list(bookings))[-1 if not open_ones else 0]
    day = spoken_day(last.due_on)
    if last.state != "open":
        return f"the follow-up of {day} was {last.state}"
    days = (today - last.due_on).days
    if days < 0:
        return f"its follow-up is booked for {day}"
    return (
        "its follow-up is due today"
        if days == 0
        else f"its follow-up was due on {day}, {days} day{'' if days == 1 else 's'} ago"
    )
