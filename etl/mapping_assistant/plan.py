"""Proposes which column of which file each column of the contract comes from: evidence, score and reason, all to be asked.

A proposal is made of likeness of headings, of words of units and sides, of values, and of ids that files share.
Answers of the reader stand before every proposal: a plan is a pure function of the columns and of the answers.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from etl.mapping_assistant.shapes import Fit, SourceColumn, fit_of
from etl.words import code_of, is_unit_alone, likeness, says_number, side_of, stem, table_likeness, units_in
from shared.catalogue import Column, Table, catalogue

PROPOSED: Final = 0.5
SURE: Final = 0.78
_HEADING, _VALUES, _UNIT, _SHARED = 0.65, 0.25, 0.1, 0.25
_BY_VALUES_ALONE: Final = 0.55
_SHARES_IDS: Final = 0.6
_NUMBER_OF_ITS_OWN: Final = 0.9
_UNIT_ALONE: Final = 0.75
# What words and values together reach, and values alone do not: a table is proposed by no less.
_A_TABLE: Final = 0.6
_FILE: Final = 0.08
# Written by fitledger itself (`fitledger draw`): no foreign export holds it.
_OWN: Final = frozenset({"drawn_orders"})
NO: Final = "no"
CONSTANT: Final = "= "
BETWEEN: Final = " | "

Answers = Mapping[str, str]


@dataclass(frozen=True)
class Candidate:
    """What a column of the contract could be made of: one source column, or one a side; or several that are joined; or, of a
    visit, a rider and a date with the days within which the visit was before it."""

    sources: tuple[SourceColumn, ...]
    is_pair: bool = False
    is_joined: bool = False
    within_days: int | None = None

    @property
    def headings(self) -> str:
        return BETWEEN.join(source.heading for source in self.sources)

    def of(self, side: str | None) -> tuple[SourceColumn, ...]:
        """The source columns of a side."""
        return self.sources if not self.is_pair else self.sources[:1] if side == "left" else self.sources[1:]


@dataclass(frozen=True)
class Proposal:
    """A candidate for a column of a table, its score from 0 to 1, and the reasons in words."""

    table: str
    column: Column
    candidate: Candidate | None
    score: float
    reasons: tuple[str, ...]
    value: str | None = None
    is_told: bool = False

    @property
    def is_sure(self) -> bool:
        return self.is_told or self.score >= SURE


@dataclass
class TablePlan:
    """One table of the contract: the file it is read from, a proposal a column, the required columns that are missing.

    is_derived: no file tells it, and the ids of the visits do.
    """

    table: Table
    file: str
    columns: dict[str, Proposal] = field(default_factory=dict)
    is_derived: bool = False

    @property
    def is_wide(self) -> bool:
        """Whether left and right stand side by side."""
        return any(one.candidate is not None and one.candidate.is_pair for one in self.columns.values())

    @property
    def missing(self) -> list[str]:
        return [
            column.name
            for column in self.table.columns
            if column.required and column.name not in self.columns and not (column.name == "side" and self.is_wide)
        ]


Files = Mapping[str, list[SourceColumn]]


def foreign_tables() -> list[Table]:
    """The tables that a foreign export may hold, in the order of the catalogue."""
    return [table for table in catalogue().values() if table.name not in _OWN]


def propose(files: Files, answers: Answers) -> list[TablePlan]:
    """A plan for each table that the files seem to hold, in the order of the catalogue."""
    plans: dict[str, TablePlan] = {}
    taken = {name: _assigned(name, columns) for name, columns in files.items()}
    for table in foreign_tables():
        if answers.get(table.name) == NO:
            continue
        best = max(
            (plan for name in files if (plan := _plan_of(table, name, files[name], taken[name], plans, answers))),
            key=_weight,
            default=None,
        )
        if best:
            plans[table.name] = best
    _derive(plans, files, answers)
    return [plans[name] for name in catalogue() if name in plans]


def candidates(columns: list[SourceColumn], table: Table) -> list[Candidate]:
    """Every column of a file by itself, and each left with its right where the table has sides."""
    by_stem: dict[str, dict[str, SourceColumn]] = {}
    for source in columns:
        if (side := side_of(source.heading)) and stem(source.heading):
            by_stem.setdefault(stem(source.heading), {}).setdefault(side, source)
    pairs = [Candidate((both["left"], both["right"]), is_pair=True) for both in by_stem.values() if len(both) == 2]
    of_pairs = {id(source) for pair in pairs for source in pair.sources}
    single = [Candidate((source,)) for source in columns if id(source) not in of_pairs]
    return single + (pairs if "side" in table.column_names else [])


def scored(table: Table, column: Column, candidate: Candidate, ids: frozenset[str] = frozenset()) -> Proposal:
    """How well a candidate stands for a column, with the reasons; `ids` are the keys that the column would refer to."""
    first = candidate.sources[0]
    like, word = likeness(first.heading, column.name)
    if table.key[:1] == (column.name,) and says_number(first.heading) and len(first.distinct) == len(first.cells):
        like, word = max(like, _NUMBER_OF_ITS_OWN), "number"
    if not like and is_unit_alone(first.heading) and column.unit in units_in(first.heading) and _is_only_of_unit(column):
        like, word = _UNIT_ALONE, str(column.unit)
    fits = [fit_of(source, column) for source in candidate.sources]
    fit = min(fits, key=lambda one: one.share)
    if fit.share == 0:
        return Proposal(table.name, column, candidate, 0.0, (fit.reason,))
    reasons = [f"the heading is like {word!r}"] if like else []
    score = _HEADING * like + _VALUES * fit.share if like else _without_heading(column, candidate, fit)
    if column.unit and first.units:
        score += _UNIT
        reasons.append(f"{first.units[0]} is named")
    if ids:
        share = len(first.distinct & ids) / max(len(first.distinct), 1)
        score = max(score + _SHARED * (share if share > 0.5 else -1), _SHARES_IDS if share > 0.9 and len(ids) > 3 else 0.0)
        reasons.append(f"{share:.0%} of its ids stand in the other file")
    if candidate.is_pair:
        reasons.append("one column a side")
    return Proposal(table.name, column, candidate, min(score, 1.0), (*reasons, fit.reason))


def _without_heading(column: Column, candidate: Candidate, fit: Fit) -> float:
    """Where the heading says nothing: texts that are known to be codes, and a file's only dates."""
    n_texts = len(candidate.sources[0].distinct)
    is_told = column.codes and column.type == "string"
    # Arrival and departure in words are two captures.
    is_moment = column.name == "capture_no" and all(code_of(column.name, cell) for cell in candidate.sources[0].distinct)
    if (is_told or is_moment) and fit.share > 0.9 and n_texts > 1:
        return _BY_VALUES_ALONE
    return 0.0


