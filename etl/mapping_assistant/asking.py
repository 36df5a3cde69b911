"""What is asked of a plan, one question at a time, and what the answers make of each column.

Units, signs, sides, and days that could be months are always asked: until they are answered, the line waits.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

from etl.mapping import ColumnMapping
from etl.mapping_assistant.carrying import KEY as CARRY
from etl.mapping_assistant.carrying import RIDER, VISIT, Carry, carry_of
from etl.mapping_assistant.changes import DATES, Log, log_of, moved
from etl.mapping_assistant.matching import found_visits, match_visits
from etl.mapping_assistant.plan import NO, Answers, Files, Proposal, TablePlan, candidates, propose
from etl.mapping_assistant.questions import (
    FLIP,
    KEEP,
    SIDES,
    SIGNS,
    SWAP,
    YES,
    Question,
    dates_question,
    is_choice,
    is_valid,
    matched_question,
    missing_column,
    of_column,
    side_question,
    unit_choices,
)
from etl.mapping_assistant.shapes import DATE_FORMS, SourceColumn, codes_of, unit_of
from etl.mapping_assistant.sides import side_words
from etl.mapping_assistant.times import forms_said, is_open
from etl.words import code_of
from shared.catalogue import catalogue
from shared.units import UNITS

__all__ = ["SIDES", "YES", "Asked", "Question", "is_choice", "is_valid"]
_ID_NAMES: Final = ("rider_id", "fitter_id", "session_id")
_MOST_STRIPPED: Final = 20


@dataclass(frozen=True)
class Asked:
    """A plan with the answers that it stands on."""

    files: Files
    answers: Answers = field(default_factory=dict)

    @cached_property
    def plans(self) -> list[TablePlan]:
        plans = propose(self.files, self.answers)
        match_visits(plans, self.files, self.answers)
        return plans

    @cached_property
    def log(self) -> Log | None:
        """What the changes would be of, where the setups may be a log of changes."""
        found = (log_of(plan, self.plans, self.files) for plan in self.plans)
        return next((log for log in found if log), None)

    @cached_property
    def carry(self) -> Carry | None:
        """What of the setups may be carried over from captures before."""
        plan = self._plan_of("foot_setups")
        log = self.log if self.answers.get("foot_setups.log", YES) == YES else None
        return carry_of(plan, self.plans, self.files, self.answers, log) if plan else None

    def _plan_of(self, name: str) -> TablePlan | None:
        return next((plan for plan in self.plans if plan.table.name == name), None)

    @cached_property
    def questions(self) -> list[Question]:
        """Everything that has no answer yet, in the order of the tables."""
        asked = [*self._zeros()]
        for plan in self.plans:
            asked += self._of_table(plan)
        if left_out := self.left_out:
            names = ", ".join(left_out[:5])
            words = f"In {names} nothing of the contract was found ({len(left_out)}). Leave them out at every load?"
            asked.append(Question("ignore_files", words, (YES, NO), YES, (), must=False))
        return [question for question in asked if question.key not in self.answers]

    @property
    def left_out(self) -> list[str]:
        """The files and sheets of which no table takes anything."""
        used = {plan.file for plan in self.plans}
        return [name for name in self.files if name not in used]

    def choices_of(self, key: str) -> tuple[str, ...]:
        """What may be answered beforehand to what would not be asked: another file or column, no table, a code to come."""
        name, _, rest = key.partition(".")
        if key in {"ignore_files", *(f"{one}.zeros" for one in _ID_NAMES)}:
            return (YES, NO)
        table = catalogue().get(name)
        if table is None:
            return ()
        known: dict[str, tuple[str, ...]] = {
            "": (YES, NO),
            "file": tuple(self.files),
            "sides": (YES, SWAP, NO),
            "log": (YES, NO),
            "log.dates": DATE_FORMS,
            "carry": (RIDER, VISIT, NO),
            "headings": (YES, NO),
        }
        column, _, of_column = rest.partition(".")
        if rest in known or column not in table.column_names:
            return known.get(rest, ())
        # Of a column that another answer leaves out.
        told = {"unit": (*unit_choices(table.column(column)), NO), "sign": SIGNS, "dates": DATE_FORMS}
        if of_column in told:
            return told[of_column]
        if of_column.startswith("codes."):
            return (*(table.column(column).codes or ("true", "false", "a whole number")), NO)
        found = [one for columns in self.files.values() for one in candidates(columns, table)]
        return (*(one.headings for one in found), "= …", NO) if rest == column else ()

    def waiting(self, plan: TablePlan, proposal: Proposal) -> list[str]:
        """The keys of the questions that a column waits for; an empty list where it may be loaded."""
        name = f"{plan.table.name}.{proposal.column.name}"
        keys = {name, f"{name}.unit", f"{name}.sign", f"{name}.dates"}
        if proposal.column.name == "side":
            keys.add(f"{plan.table.name}.sides")
        codes = f"{name}.codes."
        return [one.key for one in self.questions if one.must and (one.key in keys or one.key.startswith(codes))]

    def spec(self, plan: TablePlan, proposal: Proposal, side: str | None = None) -> dict[str, Any]:
        """What a mapping says of a column: the keys of a ColumnMapping, of one side where each side has its own."""
        if proposal.candidate is None:
            return {"value": proposal.value}
        name = f"{plan.table.name}.{proposal.column.name}"
        if proposal.candidate.within_days is not None:
            return self._matched(name, proposal.candidate.sources, proposal.candidate.within_days)
        source = proposal.candidate.of(side)[0]
        headings = [one.heading for one in proposal.candidate.of(side)]
        spec: dict[str, Any] = {"from": headings if len(headings) > 1 else source.origin or headings[0]}
        spec |= {"pattern": source.pattern} if source.pattern and len(headings) == 1 else {}
        if proposal.column.name in _ID_NAMES:
            id_name = "rider_id" if proposal.candidate.is_joined else proposal.column.name
            return spec | ({"without_zeros": True} if self.answers.get(f"{id_name}.zeros") == YES else {})
        spec |= self._cells(name, proposal, source, side)
        is_carried = name.startswith("foot_setups.") and self.carry and proposal.column.name in self.carry.columns
        said = self.answers.get(CARRY, NO)
        return spec | ({"carry": said} if is_carried and said != NO else {})

    def _matched(self, name: str, sources: tuple[SourceColumn, ...], within_days: int) -> dict[str, Any]:
        """A visit by rider and date."""
        parts: list[dict[str, Any]] = [
            {"from": one.origin or one.heading} | ({"pattern": one.pattern} if one.pattern else {}) for one in sources
        ]
        rider, date = parts
        if self.answers.get("rider_id.zeros") == YES:
            rider |= {"without_zeros": True}
        forms = forms_said(sources[1], self.plans, self.answers, f"{name}.dates")
        date |= {"date_form": forms[0]} if len(forms) == 1 else {"date_forms": forms} if forms else {}
        return {"rider": rider, "date": date, "within_days": within_days}

    def mapping_of(self, plan: TablePlan, proposal: Proposal, side: str | None = None) -> dict[str, ColumnMapping]:
        """The column, and the side that its sign may depend on, as the loader takes them."""
        columns = {proposal.column.name: ColumnMapping.model_validate(self.spec(plan, proposal, side))}
        if plan.is_wide and side:
            columns["side"] = ColumnMapping.model_validate({"value": self.side_of_column(plan, side)})
        elif (own := plan.columns.get("side")) and proposal.column.name != "side":
            columns["side"] = ColumnMapping.model_validate(self.spec(plan, own))
        return columns

    def side_of_column(self, plan: TablePlan, written: str) -> str:
        """The rider's side that the columns headed as `written` stand for."""
        is_swapped = self.answers.get(f"{plan.table.name}.sides") == SWAP
        return written if not is_swapped else "right" if written == "left" else "left"

    def _cells(self, name: str, proposal: Proposal, source: SourceColumn, side: str | None) -> dict[str, Any]:
        column = proposal.column
        spec: dict[str, Any] = {}
        if column.codes or column.type in {"boolean", "integer"}:
            codes, unknown = codes_of(source, column, side)
            told = {cell: self.answers.get(f"{name}.codes.{cell}", NO) for cell in unknown}
            codes |= {cell: int(code) if column.type == "integer" else code for cell, code in told.items() if code != NO}
            if column.name == "side" and self.answers.get(f"{name}s") == SWAP:
                codes = {cell: "right" if code == "left" else "left" for cell, code in _all_sides(source, codes).items()}
            spec |= {"codes": codes} if codes else {}
        if column.type in {"number", "integer"} and "codes" not in spec:
            words = source.beside_numbers[:_MOST_STRIPPED]
            spec |= {"strip": words} if words else {}
            spec |= {"decimal": ","} if source.has_decimal_commas else {}
        if column.unit in UNITS and (unit := self.answers.get(f"{name}.unit", self._proposed_unit(source, proposal))):
            spec["unit"] = unit
        sign = self.answers.get(f"{name}.sign", KEEP)
        if column.sign and sign != KEEP:
            spec["flip"] = True if sign == FLIP else sign.removeprefix("flip ")
        if column.type in {"date", "datetime"} and (forms := source.date_forms):
            if said := self.answers.get(f"{name}.dates"):
                forms = [said, *forms[1:]]
            spec |= {"date_form": forms[0]} if len(forms) == 1 else {"date_forms": forms}
        return spec

    def _proposed_unit(self, source: SourceColumn, proposal: Proposal) -> str | None:
        return unit_of(source, proposal.column)[0]

    def _zeros(self) -> Iterator[Question]:
        """Ids that are the same but for their leading zeros, in one file or in two."""
        for name in _ID_NAMES:
            ids = {
                cell
                for plan in self.plans
                for of in {name, "session_id"}
                if (one := plan.columns.get(of)) and one.candidate and not one.candidate.is_joined
                if (of == name) == (one.candidate.within_days is None) and name in {of, "rider_id"}
                for cell in one.candidate.sources[0].distinct
            }
            alike = sorted(cell for cell in ids if cell.isdigit() and cell != cell.lstrip("0") and cell.lstrip("0") in ids)
            if alike:
                words = f"{alike[0]!r} stands beside {alike[0].lstrip('0')!r} ({len(alike)} such pairs). Are they one {name}?"
                yield Question(f"{name}.zeros", words, (YES, NO), YES, ("numbers that differ in leading zeros alone",))

    def _of_table(self, plan: TablePlan) -> Iterator[Question]:
        name = plan.table.name
        if self.rows_of_heading(plan) and plan is next(one for one in self.plans if one.file == plan.file):
            words = f"In {plan.file} two rows seem to name the columns, one above the other. Is it so? (no: leave the file out)"
            yield Question(f"{name}.headings", words, (YES, NO), YES, ("the second row holds no measure",), True, name)
        for column in plan.table.columns:
            proposal = plan.columns.get(column.name)
            if proposal is not None and proposal.candidate and proposal.candidate.within_days is not None:
                yield from self._of_matched(plan, proposal)
            elif proposal is not None:
                yield from of_column(self.files, plan, proposal)
            elif column.name in self.missing(plan):
                yield missing_column(self.files, plan, column.name)
            if column.name == "side" and plan.is_wide:
                yield side_question(plan, side_words(plan))
        if name == "foot_setups":
            yield from self._of_setups(plan)

    def _of_matched(self, plan: TablePlan, proposal: Proposal) -> Iterator[Question]:
        if not proposal.is_sure:
            yield matched_question(plan, proposal)
        if proposal.candidate and is_open(date := proposal.candidate.sources[1], self.plans):
            yield dates_question(f"{plan.table.name}.session_id.dates", date, plan.table.name, "session_id")

    def _of_setups(self, plan: TablePlan) -> Iterator[Question]:
        if self.log:
            yield Question(
                f"{plan.table.name}.log", self.log.words(plan), (YES, NO), YES, (self.log.reason(),), True, plan.table.name
            )
            if self.log.changed_at and is_open(self.log.changed_at, self.plans):
                yield dates_question(DATES, self.log.changed_at, plan.table.name, "")
        if self.carry:
            choices = (RIDER, NO) if self.carry.of_log else (RIDER, VISIT, NO)
            yield Question(CARRY, self.carry.words(plan), choices, self.carry.proposed, (), True, plan.table.name)

    def missing(self, plan: TablePlan) -> list[str]:
        """The required columns that nothing tells yet; a log by time needs no number of captures."""
        log = self.log if plan.table.name == "foot_setups" and self.answers.get("foot_setups.log", YES) == YES else None
        untold = {"capture_no", "session_id"} if log and log.is_by_time else set()
        return [name for name in plan.missing if name not in untold]

    def rows_of_heading(self, plan: TablePlan) -> list[tuple[str, str]]:
        """Both rows of a file's headings, where it has two, beside what they become."""
        return [(one.two_rows, one.heading) for one in self.files[plan.file] if one.two_rows]

    def waiting_as_a_whole(self, plan: TablePlan) -> list[str]:
        """The keys of the questions that a whole table waits for, beside those of its columns."""
        of_table = {f"{plan.table.name}.{word}" for word in ("log", "log.dates", "carry")} | (
            {f"{plan.table.name}.sides"} if plan.is_wide else set()
        )
        of_file = {f"{one.table.name}.headings" for one in self.plans if one.file == plan.file}
        return [one.key for one in self.questions if one.key in of_table | of_file]

    def captures_of_log(self, plan: TablePlan) -> TablePlan | None:
        """Of a table whose rows the reader said are changes that hold until the next one, the captures that they hold for."""
        is_log = plan.table.name == "foot_setups" and self.answers.get("foot_setups.log") == YES
        return self.log.captures if self.log and is_log else None

    def log_times(self) -> dict[str, dict[str, Any]]:
        """What a mapping says of the times of a log; nothing where its changes name captures."""
        return self.log.times(self.plans, self.answers) if self.log else {}

    def sample_of_rows(self, question: Question, wanted: int) -> list[tuple[str, str]]:
        """Of a question about rows and no column: some of them beside what they would become."""
        plan = self._plan_of(question.table)
        word = question.key.partition(".")[2]
        if plan is None:
            return []
        if word == "headings":
            return self.rows_of_heading(plan)[:wanted]
        if word == "log" and self.log and self.log.is_by_time:
            return moved(plan, self.log, self.plans, self.answers, wanted)
        if word == "carry" and self.carry:
            return self.carry.sample(question.proposed or "", wanted)
        return found_visits(plan, self.plans, self.answers, wanted) if word.startswith("session_id") else []


def _all_sides(source: SourceColumn, codes: dict[str, Any]) -> dict[str, Any]:
    """Every text of a column of sides with what it says, those in the contract's own words too."""
    return {
        cell: codes.get(cell) or code_of("side", cell) for cell in source.distinct if codes.get(cell) or code_of("side", cell)
    }
