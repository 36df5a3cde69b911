"""docs/security.md is honest: the 70 points of level 1 once each, one of three states, and tests that are there."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/security.md").read_text(encoding="utf-8")
STATES = ("met", "does not apply", "not met")
# OWASP ASVS 5.0.0, the published list (5.0/docs_en, CSV): the requirements whose column L is 1.
LEVEL_1 = [
    "1.2.1",
    "1.2.2",
    "1.2.3",
    "1.2.4",
    "1.2.5",
    "1.3.1",
    "1.3.2",
    "1.5.1",
    "2.1.1",
    "2.2.1",
    "2.2.2",
    "2.3.1",
    "3.2.1",
    "3.2.2",
    "3.3.1",
    "3.4.1",
    "3.4.2",
    "3.5.1",
    "3.5.2",
    "3.5.3",
    "4.1.1",
    "4.4.1",
    "5.2.1",
    "5.2.2",
    "5.3.1",
    "5.3.2",
    "6.1.1",
    "6.2.1",
    "6.2.2",
    "6.2.3",
    "6.2.4",
    "6.2.5",
    "6.2.6",
    "6.2.7",
    "6.2.8",
    "6.3.1",
    "6.3.2",
    "6.4.1",
    "6.4.2",
    "7.2.1",
    "7.2.2",
    "7.2.3",
    "7.2.4",
    "7.4.1",
    "7.4.2",
    "8.1.1",
    "8.2.1",
    "8.2.2",
    "8.3.1",
    "9.1.1",
    "9.1.2",
    "9.1.3",
    "9.2.1",
    "10.4.1",
    "10.4.2",
    "10.4.3",
    "10.4.4",
    "10.4.5",
    "11.3.1",
    "11.3.2",
    "11.4.1",
    "12.1.1",
    "12.2.1",
    "12.2.2",
    "13.4.1",
    "14.2.1",
    "14.3.1",
    "15.1.1",
    "15.2.1",
    "15.3.1",
]


def table(title: str) -> list[list[str]]:
    """The rows of the table under a heading."""
    section = PAGE.partition(f"\n## {title}\n")[2].partition("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


ROWS = table("Level 1")


def test_the_seventy_points_of_level_1_stand_once_each_in_their_order() -> None:
    assert len(LEVEL_1) == len(set(LEVEL_1)) == 70
    assert [row[0] for row in ROWS] == LEVEL_1


def test_every_point_has_words_and_one_of_three_states() -> None:
    assert [row for row in ROWS if len(row) != 4 or row[2] not in STATES or not row[1] or not row[3]] == []


def test_what_is_met_is_shown_by_a_test_or_a_document() -> None:
    assert [row[0] for row in ROWS if row[2] == "met" and not re.search(r"::test_|\]\(|below", row[3])] == []


@cache
def functions_in(file: str) -> set[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_test_that_is_named_is_there() -> None:
    named = set(re.findall(r"(tests/[\w/]+\.py)::(\w+)", PAGE))
    assert len(named) > 30
    assert [
        f"{file}::{name}" for file, name in sorted(named) if not (ROOT / file).exists() or name not in functions_in(file)
    ] == []


@pytest.mark.parametrize("words", ["OWASP", "CC BY-SA 4.0", "5.0"])
def test_the_source_and_its_licence_are_named(words: str) -> None:
    assert words in PAGE.partition("## Level 1")[0]


def test_the_points_of_level_2_stand_once_each_and_are_none_of_level_1() -> None:
    points = [row[0] for row in table("Level 2, where it is met")]
    assert len(points) == len(set(points)) and not set(points) & set(LEVEL_1)
