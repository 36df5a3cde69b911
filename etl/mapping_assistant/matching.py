"""Rows that name no visit, but a rider and a date: the rider's last visit up to so many days before, proposed and asked."""

import re
from bisect import bisect_right
from collections.abc import Sequence
from typing import Final

from etl.mapping_assistant.plan import NO, PROPOSED, Answers, Candidate, Files, Proposal, TablePlan
from etl.mapping_assistant.shapes import SourceColumn
from etl.mapping_assistant.times import day_of, forms_said

# Days within which a row may follow its visit, as they are offered.
WITHIN: Final = (0, 1, 3, 7, 14, 30, 60, 90)
_SAID: Final = re.compile(r"(\d{1,4}) days")
_ENOUGH: Final = 0.8
_AS_GOOD: Final = 0.95
_SHARED_RIDERS: Final = 0.5


def match_visits(plans: list[TablePlan], files: Files, answers: Answers) -> None:
    """Gives each plan that names no visit the rider and the date by which its rows find one."""
    visits = _Visits.of(plans, answers)
    if visits is None:
        return
    for plan in plans:
        if plan.table.name == "fit_sessions" or "session_id" not in plan.missing:
            continue
        said = answers.get(f"{plan.table.name}.session_id", "")
        if said == NO or (said and not _SAID.fullmatch(said)):
            continue
        if proposal := visits.proposal(plan, files[plan.file], plans, said):
            plan.columns["session_id"] = proposal


def found_visits(plan: TablePlan, plans: Sequence[TablePlan], answers: Answers, wanted: int) -> list[tuple[str, str]]:
    """Riders and dates of different rows beside the visit that each finds; empty where it finds none."""
    visits, proposal = _Visits.of(plans, answers), plan.columns.get("session_id")
    if visits is None or proposal is None or proposal.candidate is None or proposal.candidate.within_days is None:
        return []
    rider, date = proposal.candidate.sources
    forms = forms_said(date, plans, answers, f"{plan.table.name}.session_id.dates")
    shown: dict[str, str] = {}
    for who, when in zip(rider.cells, date.cells, strict=True):
        if who and when and len(shown) < wanted:
            shown.setdefault(f"{who}, {when}", visits.told(who, day_of(when, forms), proposal.candidate.within_days))
    return list(shown.items())


class _Visits:
    """The days of each rider's visits."""

    def __init__(self, riders: SourceColumn, dates: SourceColumn, ids: SourceColumn, forms: list[str], bare: bool) -> None:
        self.is_bare = bare
        found: dict[str, list[tuple[int, str, str]]] = {}
        for who, when, visit in zip(riders.cells, dates.cells, ids.cells, strict=True):
            day = day_of(when, forms)
            if who and day is not None:
                found.setdefault(self._id(who), []).append((day, visit or "", when or ""))
        self.by_rider = {who: sorted(days) for who, days in found.items()}

    @classmethod
    def of(cls, plans: Sequence[TablePlan], answers: Answers) -> "_Visits | None":
        sessions = next((plan for plan in plans if plan.table.name == "fit_sessions"), None)
        if sessions is None:
            return None
        candidates = [
            one.candidate if (one := sessions.columns.get(name)) else None
            for name in ("rider_id", "session_date", "session_id")
        ]
        rider, date, own = candidates
        if rider is None or date is None or own is None or own.is_joined:
            return None
        forms = forms_said(date.sources[0], plans, answers, "fit_sessions.session_date.dates")
        return cls(rider.sources[0], date.sources[0], own.sources[0], forms, answers.get("rider_id.zeros") != NO)

    def _id(self, who: str) -> str:
        # Whether 0202 is 202 is asked of its own; until it is said to be no, it is taken so here, where nothing is loaded.
        return (who.lstrip("0") or who) if self.is_bare and who.isdigit() else who

    def last_before(self, who: str, day: int) -> tuple[int, str, str] | None:
        days = self.by_rider.get(self._id(who), [])
        at = bisect_right(days, (day, "\uffff", "\uffff"))
        return days[at - 1] if at else None

    def told(self, who: str, day: int | None, within: int) -> str:
        visit = None if day is None else self.last_before(who, day)
        if visit is None or day is None or day - visit[0] > within:
            return ""
        return f"visit {visit[1]} of {visit[2]}"

    def proposal(self, plan: TablePlan, columns: list[SourceColumn], plans: list[TablePlan], said: str) -> Proposal | None:
        riders = max(columns, key=self._share, default=None)
        if riders is None or self._share(riders) < _SHARED_RIDERS:
            return None
        best: tuple[int, float, SourceColumn] | None = None
        for date in (column for column in columns if column.date_forms is not None):
            forms = forms_said(date, plans, {}, "")
            gaps = [
                self._gap(who, day_of(when, forms)) for who, when in zip(riders.cells, date.cells, strict=True) if who and when
            ]
            covered = {n: sum(gap is not None and gap <= n for gap in gaps) / len(gaps) for n in WITHIN} if gaps else {}
            if not covered or covered[WITHIN[-1]] < _ENOUGH:
                continue
            days = next(n for n in WITHIN if covered[n] >= _AS_GOOD * covered[WITHIN[-1]])
            if best is None or (days, -covered[days]) < (best[0], -best[1]):
                best = days, covered[days], date
        if best is None:
            return None
        days, share, date = best
        told = _SAID.fullmatch(said)
        within = int(told[1]) if told else days
        reasons = (
            "no column names the visit",
            f"{share:.0%} of its rows find one of their rider on {date.heading!r} or up to {days} days before",
        )
        candidate = Candidate((riders, date), within_days=within)
        column = plan.table.column("session_id")
        return Proposal(plan.table.name, column, candidate, PROPOSED, reasons, is_told=bool(told))

    def _share(self, column: SourceColumn) -> float:
        known = sum(self._id(cell) in self.by_rider for cell in column.distinct)
        return known / max(len(column.distinct), 1)

    def _gap(self, who: str, day: int | None) -> int | None:
        visit = None if day is None else self.last_before(who, day)
        return None if visit is None or day is None else day - visit[0]
