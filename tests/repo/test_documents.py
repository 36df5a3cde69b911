"""Documents that are made from the code are current, and what a reader needs is said where it is looked for."""

import re
from pathlib import Path

import typer.main

from dashboard.cli import app
from dashboard.questions.door.registry import QUESTIONS
from etl.keeping import stored_page
from shared.catalogue.columns_page import PAGE, page
from tests.bench import table

ROOT = Path(__file__).resolve().parents[2]
METHODS = "shared/statistics/METHODS.md"
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_page_of_columns_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_the_page_of_what_is_stored_about_a_rider_is_current() -> None:
    assert stored_page.PAGE.read_text(encoding="utf-8") == stored_page.page()


def test_the_two_commands_stand_in_the_first_screen_of_the_readme() -> None:
    first_screen = "\n".join(README.splitlines()[:40])
    assert "make demo" in first_screen and "make test" in first_screen


def test_every_command_and_question_is_in_the_readme() -> None:
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    assert [name for name in commands if f"fitledger {name}" not in README] == []
    assert [name for name in QUESTIONS if not re.search(rf"\b{name}\b", README)] == []


def test_the_cautions_stand_in_the_readme() -> None:
    for word in (
        "no medical advice",
        "licensed clinician",
        "one support at a time",
        "thread engagement",
        "Local rules on health data",
    ):
        assert word in README


def test_timings_stand_on_the_page_that_bench_writes_alone() -> None:
    timing = re.compile(r"\d(?:\.\d+)? (?:s|ms|µs)\b|\d\.\d+ seconds")
    for document in [README, *((ROOT / name).read_text(encoding="utf-8") for name in ("DEVELOPERS.md", METHODS))]:
        told = [line for line in document.splitlines() if timing.search(line)]
        assert [line for line in told if "limit" not in line.lower()] == []


def test_the_page_of_speed_is_as_bench_writes_it() -> None:
    page = table.PAGE.read_text(encoding="utf-8")
    sections = table.sections_of(page)
    assert sections and table.page_of(sections) == page
    assert all(re.search(r"^\d+ \w+ \d{4}, commit [0-9a-f]{7,}", one, re.MULTILINE) for one in sections.values())


def test_links_of_the_documents_lead_somewhere() -> None:
    for document in [
        *ROOT.glob("*.md"),
        *(ROOT / "shared").rglob("*.md"),
        *(ROOT / "warehouse_demo").glob("*.md"),
        *(ROOT / "docs").glob("*.md"),
    ]:
        for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", document.read_text(encoding="utf-8")):
            assert (document.parent / target).exists(), f"{document.name}: {target}"
