"""Ids and codes from outside that look like markup or formulas stay text: on a page, in a chart's labels, and in a CSV."""

import csv
import io
import json
import re
import shutil
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.figures.template import as_text
from dashboard.figures.theme import CHART_CONFIG
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from etl import mart
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import open_loading
from tests.every_view import EVERY_VIEW
from tests.unit.page_places import parts, places, texts

ROOT = Path(__file__).resolve().parents[2]
MARKUP = "<img src=x onerror=alert(1)>"
FORMULA = "=1+1"
# Components of Dash that write text as markup; none of them is used.
MARKUP_COMPONENTS = ("Markdown", "DangerouslySetInnerHTML", "Iframe")


def make_hostile(demo: Path, path: Path) -> Path:
    """The demo, with ids that begin as a formula and end in markup."""
    shutil.copyfile(demo, path)
    columns = {"rider_id", "fitter_id", "fitter_name", "studio_id", "notes", "bike_kind"}
    with open_loading(path) as warehouse:
        for table in catalogue().values():
            for name in columns & set(table.column_names):
                warehouse.run(f'UPDATE core."{table.name}" SET "{name}" = \'{FORMULA}\' || "{name}" || \'{MARKUP}\'')
        mart.build(warehouse)
    return path


@pytest.fixture(scope="module")
def hostile(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_hostile(demo_warehouse, tmp_path_factory.mktemp("hostile") / "demo.duckdb")


@pytest.fixture(scope="module")
def client(hostile: Path) -> FlaskClient:
    return create_app(Asker(hostile, Settings())).server.test_client()


@pytest.mark.parametrize("search", ["", "?split=bike_kind", f"?rider={quote(FORMULA + 'R0001' + MARKUP)}"])
@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_ids_are_text_on_the_page_and_in_its_charts(client: FlaskClient, page: Any, search: str) -> None:
    for told in places(client, page.path, search):
        assert "in the log under" not in json.dumps(told)
        for part in parts(told):
            assert part["type"] not in MARKUP_COMPONENTS
            if part["type"] == "Graph":
                # Plotly reads some tags in its labels; text from the data comes as &lt;img, and is shown as <img.
                assert [text for text in texts(part["props"]["figure"]) if "<img" in text] == []


# Lists, and what tells of one rider or one split where none is chosen.
WITHOUT_A_CHART = {
    "figures",
    "tasks",
    "data/deserves-a-look",
    "data/left-out",
    "data/load-files",
    "data/what-is-held",
    "next/by-hand",
    "fitters/process",
    "fitters/worst-disagreements",
    "riders",
    "symmetry/patterns",
    "next",
    "next/riders-like-this-one",
    "returns/calls",
    "returns/by-group",
    "returns/worth-it",
    "riders/fit-by-fit",
    "riders/exam",
    "riders/ratings-and-bicycle",
    "riders/all",
}


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_every_chart_keeps_the_one_configuration(client: FlaskClient, page: Any) -> None:
    graphs = [part for told in places(client, page.path, "") for part in parts(told) if part["type"] == "Graph"]
    assert bool(graphs) != (page.path in WITHOUT_A_CHART)
    assert [graph for graph in graphs if graph["props"]["config"] != CHART_CONFIG] == []
    assert CHART_CONFIG["showSendToCloud"] is False and CHART_CONFIG["plotlyServerURL"] == ""


def test_only_the_chart_component_makes_a_graph() -> None:
    makers = [path.name for path in (ROOT / "dashboard").rglob("*.py") if re.search(r"\bGraph\(", path.read_text("utf-8"))]
    assert makers == ["chart.py"]


def test_our_own_tags_stay_and_others_are_shown_as_they_are_written() -> None:
    given = {"x": [1, None, "<b>a</b><br>"], "y": ({"text": f"<a href='x'>b</a> {MARKUP}"},)}
    assert as_text(given) == {
        "x": [1, None, "<b>a</b><br>"],
        "y": [{"text": "&lt;a href='x'>b&lt;/a> &lt;img src=x onerror=alert(1)>"}],
    }


@pytest.mark.parametrize("question", QUESTIONS)
def test_no_cell_of_a_csv_is_run_by_a_spreadsheet(client: FlaskClient, question: str) -> None:
    text = client.get(f"/download/{question}.csv").get_data(as_text=True)
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            assert not cell.startswith(("=", "+", "@", "\t", "\r"))
            assert not cell.startswith("-") or float(cell) <= 0
