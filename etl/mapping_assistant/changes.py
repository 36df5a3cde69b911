"""A file of setups as a log of changes: each holds from its capture, or its time, until the next one of the same foot."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from etl.mapping_assistant.plan import Answers, Files, TablePlan
from etl.mapping_assistant.shapes import SourceColumn
from etl.mapping_assistant.times import forms_said, is_time, seconds_of

# A file of setups with fewer rows than this share of the captures may be a log of changes.
_A_LOG: Final = 0.8
DATES: Final = "foot_setups.log.dates"


@dataclass(frozen=True)
class Log:
    """The captures that changes hold for, and the columns of both that tell the time where no capture is named."""

    captures: TablePlan
    captured_at: SourceColumn | None = None
    changed_at: SourceColumn | None = None

    @property
    def is_by_time(self) -> bool:
        return self.changed_at is not None

    def reason(self) -> str:
        return "it tells times and no captures" if self.is_by_time else "it holds far fewer rows"

    def words(self, plan: TablePlan) -> str:
        """The question."""
        if self.captured_at and self.changed_at:
            where = "of the same foot and visit" if "session_id" in plan.columns else "of the same foot on that day"
            return (
                f"{plan.file} names no capture but a time ({self.changed_at.heading!r}), as {self.captures.file} does for each "
                f"capture ({self.captured_at.heading!r}). Is each of its rows a change, that holds from that time on until the "
                f"next one {where}?"
            )
        return (
            f"{plan.file} tells fewer setups than {self.captures.file} holds captures. Is each of its rows a change, that "
            "holds until the next one of the same foot and visit? (no: a row holds for its own capture alone, others are not "
            "recorded)"
        )

    def times(self, plans: Sequence[TablePlan], answers: Answers) -> dict[str, dict[str, Any]]:
        """What a mapping says of both times."""
        told = {}
        for key, source in (("captured_at", self.captured_at), ("changed_at", self.changed_at)):
            if source is not None:
                forms = forms_said(source, plans, answers, DATES)
                form = {"date_form": forms[0]} if len(forms) == 1 else {"date_forms": forms} if forms else {}
                told[key] = {
                    "from": source.origin or source.heading,
                    **({"pattern": source.pattern} if source.pattern else {}),
                    **form,
                }
        return told


def log_of(plan: TablePlan, plans: Sequence[TablePlan], files: Files) -> Log | None:
    """The log that a plan of setups may be; None where each of its rows holds for its own capture."""
    captures = next((one for one in plans if one.table.name == "knee_captures"), None)
    if plan.table.name != "foot_setups" or captures is None or captures.file == plan.file:
        return None
    if "capture_no" in plan.columns:
        n_setups, n_captures = (n_rows(files[one.file], one) for one in (plan, captures))
        return Log(captures) if n_setups < _A_LOG * n_captures else None
    for of_day in (False, True):
        captured, changed = (_time_of(one, files, of_day=of_day) for one in (captures, plan))
        # A time of the day tells nothing without its visit.
        if captured and changed and (not of_day or {"session_id"} <= set(plan.columns)):
            return Log(captures, captured, changed)
    return None


def moved(plan: TablePlan, log: Log, plans: Sequence[TablePlan], answers: Answers, wanted: int) -> list[tuple[str, str]]:
    """Changes of a log by time beside the first capture that each holds for."""
    visit, number = (log.captures.columns.get(name) for name in ("session_id", "capture_no"))
    own = plan.columns.get("session_id")
    if not (log.captured_at and log.changed_at and visit and visit.candidate and number and number.candidate):
        return []
    forms = [forms_said(source, plans, answers, DATES) for source in (log.captured_at, log.changed_at)]
    by_visit: dict[str, list[tuple[float, str, str]]] = {}
    for when, which, no in zip(
        log.captured_at.cells, visit.candidate.sources[0].cells, number.candidate.sources[0].cells, strict=True
    ):
        if (at := seconds_of(when, forms[0])) is not None and which:
            by_visit.setdefault(which, []).append((at, when or "", no or ""))
    names_visit = own is not None and own.candidate is not None and own.candidate.within_days is None
    named = own.candidate.sources[0].cells if names_visit and own and own.candidate else (None,) * len(log.changed_at.cells)
    shown: dict[str, str] = {}
    for when, which in zip(log.changed_at.cells, named, strict=True):
        at = seconds_of(when, forms[1])
        if at is None or len(shown) >= wanted:
            continue
        rows = (
            by_visit.get(which, [])
            if which
            else [one for rows in by_visit.values() for one in rows if one[0] // 86_400 == at // 86_400]
        )
        after = min((one for one in rows if one[0] >= at), default=None)
        key = f"{which}, {when}" if which else str(when)
        shown.setdefault(key, f"from capture {after[2]} ({after[1]}) on" if after else "for no capture")
    return list(shown.items())


def n_rows(columns: list[SourceColumn], plan: TablePlan) -> int:
    """How many feet a file tells of: its rows, and twice as many where left and right stand side by side."""
    return max((len(column.cells) for column in columns), default=0) * (2 if plan.is_wide else 1)


def _time_of(plan: TablePlan, files: Files, *, of_day: bool) -> SourceColumn | None:
    """The column of a file that tells when: the one proposed for it, or else the only one."""
    told = plan.columns.get("captured_at")
    if told and told.candidate and is_time(told.candidate.sources[0], of_day=of_day):
        return told.candidate.sources[0]
    found = [column for column in files[plan.file] if is_time(column, of_day=of_day)]
    return found[0] if len(found) == 1 else None
