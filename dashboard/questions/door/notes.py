"""Answers less what was noted of riders, which is for those who fit them, or less what was measured."""

from dataclasses import replace
from typing import Final

from dashboard.questions.data.answers_data import Data, RejectRow
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.riders.answers_riders import Riders, RiderTimeline
from shared.catalogue import catalogue

_NOTES: Final = "notes"


def timeline_without_notes(answer: Riders | RiderTimeline) -> Riders | RiderTimeline:
    if isinstance(answer, RiderTimeline):
        return replace(answer, fits=tuple(replace(fit, notes=None) for fit in answer.fits))
    return answer


def calls_without_measures(answer: Calls) -> Calls:
    return replace(answer, calls=tuple(replace(row, last_result="") for row in answer.calls))


def data_without_notes(answer: Data) -> Data:
    """Rows as they were received without the notes in them."""
    return replace(answer, rejects=tuple(_as_owner(row) for row in answer.rejects))


def _as_owner(row: RejectRow) -> RejectRow:
    """A rejected row as the owner sees it: where its table holds notes, not as it was received."""
    if not holds_notes(row.table):
        return row
    return replace(row, received="{}", value=None if row.column == _NOTES else row.value)


def holds_notes(table: str) -> bool:
    """Whether a table has a column of what was noted of a rider."""
    return table in catalogue() and _NOTES in catalogue()[table].column_names