def _is_only_of_unit(column: Column) -> bool:
    """Whether no other column of the contract has the unit, as cm and kg tell the rider's body."""
    return sum(one.unit == column.unit for table in catalogue().values() for one in table.columns) == 1


def _only_dates(columns: list[SourceColumn]) -> Proposal | None:
    """A file's only column of dates, as the day of a visit."""
    column = catalogue()["fit_sessions"].column("session_date")
    dates = [source for source in columns if fit_of(source, column).share]
    reasons = ("the only dates of the file",)
    return Proposal("fit_sessions", column, Candidate((dates[0],)), _BY_VALUES_ALONE, reasons) if len(dates) == 1 else None


def _assigned(file: str, columns: list[SourceColumn]) -> dict[str, dict[str, Proposal]]:
    """For each table the proposals of its own columns from this file, each source column given once, best first."""
    found = [
        scored(table, column, candidate)
        for table in foreign_tables()
        for candidate in candidates(columns, table)
        for column in table.columns
        if column.name not in _shared_columns(table)
    ]
    if only := _only_dates(columns):
        found.append(only)
    beside = {name: _FILE * table_likeness(_name_of(file), name) for name in catalogue()}
    found.sort(key=lambda one: one.score + beside[one.table], reverse=True)
    keys = {
        id(source)
        for table in foreign_tables()
        for name in _shared_columns(table)
        for source in columns
        if scored(table, table.column(name), Candidate((source,))).score >= SURE
    }
    # What is surely a key is no less sure measure beside it.
    found = [one for one in found if one.is_sure or one.candidate is None or id(one.candidate.sources[0]) not in keys]
    given: dict[str, dict[str, Proposal]] = {}
    used: set[int] = set()
    for one in found:
        sources = {id(source) for source in one.candidate.sources} if one.candidate else set()
        if one.score >= PROPOSED and not sources & used and one.column.name not in given.get(one.table, {}):
            given.setdefault(one.table, {})[one.column.name] = one
            used |= sources
    return given


def _shared_columns(table: Table) -> set[str]:
    """Columns by which rows are known and joined: several tables may take them from the same source column."""
    required = {key.column for key in table.foreign_keys if table.column(key.column).required}
    return {*table.key, *required, "studio_id"} & set(table.column_names)


def _plan_of(
    table: Table,
    file: str,
    columns: list[SourceColumn],
    taken: Mapping[str, dict[str, Proposal]],
    plans: Mapping[str, TablePlan],
    answers: Answers,
) -> TablePlan | None:
    own = dict(taken.get(table.name, {}))
    if not own or answers.get(f"{table.name}.file", file) != file:
        return None
    if table.name == "fitters" and not table_likeness(_name_of(file), "fitters"):
        return None  # names in a file of another name may be those of riders
    if table.name != "fit_sessions" and max(one.score for one in own.values()) < _A_TABLE:
        return None
    plan = TablePlan(table, file, own)
    used = {id(source) for one in own.values() if one.candidate for source in one.candidate.sources}
    open_to = [one for one in candidates(columns, table) if not one.is_pair and not used & {id(one.sources[0])}]
    found = [
        scored(table, table.column(name), candidate, _ids_of(table, name, plans))
        for name in _shared_columns(table)
        for candidate in open_to
    ]
    for one in sorted(found, key=lambda one: one.score, reverse=True):
        is_free = one.candidate and id(one.candidate.sources[0]) not in used
        if one.score >= PROPOSED and is_free and one.candidate and one.column.name not in plan.columns:
            plan.columns[one.column.name] = one
            used.add(id(one.candidate.sources[0]))
    if plan.is_wide:
        plan.columns.pop("side", None)
    if table.name == "fit_sessions" and not {"rider_id", "session_date"} <= set(plan.columns):
        return None
    _tell(plan, columns, answers)
    if answers.get(f"{table.name}.sides") == NO:
        plan.columns.pop("side", None)
        return None if plan.is_wide else plan
    return plan


