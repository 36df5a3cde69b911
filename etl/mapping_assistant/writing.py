"""Writes a plan as a mapping file: only what is not known without it, each line with its reason, and what waits for an answer
as lines that are not in force.
"""

import fnmatch
import json
from collections.abc import Iterator
from typing import Any, Final

from etl.known_words import known_headings
from etl.mapping_assistant.asking import SIDES, YES, Asked
from etl.mapping_assistant.plan import Proposal, TablePlan
from etl.mapping_assistant.reading import Folder
from etl.mapping_assistant.shortening import CommonForm, common_form, shortened, sided
from shared.paths import on_one_line

WAITS: Final = "#? "
_MOST_NAMES: Final = 20
_DIGITS: Final = "0123456789"
_SAID_ANYWAY: Final = frozenset({"its cells are texts", "its cells are dates"})


def mapping_text(folder: Folder, asked: Asked) -> str:
    """The text of a mapping.toml."""
    return "\n".join(_Text(folder, asked).lines()) + "\n"


def waiting_tables(asked: Asked) -> dict[str, list[str]]:
    """The tables of which nothing is loaded yet, and what each waits for: a required column without its answer."""
    waiting: dict[str, list[str]] = {}
    for plan in asked.plans:
        keys = [f"{plan.table.name}.{name}" for name in asked.missing(plan)]
        for name, proposal in plan.columns.items():
            if plan.table.column(name).required:
                keys += asked.waiting(plan, proposal)
        keys += asked.waiting_as_a_whole(plan)
        if not any(not asked.waiting(plan, proposal) for name, proposal in plan.columns.items() if name not in _keys(plan)):
            keys += [key for proposal in plan.columns.values() for key in asked.waiting(plan, proposal)]
        if keys:
            waiting[plan.table.name] = list(dict.fromkeys(keys))
    return waiting


def toml_of(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, dict):
        return (
            "{ "
            + ", ".join(f"{json.dumps(str(key), ensure_ascii=False)} = {toml_of(one)}" for key, one in value.items())
            + " }"
        )
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_of, value)) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def spec_toml(spec: dict[str, Any]) -> str:
    """What a mapping says of a column, in its shortest form."""
    if set(spec) == {"from"} and isinstance(spec["from"], str | list):
        return toml_of(spec["from"])
    return (
        "{ "
        + ", ".join(
            f"{key} = {spec_toml(value) if key in (*SIDES, 'rider', 'date') and isinstance(value, dict) else toml_of(value)}"
            for key, value in spec.items()
        )
        + " }"
    )


