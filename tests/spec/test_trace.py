"""Where a figure comes from: told by what ran, the same whoever asked before, down to files that are there."""

import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.lineage.tables import ROOT, made_from, tables_read, with_inputs
from dashboard.lineage.trace import Lineage, trace
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.catalogue import catalogue
from shared.errors import StatisticsError, UsageError
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.spec.tables import write_csv

FITS = "session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def held(demo_warehouse: Path) -> set[str]:
    """The tables and views that the warehouse holds."""
    warehouse = open_reading(demo_warehouse)
    rows = warehouse.rows("SELECT table_schema, table_name FROM information_schema.tables")
    warehouse.close()
    return {f"{row['table_schema']}.{row['table_name']}" for row in rows}


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_question_leads_to_files_of_the_program_tables_that_are_there_and_files_that_were_loaded(
    question: str, asker: Asker, held: set[str]
) -> None:
    found = trace(asker, question)
    assert found.sources and (ROOT / found.module).is_file() and found.told != ("",)
    assert [source.file for source in found.sources if not (ROOT / source.file).is_file()] == []
    assert {table for source in found.sources for table in source.tables} <= held
    made = {table.table: table for table in found.tables}
    assert set(made) <= held
    for table in made.values():
        # Down to the raw tables, none left out between.
        assert set(table.made_from) <= set(made)
        assert table.table.startswith("raw.") or (table.made_from and (ROOT / table.made_by).is_file())
    loaded = {f"raw.{file.table}" for file in found.files}
    assert loaded and loaded == {name for name in made if name.removeprefix("raw.") in catalogue()}


def figures_of(answer: Any) -> Iterator[str]:
    """The names under which an answer's rows tell figures."""
    for rows in type(answer).lists():
        for row in getattr(answer, rows):
            named = [getattr(row, name, "") for name in ("figure", "support", "outcome", "check", "topic", "quantity")]
            if words := [word for word in named if isinstance(word, str) and word and " " not in word]:
                yield ".".join(words)


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_figure_can_be_traced(question: str, asker: Asker) -> None:
    answer: Any = None
    with suppress(StatisticsError):
        answer = asker.ask(question, Selection())
    names = sorted(set(figures_of(answer))) if answer else []
    assert names or question not in ("effects", "periods", "studio", "trends", "ratings", "checks")
    for name in names[:: max(1, len(names) // 5)]:
        assert trace(asker, f"{question}.{name}").sources


def test_what_is_remembered_is_told_as_if_it_had_just_run(demo_warehouse: Path, asker: Asker) -> None:
    for question in QUESTIONS:  # whoever asked before
        trace(asker, question)
    for question in ("types", "returns", "periods"):
        fresh = trace(Asker(demo_warehouse, Settings()), question)
        assert (trace(asker, question).sources, fresh.tables) == (fresh.sources, trace(asker, question).tables)


def test_tables_are_read_out_of_the_sql_itself() -> None:
    text = """
        WITH feet AS (SELECT session_id FROM mart.feet WHERE x IN (SELECT max(x) FROM core.riders))
        SELECT feet.session_id FROM feet ANTI JOIN raw.rejects AS left_out ON true, staged_riders
        WHERE EXISTS (FROM mart.fits) AND name <> 'FROM mart.knees' -- FROM mart.ratings
    """
    assert tables_read(text) == {"mart.feet", "core.riders", "raw.rejects", "mart.fits"}
    assert tables_read("CREATE OR REPLACE VIEW mart.w AS SELECT x FROM mart.v") == {"mart.v"}
    assert tables_read("INSERT INTO mart.t BY NAME SELECT x FROM core.a") == {"core.a"}


def test_marts_lead_down_to_raw_tables() -> None:
    assert made_from()["core.riders"] == (frozenset({"raw.riders"}), "etl/sql/core/build.sql")
    assert made_from()["mart.knees"] == (frozenset({"mart.captures", "mart.capture_facts"}), "etl/sql/mart/knees.sql")
    assert with_inputs(["core.foot_exams"]) == {
        "core.fit_sessions": {"core.fitters", "core.riders", "raw.fit_sessions"},
        "core.fitters": {"raw.fitters"},
        "core.foot_exams": {"core.fit_sessions", "raw.foot_exams"},
        "core.riders": {"raw.riders"},
        **dict.fromkeys(("raw.fit_sessions", "raw.fitters", "raw.foot_exams", "raw.riders"), frozenset()),
    }


@pytest.fixture
def two_loads(tmp_path: Path) -> Path:
    path = tmp_path / "w.duckdb"
    people = {"riders": "rider_id\nR1\nR2", "fitters": "fitter_id | fitter_name\nF1 | Alder"}
    load([write_csv(tmp_path / "x", **people, fit_sessions=f"{FITS}S1 | R1 | F1 | q | 2026-03-02 | first")], path)
    load([write_csv(tmp_path / "y", fit_sessions=f"{FITS}S2 | R2 | F1 | q | 2026-03-03 | first")], path)
    return path


def test_the_command_tells_it_as_a_tree_and_as_json(two_loads: Path) -> None:
    done = CliRunner().invoke(app, ["trace", "calls", "--warehouse", str(two_loads)])
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0] == "calls"
    assert "question calls: dashboard/questions/returns/calls.py" in lines
    at = lines.index("  raw.fit_sessions")
    assert [line.split(": ", 1)[1] for line in lines[at + 1 : at + 3]] == ["1 row from fit_sessions.csv"] * 2
    assert lines[at + 1].startswith("    load 1 of 20") and lines[at + 2].startswith("    load 2 of 20")
    assert "  raw.follow_ups, of no file of its own" in lines
    told = json.loads(CliRunner().invoke(app, ["trace", "calls", "--json", "--warehouse", str(two_loads)]).output)
    assert set(told) == {field.name for field in fields(Lineage)}
    assert [(one["table"], one["load_id"], one["file"], one["stored"]) for one in told["files"]] == [
        ("fit_sessions", 1, "fit_sessions.csv", 1),
        ("fit_sessions", 2, "fit_sessions.csv", 1),
        ("fitters", 1, "fitters.csv", 1),
        ("riders", 1, "riders.csv", 2),
    ]


def test_what_is_no_figure_is_told_with_what_is_near(asker: Asker) -> None:
    with pytest.raises(UsageError, match=r"^periods\.comfort_gaind: nothing .* is named comfort_gaind; .* comfort_gained"):
        trace(asker, "periods.comfort_gaind")
    with pytest.raises(UsageError, match="is no question"):
        trace(asker, "shims.tilt")
    # An id of a rider is no name of a figure.
    with pytest.raises(UsageError):
        trace(asker, "riders.R0001")


def test_a_question_that_cannot_be_answered_is_traced_as_far_as_it_ran(two_loads: Path) -> None:
    found = trace(Asker(two_loads, Settings()), "effects.shim.tilt")
    assert len(found.told) == 1 and found.told[0].startswith("Not recorded here: knee_captures")
    assert "dashboard/questions/selection/sql/recorded.sql" in {source.file for source in found.sources}
