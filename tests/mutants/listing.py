"""Writes tests/mutants/mutants.md, the second half of `make mutants`: how many wrong changes the tests noticed, and which not.

Reads what mutmut left in `mutants/`. Noticed is what a test fails on, or never ends with; what no test reaches is not.
Changes that were not tried are left out. mutmut is kept beside the lock, so that its modules are named here and nowhere else.
"""

import subprocess
from collections import Counter, defaultdict
from importlib import import_module
from pathlib import Path

LIST = Path(__file__).parent / "mutants.md"
NOTICED = {"killed", "timeout", "segfault", "caught by type check"}
HEAD = """# Wrong changes that the tests did not notice

Written by `make mutants` at commit {commit}: mutmut changes one thing at a time, and the tests must notice.
Only what was tried is counted. Aim: 85 % of each module. Below the table stands every change that nothing noticed,
by function: what stood, and what stood instead.

| module | changes | noticed | share |
|---|---|---|---|
"""


def main() -> None:
    """Counts by module, and lists what was not noticed."""
    counts, unnoticed = _read()
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True).stdout.strip()
    lines = [HEAD.format(commit=commit)]
    for module, statuses in sorted(counts.items()):
        whole, noticed = statuses.total(), sum(number for status, number in statuses.items() if status in NOTICED)
        lines.append(f"| {module} | {whole:,} | {noticed:,} | {100 * noticed / whole:.0f} % |\n")
    for function, changes in sorted(unnoticed.items()):
        lines.append(f"\n`{function}`\n\n" + "".join(f"- {change}\n" for change in changes))
    LIST.write_text("".join(lines), encoding="utf-8")


def _read() -> tuple[dict[str, Counter[str]], dict[str, list[str]]]:
    """How many changes ended how, by module, and those that were not noticed, by function."""
    walk = import_module("mutmut.utils.file_utils").walk_mutatable_files
    results = import_module("mutmut.mutation.data").SourceFileMutationData
    difference = import_module("mutmut.mutation.diff_apply").get_diff_for_mutant
    status_of = import_module("mutmut.stats").status_by_exit_code
    counts, unnoticed = defaultdict[str, Counter[str]](Counter), defaultdict[str, list[str]](list)
    for path in walk():
        data = results(path=path)
        data.load()
        for name, exit_code in data.exit_code_by_key.items():
            status = status_of[exit_code]
            if status == "not checked":
                continue
            counts[path.as_posix()][status] += 1
            if status not in NOTICED:
                unnoticed[name.rsplit("__mutmut_", 1)[0]].append(_change(difference(name, path=path)))
    return counts, unnoticed


def _change(difference: str) -> str:
    """One line: what was taken out of the code, and what stood there instead."""
    out = [line[1:].strip() for line in difference.splitlines() if line.startswith("-") and not line.startswith("---")]
    put = [line[1:].strip() for line in difference.splitlines() if line.startswith("+") and not line.startswith("+++")]
    return f"`{' '.join(out)}` → `{' '.join(put)}`"


if __name__ == "__main__":
    main()