def _tell(plan: TablePlan, columns: list[SourceColumn], answers: Answers) -> None:
    """Puts what the reader said of a column in the place of what was proposed."""
    by_heading = {source.heading: source for source in columns}
    for column in plan.table.columns:
        said = answers.get(f"{plan.table.name}.{column.name}")
        if NO in {answers.get(f"{plan.table.name}.{column.name}.unit"), said}:
            said = NO
        if said is None or (column.name == "side" and plan.is_wide):
            continue
        if said == NO:
            plan.columns.pop(column.name, None)
        elif said.startswith(CONSTANT):
            value = said.removeprefix(CONSTANT)
            plan.columns[column.name] = Proposal(plan.table.name, column, None, 1.0, ("you said so",), value, is_told=True)
        elif all(heading in by_heading for heading in said.split(BETWEEN)):
            sources = tuple(by_heading[heading] for heading in said.split(BETWEEN))
            candidate = Candidate(sources, is_pair=len(sources) == 2)
            plan.columns[column.name] = Proposal(plan.table.name, column, candidate, 1.0, ("you said so",), is_told=True)


def _ids_of(table: Table, name: str, plans: Mapping[str, TablePlan]) -> frozenset[str]:
    """The keys that a column would refer to, where the table that holds them is planned already."""
    for key in table.foreign_keys:
        proposal = plans[key.table].columns.get(key.target) if key.column == name and key.table in plans else None
        if proposal and proposal.candidate and not proposal.candidate.is_joined:
            return proposal.candidate.sources[0].distinct
    return frozenset()


def _weight(plan: TablePlan) -> float:
    keyed = sum(name in plan.columns for name in plan.table.key) / len(plan.table.key)
    return sum(one.score for one in plan.columns.values()) + keyed + 2 * table_likeness(_name_of(plan.file), plan.table.name)


def _name_of(file: str) -> str:
    """A file's name without its ending, or the sheet's."""
    return file.rpartition(", sheet ")[2] if ", sheet " in file else file.partition(".")[0]


def _derive(plans: dict[str, TablePlan], files: Files, answers: Answers) -> None:
    """What follows from the visits where no file of its own tells it: a key of rider and day, riders, fitters."""
    sessions = plans.get("fit_sessions")
    if sessions is None:
        return
    given = sessions.columns.get("session_id")
    if given is None or (not given.is_told and _is_by_rider(sessions, given)):
        with_rider = "session_date" if given is None else "session_id"
        for plan in plans.values():
            if "session_id" in plan.table.column_names and (given is not None or "session_id" not in plan.columns):
                _join(plan, sessions, with_rider, files[plan.file])
    for name, key in (("riders", "rider_id"), ("fitters", "fitter_id")):
        if name in plans or key not in sessions.columns or answers.get(name) == NO:
            continue
        table, given = catalogue()[name], sessions.columns[key]
        plans[name] = TablePlan(table, sessions.file, is_derived=True)
        reason = f"no file of {name} was found; they are known from the visits alone"
        for column in (column for column in table.columns if column.required):
            plans[name].columns[column.name] = Proposal(name, column, given.candidate, 1.0, (reason,), given.value)


def _is_by_rider(sessions: TablePlan, session_id: Proposal) -> bool:
    """Whether the numbers of visits begin anew with each rider: alone they stand several times, with the rider once."""
    rider = sessions.columns["rider_id"].candidate
    if session_id.candidate is None or rider is None:
        return False
    alone = session_id.candidate.sources[0].cells
    both = set(zip(rider.sources[0].cells, alone, strict=True))
    return len(set(alone)) < len(alone) and len(both) == len(alone)


def _join(plan: TablePlan, sessions: TablePlan, with_rider: str, columns: list[SourceColumn]) -> None:
    """Where no column alone tells a visit, its rider tells it with the day, or with a number that begins anew with each."""
    sources: list[SourceColumn] = []
    for name in ("rider_id", with_rider):
        column = sessions.table.column(name)
        found = [scored(sessions.table, column, Candidate((source,))) for source in columns]
        own = sessions.columns[name] if plan is sessions else max(found, key=lambda one: one.score, default=None)
        if own is None or own.candidate is None or own.score < PROPOSED:
            return
        sources += own.candidate.sources
    reason = f"no column alone tells a visit; rider_id and {with_rider} together do"
    candidate = Candidate(tuple(sources), is_joined=True)
    plan.columns["session_id"] = Proposal(plan.table.name, plan.table.column("session_id"), candidate, PROPOSED, (reason,))
