"""The sequential estimate of one outcome's supports, and what it narrows of the rows that are told."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from dashboard.questions.models.claims import Found
from dashboard.questions.models.forms import PLAIN, Form
from dashboard.questions.models.frames import HELD, Frame, frame_of, straight_columns
from dashboard.questions.models.supports import known_of_cells
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.sequential.fits import Sessions, fit_sequential
from shared.statistics.told import NO_THIRD, OTHER_FORM, Third, told_interval

Thirds = Mapping[str, Third]


def thirds_of(frame: Frame, within: Sequence[str]) -> Thirds:
    """The sequential estimates by support, from the terms of the within-knee fit; empty where there are none."""
    places = {column.term: place for place, column in enumerate(frame.columns)}
    if any(term not in places for term in within):
        # The within-knee fit held the capture order as a straight line.
        return thirds_of(frame_of(frame.captures, frame.outcome, straight_columns()), within)
    own = [places[term] for term in within]
    supports = sum(frame.columns[place].of not in HELD for place in own)
    rows = frame.cells.rows(None).take([*own, -1], axis=1)
    sessions = Sessions(frame.cells.n, frame.cells.rider, rows, supports, known_of_cells(frame.captures))
    try:
        fit = fit_sequential(sessions, tuple(within))
    except StatisticsError:
        return {}
    errors = np.sqrt(np.diag(fit.covariance))
    return {
        term: Third(
            float(fit.estimate[at]),
            float(errors[at]),
            float(fit.df[at]),
            float(fit.strength[at]),
            fit.j_p_value,
            fit.m2_p_value,
            fit.learnt,
        )
        for at, term in enumerate(within[:supports])
        if np.isfinite([fit.estimate[at], errors[at], fit.df[at], fit.strength[at]]).all()
    }


def narrowed(found: Sequence[Found], thirds: Thirds, form: Form, settings: Settings) -> list[Found]:
    """The rows with the third estimate beside the two, and the told interval narrowed by it where the rule lets it.

    Where both models allow for a late effect or a drift by arch the third estimate, which does not, is not asked.
    """
    return [_narrowed(one, thirds.get(one.row.support), form, settings) for one in found]


def _narrowed(one: Found, third: Third | None, form: Form, settings: Settings) -> Found:
    row = one.row
    if row.bracket_low is None or row.bracket_high is None or one.noted is None:
        return one
    if third is None or form != PLAIN:
        why = OTHER_FORM if form != PLAIN else NO_THIRD
        return replace(one, noted=replace(one.noted, why=why if one.noted.disagree else None))
    told = told_interval(row.bracket_low, row.bracket_high, one.noted.disagree, third)
    low, high = third.interval(settings.intervals.level)
    row = replace(
        row, told_low=told.low, told_high=told.high, told_by=told.by, sequential=third.estimate, sequential_low=low,
        sequential_high=high, strength=third.strength,
    )  # fmt: skip
    return replace(one, row=row, noted=replace(one.noted, why=told.why, learnt=third.learnt))