class _Text:
    """The lines of one mapping."""

    def __init__(self, folder: Folder, asked: Asked) -> None:
        self.folder, self.asked = folder, asked
        self.form: CommonForm = common_form(asked)
        self.waiting = waiting_tables(asked)
        self.open = {question.key: question for question in asked.questions}

    def lines(self) -> Iterator[str]:
        yield "# Proposed by `fitledger map`; confirmed where you answered. Yours to change. Headings and words that"
        yield "# fitledger knows need no line; units, signs and sides always have one."
        if any(question.must for question in self.open.values()):
            n = sum(question.must for question in self.open.values())
            yield f"# Lines that begin with {WAITS.strip()} are not in force: each waits for the answer named behind it."
            yield f"# {n} answers are missing. Give them in a file: --answers FILE.toml, a line an answer."
        yield "words = true"
        yield from self._from_visits()
        if self.form.said:
            yield f"form = {spec_toml(self.form.said)}{_comment(self.form.reason)}"
        yield from self._left_out()
        for plan in self.asked.plans:
            if plan not in self._derived():
                yield ""
                yield from self._table(plan)

    def _derived(self) -> list[TablePlan]:
        """The tables that are read from the visits, once these are in force."""
        return [plan for plan in self.asked.plans if plan.is_derived and "fit_sessions" not in self.waiting]

    def _from_visits(self) -> Iterator[str]:
        if derived := self._derived():
            specs = {plan.table.name: self._spec(plan, plan.columns[plan.table.key[0]]) for plan in derived}
            said = ", ".join(f"{name} = {spec_toml(spec)}" for name, spec in specs.items())
            yield f"from_visits = {{ {said} }}{_comment('no file of their own was found: known from the visits alone')}"

    def _left_out(self) -> Iterator[str]:
        left_out = [self.folder.groups[name] for name in self.asked.left_out]
        names = [group.sheet or name for group in left_out for name in (group.files if not group.sheet else (group.sheet,))]
        if names:
            start = "" if self.asked.answers.get("ignore_files") == YES else WAITS
            yield f"{start}ignore_files = {toml_of(names[:1000])}{_comment('nothing of the contract was found in them')}"

    def _table(self, plan: TablePlan) -> Iterator[str]:
        name = plan.table.name
        if waiting := self.waiting.get(name):
            yield f"# {name} waits as a whole for: {on_one_line(', '.join(waiting))}"
        start, place = WAITS if waiting else "", f"tables.{name}"
        captures = self.asked.captures_of_log(plan)
        if captures is None:
            yield f"{start}[{place}]"
            yield from _started(start, self._read_from(plan))
            yield from _started(start, self._columns(plan))
            return
        yield f"{start}[{place}.log]{_comment('of each capture, what the changes before it have left')}"
        yield f"{start}files = {self._names(plan)}"
        for key, spec in self.asked.log_times().items():
            yield f"{start}{key} = {spec_toml(shortened(spec, None, self.form))}"
        yield from _started(start, self._columns(plan, is_log=True))

    def _names(self, plan: TablePlan) -> str:
        group = self.folder.groups[plan.file]
        names = list(group.files)
        others = {name for one in self.folder.groups.values() if one is not group for name in one.files}
        if len(names) > _MOST_NAMES:
            # The next files count on: what is a number in a name is not what they have in common.
            start = _common_start(names).rstrip(_DIGITS)
            end = _common_start([name[::-1] for name in names])[::-1].lstrip(_DIGITS)
            if not any(fnmatch.fnmatchcase(name.lower(), f"{start}*{end}".lower()) for name in others):
                names = [f"{start}*{end}"]
        return toml_of(group.sheet or (names[0] if len(names) == 1 else names))

    def _read_from(self, plan: TablePlan) -> Iterator[str]:
        """The files of a table, how they are laid out, and the headings that it leaves out."""
        group = self.folder.groups[plan.file]
        told = [f"{name} = {heading}" for name, heading in self._known(plan).items() if heading.lower() != name]
        reason = _comment(f"known headings: {', '.join(told)}" if told else "")
        books = {one.files for one in self.folder.groups.values() if one.sheet}
        if group.sheet and len(books) > 1:
            yield f"files = {toml_of(group.files[0] if len(group.files) == 1 else group.files)}"
        yield f"{'sheets' if group.sheet else 'files'} = {self._names(plan)}{reason}"
        if group.form:
            lines, rows = (group.form.get(key) for key in ("skip_lines", "heading_rows"))
            why = [f"{lines} above the headings"] * bool(lines) + ["two rows of headings"] * bool(rows)
            yield f"form = {spec_toml(group.form)}{_comment(', '.join(why))}"
        used = self._used(plan)
        if left := [source.heading for source in group.columns if source.heading not in used and not source.origin]:
            yield f"ignore = {toml_of(left)}"

    def _used(self, plan: TablePlan) -> set[str]:
        taken = [one for one in plan.columns.values() if one.candidate and not self.asked.waiting(plan, one)]
        return {source.heading for one in taken if one.candidate for source in one.candidate.sources}

    def _known(self, plan: TablePlan) -> dict[str, str]:
        """The columns that need no line, with their headings: exactly a known word, and nothing to say of their cells."""
        used, known = self._used(plan), {}
        headers = tuple(heading for heading in self.folder.groups[plan.file].source.headers if heading in used)
        for name, headings in known_headings(plan.table, headers).items():
            proposal = plan.columns.get(name)
            if proposal and len(headings) == 1 and self._spec(plan, proposal) == {"from": headings[0]}:
                known[name] = headings[0]
        return known

    def _spec(self, plan: TablePlan, proposal: Proposal, side: str | None = None) -> dict[str, Any]:
        return shortened(self.asked.spec(plan, proposal, side), proposal, self.form)

    def _columns(self, plan: TablePlan, *, is_log: bool = False) -> Iterator[str]:
        known = {} if is_log else self._known(plan)
        for column in plan.table.columns:
            proposal = plan.columns.get(column.name)
            if proposal is None or column.name in known:
                continue
            if plan.is_wide:
                left, right = (self._spec(plan, proposal, side) for side in SIDES)
                spec = sided(
                    {self.asked.side_of_column(plan, side): one for side, one in zip(SIDES, (left, right), strict=True)}
                )
            else:
                spec = self._spec(plan, proposal)
            waiting = self.asked.waiting(plan, proposal)
            reason = _comment(self._reason(plan, proposal, waiting))
            yield f"{WAITS if waiting else ''}{column.name} = {spec_toml(spec)}{reason}"

    def _reason(self, plan: TablePlan, proposal: Proposal, waiting: list[str]) -> str:
        """Why a column is read so, what the reader said of it, and what it waits for."""
        name = f"{plan.table.name}.{proposal.column.name}"
        told = [one for key, one in self.asked.answers.items() if key.startswith(f"{name}.") and ".codes." not in key]
        said = [f"you said {', '.join(told)}"] if told else []
        reasons = [_briefly(one) for one in proposal.reasons if one not in _SAID_ANYWAY]
        for key in waiting:
            question = self.open[key]
            likely = f" (likely {question.proposed})" if question.proposed else ""
            said.append(f"waits for {toml_of(key)} = one of {', '.join(question.choices[:8])}{likely}")
        return "; ".join((*reasons, *said))


def _started(start: str, lines: Iterator[str]) -> Iterator[str]:
    """The lines, none of them in force where the table waits."""
    return (line if line.startswith("#") else start + line for line in lines)


def _briefly(reason: str) -> str:
    """A reason behind a line, where there is no room for a sentence."""
    return reason.replace("the heading is like", "like").replace(" of its cells are numbers within", " numbers lie within")


def _comment(words: str) -> str:
    """A reason behind a line: a heading or a name of a sheet may hold line ends, behind which a mapping would go on."""
    return f"  # {on_one_line(words)}" if words else ""


def _keys(plan: TablePlan) -> set[str]:
    return {*plan.table.key, "side"} if len(plan.table.columns) > len(plan.table.key) else set()


def _common_start(names: list[str]) -> str:
    first, last = min(names), max(names)
    return first[: next((no for no, (one, other) in enumerate(zip(first, last, strict=False)) if one != other), len(first))]
