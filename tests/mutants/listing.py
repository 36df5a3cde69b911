"""Writes tests/mutants/mutants.md: how many wrong changes the tests noticed, module by module, and which not.

What makes no difference that anyone could notice stands in reasons.toml with its reason, and is not counted.
"""

import json
import tomllib
from collections import defaultdict
from pathlib import Path

HEAD = """# Wrong changes that the tests did not notice

Written by `make mutants`: one thing at a time is changed, and a test must fail (tests/mutants/run.py). A module stands with the
commit it was tried at (or tried again, what had gone unnoticed alone); of a module with many changes every so many-th was
tried. Aim: 85 % of each. Below the table stands every change that nothing noticed, by function: what stood, and what stood
instead. *No difference*: reasons.toml says why.

| module | commit | changes | no difference | noticed | share |
|---|---|---|---|---|---|
"""
# A module's commit, its changes, those without a difference and those noticed, and what is listed of it.
_Part = tuple[str, tuple[int, int, int], list[str]]
ROOMS = ("shared/statistics", "dashboard/questions", "dashboard/figures", "dashboard/pages", "dashboard/components", "shared")


def write(build: Path, directory: Path) -> None:
    """The list, from what `build` keeps of every module; a module that was not tried anew stays as it was listed."""
    reasons = tomllib.loads((directory / "reasons.toml").read_text(encoding="utf-8"))
    parts = _listed_before(directory / "mutants.md")
    for path in sorted(build.glob("*.json")):
        told = json.loads(path.read_text(encoding="utf-8"))
        module, changes = told["module"], [each for each in told["changes"] if each["ended"] != "not tried"]
        if not changes:
            continue
        known = reasons.get(module, {})
        unnoticed = [each for each in changes if each["ended"] != "noticed"]
        same = [each for each in unnoticed if key_of(each) in known]
        counts = (len(changes), len(same), len(changes) - len(unnoticed))
        parts[module] = (told["commit"], counts, _listed(module, [each for each in unnoticed if key_of(each) not in known]))
    there = {module: part for module, part in sorted(parts.items()) if (directory.parent.parent / module).exists()}
    lines = [HEAD, *(_row(module, commit, *counts) for module, (commit, counts, _) in there.items())]
    rooms: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for module, (_, counts, _) in there.items():
        room = rooms[next(each for each in ROOMS if module.startswith(each))]
        room[:] = [before + number for before, number in zip(room, counts, strict=True)]
    lines += [_row(f"**{room}**", "", *rooms[room]) for room in ROOMS if room in rooms]
    lines += [line for _, _, listed in there.values() for line in listed]
    (directory / "mutants.md").write_text("".join(lines), encoding="utf-8")


def _listed_before(path: Path) -> dict[str, _Part]:
    """Each module of the list as it stands: its commit, its counts, and the lines below the table."""
    text = path.read_text(encoding="utf-8")
    parts: dict[str, _Part] = {}
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("| ") and cells[0].endswith(".py"):
            changes, same, noticed = (int(cell.replace(",", "") or 0) for cell in cells[2:5])
            parts[cells[0]] = (cells[1], (changes, same, noticed), [])
    for block in text.split("\n\n`")[1:]:
        module = block.partition("`")[0]
        if module in parts:
            parts[module][2].append(f"\n`{block.rstrip()}\n")
    return parts


def key_of(change: dict[str, str]) -> str:
    """How reasons.toml names a change of a module."""
    return f"{change['function']}: {change['change']}"


def _row(name: str, commit: str, changes: int, same: int, noticed: int) -> str:
    share = f"{100 * noticed / (changes - same):.0f} %" if changes > same else ""
    return f"| {name} | {commit} | {changes:,} | {same or ''} | {noticed:,} | {share} |\n"


def _listed(module: str, changes: list[dict[str, str]]) -> list[str]:
    by_function = defaultdict[str, list[str]](list)
    for change in changes:
        reached = " (no test reaches it)" if change["ended"] == "not reached" else ""
        by_function[change["function"] or "constants"].append(f"- {change['change']}{reached}\n")
    return [f"\n`{module}` {function}\n\n{''.join(told)}" for function, told in by_function.items()]
