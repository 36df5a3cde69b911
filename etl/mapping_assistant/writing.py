"""Writes a plan as a mapping file: the reasons as comments, and what waits for an answer as lines that are not in force."""

import fnmatch
import json
from collections.abc import Iterator
from typing import Any, Final

from etl.mapping_assistant.asking import SIDES, YES, Asked
from etl.mapping_assistant.plan import Proposal, TablePlan
from etl.mapping_assistant.reading import FileGroup, Folder
from shared.paths import on_one_line

WAITS: Final = "#? "
_MOST_NAMES: Final = 20
_KEYS_OF_A_CAPTURE: Final = frozenset({"session_id", "capture_no", "side"})


def mapping_text(folder: Folder, asked: Asked) -> str:
    """The text of a mapping.toml."""
    n_waiting = sum(question.must for question in asked.questions)
    lines = [
        "# Proposed by `fitledger map` from headings, words, units and values; confirmed where you answered. Yours to change.",
        f"# Lines that begin with {WAITS.strip()} are not in force: each waits for the answer named above it.",
        'about = "written by fitledger map"',
    ]
    if n_waiting:
        lines.insert(2, f"# {n_waiting} answers are missing. Give them in a file: --answers FILE.toml, a line an answer.")
    left_out = [folder.groups[name] for name in asked.left_out]
    names = [group.sheet or name for group in left_out for name in (group.files if not group.sheet else (group.sheet,))]
    if names:
        start = "" if asked.answers.get("ignore_files") == YES else WAITS
        lines += ["# In these nothing of the contract was found.", f"{start}ignore_files = {toml_of(names[:1000])}"]
    for plan in asked.plans:
        lines += ["", *_table(plan, folder, asked)]
    return "\n".join(lines) + "\n"


def waiting_tables(asked: Asked) -> dict[str, list[str]]:
    """The tables of which nothing is loaded yet, and what each waits for: a required column without its answer."""
    waiting: dict[str, list[str]] = {}
    for plan in asked.plans:
        keys = [f"{plan.table.name}.{name}" for name in plan.missing]
        for name, proposal in plan.columns.items():
            if plan.table.column(name).required:
                keys += asked.waiting(plan, proposal)
        if plan.is_wide:
            keys += [one.key for one in asked.questions if one.key == f"{plan.table.name}.sides"]
        if not any(not asked.waiting(plan, proposal) for name, proposal in plan.columns.items() if name not in _keys(plan)):
            keys += [key for proposal in plan.columns.values() for key in asked.waiting(plan, proposal)]
        keys += [one.key for one in asked.questions if one.key == f"{plan.table.name}.log"]
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
    return "{ " + ", ".join(f"{key} = {toml_of(value)}" for key, value in spec.items()) + " }"


def _comment(words: str) -> str:
    """A line of its own: a heading or a name of a sheet may hold line ends, behind which a mapping would go on."""
    return f"# {on_one_line(words)}"


def _keys(plan: TablePlan) -> set[str]:
    return {*plan.table.key, "side"} if len(plan.table.columns) > len(plan.table.key) else set()


def _table(plan: TablePlan, folder: Folder, asked: Asked) -> Iterator[str]:
    group = folder.groups[plan.file]
    waiting = waiting_tables(asked).get(plan.table.name)
    start = WAITS if waiting else ""
    yield _comment(f"{plan.table.name}: from {plan.file}.")
    if waiting:
        yield _comment(f"The whole table waits for: {', '.join(waiting)}")
    place, captures = f"tables.{plan.table.name}", asked.captures_of_log(plan) if asked.is_log(plan) else None
    if captures is not None:
        yield _comment("A row of each capture, with what the changes before it have left.")
        yield f"[{place}]"
        yield from _files(folder.groups[captures.file], folder, captures, asked, only=_KEYS_OF_A_CAPTURE)
        yield from _columns(captures, asked, place, only=_KEYS_OF_A_CAPTURE)
        place = f"{place}.log"
    yield f"{start}[{place}]"
    for line in _files(group, folder, plan, asked):
        if captures is None or line.startswith("files"):
            yield start + line
    for line in _columns(plan, asked, place):
        yield line if line.startswith("#") else start + line


def _files(
    group: FileGroup, folder: Folder, plan: TablePlan, asked: Asked, only: frozenset[str] | None = None
) -> Iterator[str]:
    names = list(group.files)
    others = {name for one in folder.groups.values() if one is not group for name in one.files}
    if len(names) > _MOST_NAMES:
        start, end = _common_start(names), _common_start([name[::-1] for name in names])[::-1]
        if not any(fnmatch.fnmatchcase(name.lower(), f"{start}*{end}".lower()) for name in others):
            names = [f"{start}*{end}"]
    yield f"files = {toml_of(names[0] if len(names) == 1 else names)}"
    if group.sheet:
        yield f"sheets = {toml_of(group.sheet)}"
    if group.skip_lines:
        yield f"form = {{ skip_lines = {group.skip_lines} }}"
    active = {
        source.heading
        for proposal in plan.columns.values()
        if proposal.candidate and not asked.waiting(plan, proposal) and (only is None or proposal.column.name in only)
        for source in proposal.candidate.sources
    }
    if ignored := [source.heading for source in group.columns if source.heading not in active and not source.origin]:
        yield f"ignore = {toml_of(ignored)}"


def _common_start(names: list[str]) -> str:
    first, last = min(names), max(names)
    return first[: next((no for no, (one, other) in enumerate(zip(first, last, strict=False)) if one != other), len(first))]


def _columns(plan: TablePlan, asked: Asked, place: str, only: frozenset[str] | None = None) -> Iterator[str]:
    """The lines of a table's columns below `place`; of those in `only`, where it is given."""
    each: dict[str, list[str]] = {side: [] for side in SIDES}
    yield f"[{place}.columns]"
    for column in plan.table.columns:
        proposal = plan.columns.get(column.name)
        if proposal is None or (only is not None and column.name not in only):
            continue
        if plan.is_wide and asked.spec(plan, proposal, "left") != asked.spec(plan, proposal, "right"):
            for side in SIDES:
                each[side] += _lines(plan, proposal, asked, side)
        else:
            yield from _lines(plan, proposal, asked, None)
    if not plan.is_wide:
        return
    for side in SIDES:
        yield f"[[{place}.each]]"
        yield f"side = {{ value = {toml_of(asked.side_of_column(plan, side))} }}"
        yield from each[side]


def _lines(plan: TablePlan, proposal: Proposal, asked: Asked, side: str | None) -> Iterator[str]:
    name = proposal.column.name
    told = [key for key in asked.answers if key.startswith(f"{plan.table.name}.{name}.") and ".codes." not in key]
    confirmed = [f"{key.rpartition('.')[2]}: you said {asked.answers[key]!r}" for key in told]
    reason = "; ".join((*proposal.reasons, *confirmed))
    if side != "right":
        yield _comment(f"{name}: {reason} (score {proposal.score:.2f})")
    waiting = asked.waiting(plan, proposal)
    for key in waiting if side != "right" else ():
        question = next(one for one in asked.questions if one.key == key)
        likely = f" (likely {question.proposed})" if question.proposed else ""
        yield _comment(f"waits for {toml_of(key)} = one of {', '.join(question.choices[:8])}{likely}")
    yield (WAITS if waiting else "") + f"{name} = {spec_toml(asked.spec(plan, proposal, side))}"
