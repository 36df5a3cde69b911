"""What is asked of a plan, one question at a time, and what the answers make of each column.

Units, signs, sides, and days that could be months are always asked: until they are answered, the line waits.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

from etl.mapping import ColumnMapping
from etl.mapping_assistant.plan import CONSTANT, NO, Answers, Files, Proposal, TablePlan, candidates, propose
from etl.mapping_assistant.shapes import DATE_FORMS, SourceColumn, codes_of, is_ambiguous, unit_of
from etl.mapping_assistant.sides import side_words, sides_told
from etl.mapping_assistant.words import code_of, number_in, plain, vocabulary
from shared.catalogue import Column, catalogue
from shared.units import UNITS

YES: Final = "yes"
SWAP: Final = "swap"
KEEP: Final = "keep"
FLIP: Final = "flip"
SIGNS: Final = (KEEP, FLIP, "flip left", "flip right")
SIDES: Final = ("left", "right")
_UNITS: Final = {"mm": ("mm", "cm", "m", "in"), "cm": ("cm", "m", "mm", "in"), "deg": ("deg", "rad"), "kg": ("kg", "lb", "g")}
_ID_NAMES: Final = ("rider_id", "fitter_id", "session_id")
_MOST_STRIPPED: Final = 20
# A file of setups with fewer rows than this share of the captures may be a log of changes.
_A_LOG: Final = 0.8


@dataclass(frozen=True)
class Question:
    """One question: its key in a file of answers, its words, what may be answered, what is proposed and why."""

    key: str
    words: str
    choices: tuple[str, ...]
    proposed: str | None = None
    reasons: tuple[str, ...] = ()
    must: bool = True
    table: str = ""
    column: str = ""


@dataclass(frozen=True)
class Asked:
    """A plan with the answers that it stands on."""

    files: Files
    answers: Answers = field(default_factory=dict)

    @cached_property
    def plans(self) -> list[TablePlan]:
        return propose(self.files, self.answers)

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
        source = proposal.candidate.of(side)[0]
        headings = [one.heading for one in proposal.candidate.of(side)]
        spec: dict[str, Any] = {"from": headings if len(headings) > 1 else source.origin or headings[0]}
        spec |= {"pattern": source.pattern} if source.pattern and len(headings) == 1 else {}
        if proposal.column.name in _ID_NAMES:
            id_name = "rider_id" if proposal.candidate.is_joined else proposal.column.name
            return spec | ({"without_zeros": True} if self.answers.get(f"{id_name}.zeros") == YES else {})
        return spec | self._cells(name, proposal, source, side)

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
                if (one := plan.columns.get(name)) and one.candidate and not one.candidate.is_joined
                for cell in one.candidate.sources[0].distinct
            }
            alike = sorted(cell for cell in ids if cell.isdigit() and cell != cell.lstrip("0") and cell.lstrip("0") in ids)
            if alike:
                words = f"{alike[0]!r} stands beside {alike[0].lstrip('0')!r} ({len(alike)} such pairs). Are they one {name}?"
                yield Question(f"{name}.zeros", words, (YES, NO), YES, ("numbers that differ in leading zeros alone",))

    def _of_table(self, plan: TablePlan) -> Iterator[Question]:
        for column in plan.table.columns:
            proposal = plan.columns.get(column.name)
            if proposal is not None:
                yield from self._of_column(plan, proposal)
            elif column.name in plan.missing:
                yield self._missing(plan, column.name)
            if column.name == "side" and plan.is_wide:
                yield _side_question(plan, side_words(plan))
        if words := self._log_words(plan):
            yield Question(f"{plan.table.name}.log", words, (YES, NO), YES, ("it holds far fewer rows",), True, plan.table.name)

    def captures_of_log(self, plan: TablePlan) -> TablePlan | None:
        """Of a table whose rows may be changes that hold until the next one, the captures that they hold for; else None."""
        captures = next((one for one in self.plans if one.table.name == "knee_captures"), None)
        if (
            plan.table.name != "foot_setups"
            or captures is None
            or captures.file == plan.file
            or "capture_no" not in plan.columns
        ):
            return None
        n_setups, n_captures = (_n_rows(self.files[one.file], one) for one in (plan, captures))
        return captures if n_setups < _A_LOG * n_captures else None

    def is_log(self, plan: TablePlan) -> bool:
        """Whether the reader said that a row holds until the next change."""
        return self.answers.get(f"{plan.table.name}.log") == YES and self.captures_of_log(plan) is not None

    def _log_words(self, plan: TablePlan) -> str:
        captures = self.captures_of_log(plan)
        if captures is None:
            return ""
        return (
            f"{plan.file} tells fewer setups than {captures.file} holds captures. Is each of its rows a change, that "
            "holds until the next one of the same foot and visit? (no: a row holds for its own capture alone, others are not "
            "recorded)"
        )

    def _missing(self, plan: TablePlan, name: str) -> Question:
        column = plan.table.column(name)
        headings = tuple(source.heading for source in self.files[plan.file])
        words = (
            f"Which column of {plan.file} is {plan.table.name}.{name}? {column.description} It is required: type a heading, or "
            f"'= ' and a value that holds for every row{' (' + ', '.join(column.codes) + ')' if column.codes else ''}."
        )
        return Question(f"{plan.table.name}.{name}", words, (*headings, "= …", NO), None, (), True, plan.table.name, name)

    def _of_column(self, plan: TablePlan, proposal: Proposal) -> Iterator[Question]:
        name, column = f"{plan.table.name}.{proposal.column.name}", proposal.column
        place = {"table": plan.table.name, "column": column.name}
        if proposal.candidate is None:
            return
        source = proposal.candidate.sources[0]
        if column.name == "side":
            yield from self._codes(name, proposal, place)
            yield _side_question(plan, ", ".join(sorted(source.distinct)[:6]), f"{source.heading!r}: ")
            return
        if not proposal.is_sure:
            headings = tuple(one.heading for one in self.files[plan.file] if one.heading != proposal.candidate.headings)
            words = f"Is {proposal.candidate.headings!r} of {plan.file} {name}? {column.description}"
            proposed = proposal.candidate.headings
            if proposal.candidate.is_joined:
                return
            yield Question(name, words, (proposed, *headings, NO), proposed, proposal.reasons, True, **place)
        if column.unit in UNITS:
            yield self._unit(name, proposal, source, place)
        if column.sign:
            yield self._sign(name, plan, proposal, place)
        if column.type in {"date", "datetime"} and (forms := source.date_forms) and is_ambiguous(source.sample, forms[0]):
            other = forms[0].replace("%d", "%x").replace("%m", "%d").replace("%x", "%m")
            words = f"{source.heading!r}: no cell tells the day from the month. In which order do they stand?"
            yield Question(f"{name}.dates", words, (forms[0], other), forms[0], (f"such as {source.filled[0]}",), True, **place)
        yield from self._codes(name, proposal, place)

    def _unit(self, name: str, proposal: Proposal, source: SourceColumn, place: dict[str, str]) -> Question:
        column = proposal.column
        unit, share = unit_of(source, column)
        named = unit is not None and unit in source.units
        reason = f"{unit} is named" if named else f"by {unit}, {share:.0%} of its numbers lie within the limits"
        choices = unit_choices(column)
        headings = proposal.candidate.headings if proposal.candidate else ""
        words = f"In which unit is {headings!r} ({name})?"
        return Question(f"{name}.unit", words, (*choices, NO), unit, (reason,), True, **place)

    def _sign(self, name: str, plan: TablePlan, proposal: Proposal, place: dict[str, str]) -> Question:
        headings = proposal.candidate.headings if proposal.candidate else ""
        words = (
            f"Does {headings!r} ({name}) count the same way? Here {proposal.column.sign}. keep: it does; flip: the other way; "
            "flip left, flip right: the other way on that side alone."
        )
        proposed, reasons = _sign_of(proposal)
        told = sides_told(plan, proposal)
        return Question(f"{name}.sign", words, SIGNS, proposed, (*reasons, *told), True, **place)

    def _codes(self, name: str, proposal: Proposal, place: dict[str, str]) -> Iterator[Question]:
        column = proposal.column
        if not (column.codes or column.type in {"boolean", "integer"}) or proposal.candidate is None:
            return
        unknown = {
            cell: None
            for side in (SIDES if proposal.candidate.is_pair else (None,))
            for cell in codes_of(proposal.candidate.of(side)[0], column, side)[1]
        }
        choices = column.codes or (("true", "false") if column.type == "boolean" else ("a whole number",))
        for cell in unknown:
            words = f"What does {cell!r} mean in {proposal.candidate.headings!r} ({name})?"
            yield Question(f"{name}.codes.{cell}", words, (*choices, NO), None, (), column.name == "side", **place)


def _n_rows(columns: list[SourceColumn], plan: TablePlan) -> int:
    """How many feet a file tells of: its rows, and twice as many where left and right stand side by side."""
    return max((len(column.cells) for column in columns), default=0) * (2 if plan.is_wide else 1)


def unit_choices(column: Column) -> tuple[str, ...]:
    """The units that a column may be in, the contract's first."""
    return _UNITS.get(str(column.unit), ({"w": "W"}.get(str(column.unit), str(column.unit)),))


