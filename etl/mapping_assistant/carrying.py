"""Empty cells of a setup: whether each is what stood before it, in its visit or at the rider's last one; proposed and asked."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from etl.mapping_assistant.changes import Log
from etl.mapping_assistant.plan import Answers, Files, Proposal, TablePlan
from etl.mapping_assistant.shapes import SourceColumn
from etl.mapping_assistant.times import day_of, forms_said, seconds_of
from etl.words import code_of, number_in

RIDER: Final = "rider"
VISIT: Final = "visit"
KEY: Final = "foot_setups.carry"
_FEWEST: Final = 3
_SHARE: Final = 0.03


@dataclass(frozen=True)
class Carry:
    """Which columns have empty cells, how many rows of how many, how many of them at the first capture of a visit, and some of
    them in words beside what stood before them."""

    columns: tuple[str, ...]
    n_empty: int
    n_rows: int
    n_first: int
    rows: tuple[tuple[str, str, str], ...]
    of_log: str = ""

    @property
    def proposed(self) -> str:
        return RIDER if self.n_first else VISIT

    def words(self, plan: TablePlan) -> str:
        """The question."""
        if self.of_log:
            return (
                f"{self.n_first} feet have no row in {plan.file} at or before the first capture of their visit. Do they begin "
                "as they left the rider's last visit? (rider: yes; no: what they had is not recorded)"
            )
        return (
            f"{self.n_empty:,} of {self.n_rows:,} rows of {plan.file} leave {', '.join(self.columns)} empty, {self.n_first:,} "
            "of them at the first capture of their visit. Does an empty cell mean that nothing was changed? (rider: it is as "
            "before, at the rider's last visit too; visit: as before in the same visit; no: it is not recorded)"
        )

    def sample(self, said: str, wanted: int) -> list[tuple[str, str]]:
        """Empty cells beside what would stand there."""
        return [(cell, by_rider if said == RIDER else by_visit) for cell, by_visit, by_rider in self.rows[:wanted]]


@dataclass(frozen=True)
class _Row:
    visit: str
    at: float
    side: str
    cells: tuple[str | None, ...]


def carry_of(plan: TablePlan, plans: Sequence[TablePlan], files: Files, answers: Answers, log: Log | None) -> Carry | None:
    """What of the setups may be carried over; None where nothing is empty, or rows are not told apart."""
    if plan.table.name != "foot_setups":
        return None
    names = tuple(
        name
        for name, one in plan.columns.items()
        if plan.table.column(name).required and name not in plan.table.key and one.candidate
    )
    if not names:
        return None
    rows = list(_rows(plan, names, plans, answers, log))
    if log is not None:
        return _of_log(plan, rows, log, plans, answers)
    seen: set[tuple[str, str]] = set()
    days = _days(plans, answers)
    rows.sort(key=lambda row: (*days.get(row.visit, ("", 0)), row.visit, row.at))
    stood: dict[tuple[str, str], list[str | None]] = {}
    last: dict[tuple[str, str], list[str | None]] = {}
    n_empty = n_first = 0
    told = []
    for row in rows:
        who = days.get(row.visit, (row.visit, 0))[0]
        of_visit, of_rider = (
            stood.setdefault((row.visit, row.side), [None] * len(names)),
            last.setdefault((who, row.side), [None] * len(names)),
        )
        is_first = (row.visit, row.side) not in seen
        seen.add((row.visit, row.side))
        empty = [no for no, cell in enumerate(row.cells) if not cell]
        if empty:
            n_empty += 1
            n_first += is_first
            no = empty[0]
            told.append(
                (f"{row.visit}, capture {row.at:g}, {row.side}: {names[no]} empty", of_visit[no] or "", of_rider[no] or "")
            )
        for no, cell in enumerate(row.cells):
            if cell:
                of_visit[no] = of_rider[no] = cell
    if n_empty < max(_FEWEST, _SHARE * len(rows)):
        return None
    columns = tuple(name for no, name in enumerate(names) if any(not row.cells[no] for row in rows))
    # Those that find something first: an empty cell beside nothing tells less.
    told.sort(key=lambda one: (not one[2], bool(one[1])))
    return Carry(columns, n_empty, len(rows), n_first, tuple(told))


def _of_log(plan: TablePlan, rows: list[_Row], log: Log, plans: Sequence[TablePlan], answers: Answers) -> Carry | None:
    """Feet whose visit begins before the first change that is told of it."""
    captures = list(_rows(log.captures, (), plans, answers, log))
    begun: dict[tuple[str, str], float] = {}
    for row in captures:
        key = (row.visit, row.side)
        begun[key] = min(begun.get(key, row.at), row.at)
    changed: dict[tuple[str, str], float] = {}
    for row in rows:
        key = (row.visit, row.side)
        changed[key] = min(changed.get(key, row.at), row.at)
    if not set(changed) & set(begun):
        return None
    late = [key for key, at in begun.items() if changed.get(key, float("inf")) > at]
    if len(late) < max(_FEWEST, _SHARE * len(begun)):
        return None
    days = _days(plans, answers)
    with_last = sorted(late, key=lambda key: (-days.get(key[0], ("", 0))[1], key))
    ordered = sorted(rows, key=lambda row: (days.get(row.visit, ("", 0))[1], row.at))
    told = []
    for visit, side in with_last:
        who, day = days.get(visit, (visit, 0))
        before = [
            row for row in ordered if row.side == side and days.get(row.visit, ("", 0))[0] == who and days[row.visit][1] < day
        ]
        told.append(
            (f"{visit}, first capture, {side}", "", ", ".join(cell or "" for cell in before[-1].cells) if before else "")
        )
    names = tuple(name for name in plan.columns if name not in plan.table.key)
    told.sort(key=lambda one: not one[2])
    return Carry(names, len(late), len(begun), len(late), tuple(told), of_log=plan.file)


def _rows(
    plan: TablePlan, names: tuple[str, ...], plans: Sequence[TablePlan], answers: Answers, log: Log | None
) -> Iterator[_Row]:
    """The feet of a file's rows, each with the cells of `names`, and its place in the order of the visit."""
    visit = _source(plan.columns.get("session_id"))
    is_time = log is not None and log.is_by_time
    at = (
        (log.captured_at if log and plan is log.captures else log.changed_at if log else None)
        if is_time
        else _source(plan.columns.get("capture_no"))
    )
    if visit is None or at is None:
        return
    forms = forms_said(at, plans, answers, "")
    side = plan.columns.get("side")
    for of_side in ("left", "right") if plan.is_wide else (None,):
        columns = [one.candidate.of(of_side)[0].cells for name in names if (one := plan.columns[name]).candidate]
        sides = _source(side)
        told = (of_side,) * len(visit.cells) if of_side else sides.cells if sides else ("",) * len(visit.cells)
        for no, which in enumerate(visit.cells):
            place = seconds_of(at.cells[no], forms) if is_time else number_in(at.cells[no] or "")
            if which and place is not None:
                yield _Row(
                    which, place, code_of("side", told[no] or "") or str(told[no]), tuple(cells[no] for cells in columns)
                )


def _days(plans: Sequence[TablePlan], answers: Answers) -> dict[str, tuple[str, int]]:
    """The rider and the day of each visit."""
    sessions = next((one for one in plans if one.table.name == "fit_sessions"), None)
    if sessions is None:
        return {}
    visit, rider, date = (_source(sessions.columns.get(name)) for name in ("session_id", "rider_id", "session_date"))
    if visit is None or rider is None or date is None:
        return {}
    forms = forms_said(date, plans, answers, "fit_sessions.session_date.dates")
    rows = zip(visit.cells, rider.cells, date.cells, strict=True)
    return {which: (who, day) for which, who, when in rows if which and who and (day := day_of(when, forms)) is not None}


def _source(proposal: Proposal | None) -> SourceColumn | None:
    """The one column that a proposal is made of; None where several are joined."""
    candidate = proposal.candidate if proposal else None
    return candidate.sources[0] if candidate and not candidate.is_joined and candidate.within_days is None else None
