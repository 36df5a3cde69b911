"""Writes tests/mutants/mutants.md: how many wrong changes the tests noticed, module by module, and which not.

What makes no difference that anyone could notice stands in reasons.toml with its reason, and is not counted.
"""

import json
import tomllib
from collections import defaultdict
from pathlib import Path

HEAD = """# Wrong changes that the tests did not notice

Written by `make mutants`: one thing at a time is changed, and a test must fail (tests/mutants/run.py). A module stands with the
commit it was tried at; of a module with many changes every so many-th was tried. Aim: 85 % of each. Below the table stands
every change that nothing noticed, by function: what stood, and what stood instead. *No difference*: reasons.toml says why.

| module | commit | changes | no difference | noticed | share |
|---|---|---|---|---|---|
"""
ROOMS = ("shared/statistics", "dashboard/questions", "dashboard/figures", "dashboard/pages", "shared")


def write(build: Path, directory: Path) -> None:
    """The list, from what `build` keeps of every module."""
    reasons = tomllib.loads((directory / "reasons.toml").read_text(encoding="utf-8"))
    lines, listed = [HEAD], list[str]()
    rooms: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for path in sorted(build.glob("*.json")):
        told = json.loads(path.read_text(encoding="utf-8"))
        module, changes = told["module"], [each for each in told["changes"] if each["ended"] != "not tried"]
        if not changes:
            continue
        known = reasons.get(module, {})
        unnoticed = [each for each in changes if each["ended"] != "noticed"]
        same = [each for each in unnoticed if _key(each) in known]
        noticed = len(changes) - len(unnoticed)
        room = next(each for each in ROOMS if module.startswith(each))
        for at, number in enumerate((len(changes), len(same), noticed)):
            rooms[room][at] += number
        lines.append(_row(module, told["commit"], len(changes), len(same), noticed))
        listed += _listed(module, [each for each in unnoticed if _key(each) not in known])
    lines += [_row(f"**{room}**", "", *rooms[room]) for room in ROOMS if room in rooms]
    (directory / "mutants.md").write_text("".join(lines + listed), encoding="utf-8")


def _key(change: dict[str, str]) -> str:
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
