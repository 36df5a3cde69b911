"""The questions of a plan: what is asked of a column, its unit, sign, side, days and texts; and what may be answered.

Units, signs, sides, and days that could be months are always asked: until they are answered, the line waits.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from etl.mapping_assistant.matching import WITHIN
from etl.mapping_assistant.plan import CONSTANT, NO, Files, Proposal, TablePlan
from etl.mapping_assistant.shapes import SourceColumn, codes_of, is_ambiguous, unit_of
from etl.mapping_assistant.sides import sides_told
from etl.words import number_in, plain, vocabulary
from shared.catalogue import Column
from shared.units import UNITS

YES: Final = "yes"
SWAP: Final = "swap"
KEEP: Final = "keep"
FLIP: Final = "flip"
SIGNS: Final = (KEEP, FLIP, "flip left", "flip right")
SIDES: Final = ("left", "right")
_UNITS: Final = {"mm": ("mm", "cm", "m", "in"), "cm": ("cm", "m", "mm", "in"), "deg": ("deg", "rad"), "kg": ("kg", "lb", "g")}


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


def missing_column(files: Files, plan: TablePlan, name: str) -> Question:
    """Which column a required one is made of."""
    column = plan.table.column(name)
    headings = tuple(source.heading for source in files[plan.file])
    words = (
        f"Which column of {plan.file} is {plan.table.name}.{name}? {column.description} It is required: type a heading, or "
        f"'= ' and a value that holds for every row{' (' + ', '.join(column.codes) + ')' if column.codes else ''}."
    )
    return Question(f"{plan.table.name}.{name}", words, (*headings, "= …", NO), None, (), True, plan.table.name, name)


def of_column(files: Files, plan: TablePlan, proposal: Proposal) -> Iterator[Question]:
    """What is asked of a column that is proposed."""
    name, column = f"{plan.table.name}.{proposal.column.name}", proposal.column
    place = {"table": plan.table.name, "column": column.name}
    if proposal.candidate is None:
        return
    source = proposal.candidate.sources[0]
    if column.name == "side":
        yield from _codes(name, proposal, place)
        yield side_question(plan, ", ".join(sorted(source.distinct)[:6]), f"{source.heading!r}: ")
        return
    if not proposal.is_sure:
        headings = tuple(one.heading for one in files[plan.file] if one.heading != proposal.candidate.headings)
        words = f"Is {proposal.candidate.headings!r} of {plan.file} {name}? {column.description}"
        proposed = proposal.candidate.headings
        if proposal.candidate.is_joined:
            return
        yield Question(name, words, (proposed, *headings, NO), proposed, proposal.reasons, True, **place)
    if column.unit in UNITS:
        yield _unit(name, proposal, source, place)
    if column.sign:
        yield _sign(name, plan, proposal, place)
    if column.type in {"date", "datetime"} and (forms := source.date_forms) and is_ambiguous(source.sample, forms[0]):
        yield dates_question(f"{name}.dates", source, **place)
    yield from _codes(name, proposal, place)


def dates_question(key: str, source: SourceColumn, table: str, column: str) -> Question:
    """In which order days and months stand, where no cell tells them apart."""
    form = (source.date_forms or [""])[0]
    other = form.replace("%d", "%x").replace("%m", "%d").replace("%x", "%m")
    words = f"{source.heading!r}: no cell tells the day from the month. In which order do they stand?"
    return Question(key, words, (form, other), form, (f"such as {source.filled[0]}",), True, table, column)


def matched_question(plan: TablePlan, proposal: Proposal) -> Question:
    """Within how many days before a date a rider's visit is the one of the row."""
    rider, date = proposal.candidate.sources if proposal.candidate else (None, None)
    within = proposal.candidate.within_days if proposal.candidate else 0
    words = (
        f"No column of {plan.file} names the visit. Is it the last visit of its rider ({rider.heading if rider else ''!r}) on "
        f"the date {date.heading if date else ''!r}, or up to {within} days before?"
    )
    choices = tuple(f"{days} days" for days in WITHIN)
    name = plan.table.name
    return Question(f"{name}.session_id", words, (*choices, NO), f"{within} days", proposal.reasons, True, name, "session_id")


def _unit(name: str, proposal: Proposal, source: SourceColumn, place: dict[str, str]) -> Question:
    column = proposal.column
    unit, share = unit_of(source, column)
    named = unit is not None and unit in source.units
    reason = f"{unit} is named" if named else f"by {unit}, {share:.0%} of its numbers lie within the limits"
    choices = unit_choices(column)
    headings = proposal.candidate.headings if proposal.candidate else ""
    words = f"In which unit is {headings!r} ({name})?"
    return Question(f"{name}.unit", words, (*choices, NO), unit, (reason,), True, **place)


def _sign(name: str, plan: TablePlan, proposal: Proposal, place: dict[str, str]) -> Question:
    headings = proposal.candidate.headings if proposal.candidate else ""
    words = (
        f"Does {headings!r} ({name}) count the same way? Here {proposal.column.sign}. keep: it does; flip: the other way; "
        "flip left, flip right: the other way on that side alone."
    )
    proposed, reasons = _sign_of(proposal)
    told = sides_told(plan, proposal)
    return Question(f"{name}.sign", words, SIGNS, proposed, (*reasons, *told), True, **place)


def _codes(name: str, proposal: Proposal, place: dict[str, str]) -> Iterator[Question]:
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


def side_question(plan: TablePlan, words: str, where: str = "") -> Question:
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
