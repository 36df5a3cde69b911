"""The texts beside the tests: what was written down of each place of each case."""

from pathlib import Path


def written(page: str) -> dict[tuple[str, str], list[str]]:
    """The lines of each place of each case of a page."""
    lines: dict[tuple[str, str], list[str]] = {}
    case, place = "", ""
    for line in Path(__file__).with_name(f"{page}.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith("=== "):
            case, place = line[4:], ""
        elif line.startswith("--- "):
            place = line[4:]
            lines[case, place] = []
        elif line and place:
            lines[case, place].append(line)
    return lines
