"""The way from exported files to the screens, once, under other versions of the libraries (`make lowest`, `make newest`).

It asks that each step is done; whether figures are right is asked by tests/reference, which runs beside it.
"""

import json
import shutil
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import shared
from dashboard.app import create_app
from dashboard.cli import app
from dashboard.components.page import Page
from dashboard.pages import PAGES
from dashboard.questions.door.asking import QUESTIONS, Asker
from shared.errors import EXIT_SOME_REJECTED
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.unit.page_places import places, texts
from warehouse_demo import EXPORTS

RIDER = "R0012"


def run(*words: str | Path, code: int = 0) -> str:
    """What one command prints; a fault of it is the test's."""
    done = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == code, done.output
    return done.stdout


@pytest.fixture
def path(demo_warehouse: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(demo_warehouse, tmp_path / "w.duckdb"))


def n_riders(path: Path, rider: str = "%") -> int:
    warehouse = open_reading(path)
    try:
        return int(warehouse.value("SELECT count(*) FROM core.riders WHERE rider_id LIKE $rider", {"rider": rider}))
    finally:
        warehouse.close()


def test_the_product_is_the_installed_wheel() -> None:
    assert Path(sys.prefix) in Path(shared.__file__).parents


def test_files_that_are_known_are_loaded_again_without_a_row(path: Path) -> None:
    again = json.loads(run("load", EXPORTS, "--warehouse", path, "--json", code=EXIT_SOME_REJECTED))
    assert again["files"] and {file["stored"] + file["replaced"] for file in again["files"]} == {0}


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_question_is_answered(question: str, demo_warehouse: Path) -> None:
    assert json.loads(run("show", question, "--warehouse", demo_warehouse, "--json"))
    assert run("show", question, "--warehouse", demo_warehouse)


def test_a_figure_is_traced_and_the_server_tells_of_itself(demo_warehouse: Path) -> None:
    told = json.loads(run("trace", "effects.shim.tilt", "--warehouse", demo_warehouse, "--json"))
    assert told["told"] and told["sources"] and {file["table"] for file in told["files"]} > {"riders", "knee_captures"}
    answer = create_app(Asker(demo_warehouse, Settings())).server.test_client().get("/metrics")
    assert answer.status_code == 200 and 'fitledger_rows{outcome="stored",table="riders"}' in answer.get_data(as_text=True)


def test_marts_and_answers_are_exported(demo_warehouse: Path, tmp_path: Path) -> None:
    run("export", tmp_path / "out", "--warehouse", demo_warehouse)
    package = json.loads((tmp_path / "out" / "datapackage.json").read_text(encoding="utf-8"))
    listed = {Path(resource["path"]) for resource in package["resources"]}
    assert len(listed) > 10 and all((tmp_path / "out" / file).stat().st_size for file in listed)


def test_a_load_is_taken_back(path: Path) -> None:
    run("undo", "1", "--warehouse", path)
    assert n_riders(path) == 0


def test_a_rider_is_forgotten_in_the_warehouse_and_in_its_backup(path: Path, tmp_path: Path) -> None:
    run("backup", tmp_path / "kept.backup", "--warehouse", path)
    told = json.loads(run("forget", RIDER, "--warehouse", path, "--yes", "--json"))
    assert len(told["places"]) == 2
    run("restore", tmp_path / "kept.backup", "--warehouse", path, "--replace")
    assert n_riders(path, RIDER) == 0
    run("doctor", "--warehouse", path)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.path or "studio")
def test_every_page_is_served(page: Page, demo_warehouse: Path) -> None:
    client = create_app(Asker(demo_warehouse, Settings())).server.test_client()
    words = [text for told in places(client, page.path, "") for text in texts(told)]
    assert len(words) > 20 and not any("something went wrong" in text for text in words)
