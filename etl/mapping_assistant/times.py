"""Days and times of a foreign file as they are compared with one another, and which columns hold them."""

import re
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import Final

from etl.mapping_assistant.plan import Answers, TablePlan
from etl.mapping_assistant.shapes import SourceColumn, is_ambiguous

_TIME_OF_DAY: Final = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")
_ENOUGH: Final = 0.8
_DAY_SECONDS: Final = 86_400


def forms_said(source: SourceColumn, plans: Sequence[TablePlan], answers: Answers, own: str) -> list[str]:
    """The forms of the dates of a column, as the reader said it of any column that is made of it, or under the key `own`."""
    forms = source.date_forms or []
    keys = [f"{plan.table.name}.{name}.dates" for plan in plans for name, one in plan.columns.items() if _is_of(one, source)]
    said = next((answers[key] for key in (own, *keys) if key in answers), None)
    return [said, *forms[1:]] if said and forms else list(forms)


def is_open(source: SourceColumn, plans: Sequence[TablePlan]) -> bool:
    """Whether nobody is asked yet in which order the days and months of a column stand."""
    asked = any(
        _is_of(one, source) and one.column.type in {"date", "datetime"} for plan in plans for one in plan.columns.values()
    )
    forms = source.date_forms
    return bool(forms) and not asked and is_ambiguous(source.sample, forms[0] if forms else "")


def _is_of(proposal: object, source: SourceColumn) -> bool:
    candidate = getattr(proposal, "candidate", None)
    return candidate is not None and candidate.within_days is None and source in candidate.sources


def is_time(source: SourceColumn, *, of_day: bool = False) -> bool:
    """Whether the cells of a column tell a time: with its day, or of the day alone."""
    sample = source.sample
    if not sample:
        return False
    if of_day:
        return sum(bool(_TIME_OF_DAY.fullmatch(cell)) for cell in sample) >= _ENOUGH * len(sample)
    return source.date_forms is not None and sum(":" in cell for cell in sample) >= _ENOUGH * len(sample)


def seconds_of(cell: str | None, forms: Sequence[str]) -> float | None:
    """A time as a number that grows with it; None where it is none."""
    if not cell:
        return None
    if found := _TIME_OF_DAY.fullmatch(cell):
        hours, minutes, seconds = (int(part or 0) for part in found.groups())
        return hours * 3600.0 + minutes * 60 + seconds
    when = moment_of(cell, tuple(forms))
    return None if when is None else (when - datetime(1970, 1, 1)).total_seconds()


def day_of(cell: str | None, forms: Sequence[str]) -> int | None:
    """A day as a number that grows by one from day to day; None where it is none."""
    when = moment_of(cell, tuple(forms)) if cell else None
    return None if when is None else int((when - datetime(1970, 1, 1)).total_seconds() // _DAY_SECONDS)


@lru_cache(maxsize=100_000)
def moment_of(cell: str, forms: tuple[str, ...]) -> datetime | None:
    """A date or a date with its time, by the first form that fits, or as ISO writes it."""
    for form in forms:
        try:
            return datetime.strptime(cell, form)
        except ValueError:
            continue
    try:
        return datetime.fromisoformat(cell).replace(tzinfo=None)
    except ValueError:
        return None