def is_valid(question: Question, said: str) -> bool:
    """Whether a question takes an answer."""
    return is_choice(question.choices, said)


def is_choice(choices: tuple[str, ...], said: str) -> bool:
    """Whether an answer is one of the choices, or of the kind that they name: a value for every row, a whole number."""
    if said in choices and said not in {"= …", "a whole number"}:
        return True
    if "= …" in choices and said.startswith(CONSTANT) and said != "= …":
        return bool(said.removeprefix(CONSTANT).strip())
    return "a whole number" in choices and said.lstrip("-").isdigit()


def _side_question(plan: TablePlan, words: str, where: str = "") -> Question:
    asked = f"{where}{words}: is left the rider's own left in {plan.table.name}, as these words say?"
    reasons = ("a camera before the rider sees the sides exchanged",)
    return Question(f"{plan.table.name}.sides", asked, (YES, SWAP, NO), YES, reasons, True, plan.table.name, "side")


def _sign_of(proposal: Proposal) -> tuple[str | None, tuple[str, ...]]:
    """What words say of the sign, of the heading and, for wedges, of the cells; numbers alone say nothing."""
    if proposal.candidate is None:
        return None, ()
    signs = vocabulary()["signs"]
    heading = plain(proposal.candidate.sources[0].heading)
    for kind, said in (("plus", KEEP), ("minus", FLIP)):
        if found := [word for word in map(plain, signs[kind]) if word in heading.split()]:
            return said, (f"the heading says {found[0]!r}",)
    source = proposal.candidate.sources[0]
    if any(set(plain(cell).split()) & {*signs["plus"], *signs["minus"]} for cell in source.distinct if number_in(cell)):
        return KEEP, ("its cells say varus and valgus in words",)
    return None, ()


def _all_sides(source: SourceColumn, codes: dict[str, Any]) -> dict[str, Any]:
    """Every text of a column of sides with what it says, those in the contract's own words too."""
    return {
        cell: codes.get(cell) or code_of("side", cell) for cell in source.distinct if codes.get(cell) or code_of("side", cell)
    }
