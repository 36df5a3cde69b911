"""Writes docs/performance.md: `make bench`, or `make bench BENCH="mixed places"` for some of its sections.

Each section is one run of one bench, in a process of its own, with the machine, the day and the commit it was made at, so that
a section can be made anew alone. Nothing else writes the page.
"""

import argparse
import importlib
import os
import platform
import re
import subprocess
import sys
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from tests.bench.told import HEAD

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "performance.md"
# The sections in their order: title, module under tests and what it is told.
SECTIONS = {
    "loads": ("Loads", "bench.loads"),
    "questions": ("Questions, nothing remembered", "bench.questions"),
    "filters": ("Questions, after a change of the filters", "bench.filters"),
    "places": ("Places of the pages, as the server answers them", "bench.places"),
    "mixed": ("The pooled model", "bench.mixed"),
    "first_view": ("The first view of each page", "bench.first_view"),
    "sessions": ("200 readers at once", "load.sessions", "--seconds", "60"),
    "drips": ("Readers while strangers drip", "load.drips"),
}
INTRODUCTION = """# How fast it is

`make bench` writes this page, and `make bench BENCH="mixed places"` some sections of it; nobody else does. Every line stands
beside a reference that was timed in the same run. *Times* is the median over the reference: compare that, since seconds tell as
much of the machine.
"""


def machine() -> str:
    """What this run is made on."""
    commit = _git("rev-parse", "--short", "HEAD")
    if _git("status", "--porcelain", "--", "*.py", "*.sql"):
        commit += " and what was changed since"
    libraries = ", ".join(f"{name} {version(name)}" for name in ("duckdb", "numpy", "scipy", "dash"))
    processors = Path("/proc/cpuinfo")
    model = re.search(r"model name\s*: (.*)", processors.read_text()) if processors.exists() else None
    return (
        f"{datetime.now(UTC):%d %B %Y}, commit {commit}; {os.cpu_count()} processors "
        f"({model[1] if model else platform.machine()}), Python {platform.python_version()}, {libraries}"
    )


def section(name: str) -> str:
    """Runs one bench; what it tells, as a section of the page."""
    title, module, *words = SECTIONS[name]
    load = os.getloadavg()[0]
    command = [sys.executable, "-m", f"tests.{module}", *words]
    told = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True).stdout
    made = f"{machine()}; load {load:.1f} before, {os.getloadavg()[0]:.1f} after."
    about = (importlib.import_module(f"tests.{module}").__doc__ or "").split("\n\n", maxsplit=1)[0]
    figures = f"{HEAD}\n{told}" if told.startswith("|") else f"```\n{told}```\n"
    return f"## {title}\n\n{about}\n\n{made}\n\n{figures}"


def sections_of(page: str) -> dict[str, str]:
    """The sections that a page holds, by their bench."""
    parts = {part.split("\n", 1)[0]: f"## {part.strip()}\n" for part in page.split("\n## ")[1:]}
    return {name: parts[title] for name, (title, *_) in SECTIONS.items() if title in parts}


def page_of(sections: dict[str, str]) -> str:
    """The page of these sections."""
    return "\n".join([INTRODUCTION, *(sections[name] for name in SECTIONS if name in sections)])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("benches", nargs="*", choices=[*SECTIONS, []], help="these sections only")
    for name in parser.parse_args().benches or SECTIONS:
        sections = sections_of(PAGE.read_text(encoding="utf-8")) if PAGE.exists() else {}
        sections[name] = section(name)
        PAGE.write_text(page_of(sections), encoding="utf-8")
        sys.stdout.write(sections[name] + "\n")
        sys.stdout.flush()


def _git(*words: str) -> str:
    return subprocess.run(["git", *words], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False).stdout.strip()


if __name__ == "__main__":
    main()
