"""Every table on every page offers the rows that it shows as CSV: the same, in the same order, with the words of the cells."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.components import html
from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page
from dashboard.components.places import filled
from dashboard.components.shown_rows import ShownTable, in_place
from dashboard.components.table import Column, table
from dashboard.pages import PAGES
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.report.paper import of_class
from shared.settings import Settings

SEARCHES = ("", "?from=2026-01-01&split=foot_type", "?rider=R0487")


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def server(asker: Asker) -> Any:
    return create_app(asker).server


@pytest.fixture
def client(server: Any) -> Any:
    # As a reader at the machine itself, in the places as in the downloads.
    with server.test_request_context(environ_base={"REMOTE_ADDR": "127.0.0.1"}):
        yield server.test_client()


def seen(node: Any) -> str:
    """What stands in a cell for the eye, a line's end as a blank; a control is no part of it."""
    if isinstance(node, list | tuple):
        return "".join(map(seen, node))
    if not hasattr(node, "to_plotly_json"):
        return "" if node is None else str(node)
    props = node.to_plotly_json()["props"]
    if node._type == "Br":
        return " "
    return "" if node._type == "Button" or "for-readers" in props.get("className", "") else seen(props.get("children"))


def plain(words: str) -> str:
    """Without blanks and without the apostrophe that keeps a spreadsheet from running a cell."""
    return "".join(words.split()).removeprefix("'")


def tables(shown: Any) -> Iterator[tuple[list[str], list[list[str]], str]]:
    """The headings, the cells and the address of every table in what a place shows."""
    framed = [one for one in of_class(shown, "table") if of_class(one.children[:1], "table-frame")]
    assert len(framed) == len(of_class(shown, "table-frame"))  # no table without a file of it
    for one in framed:
        frame, line = one.children
        _, head, *bodies = frame.children.children
        headings = [seen(cell) for cell in head.children.children]
        rows = [
            row for body in bodies if body for row in (body.children if isinstance(body.children, list) else [body.children])
        ]
        yield headings, [[plain(seen(cell)) for cell in row.children] for row in rows], line.children.href


@pytest.mark.parametrize("search", SEARCHES)
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_the_csv_of_every_table_holds_the_rows_that_it_shows(client: Any, asker: Asker, page: Page, search: str) -> None:
    desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))
    addresses: list[str] = []
    for place, fill in filled(page, desk).items():
        for headings, cells, address in tables(fill(search, "light")):
            response = client.get(address)
            assert response.status_code == 200, (place, address, response.get_data(as_text=True))
            rows = list(csv.reader(io.StringIO(response.get_data(as_text=True), newline="")))
            if not cells:
                assert rows == []
                continue
            told, *found = rows
            assert [
                name.rpartition(" (")[0] if name.endswith((" (2)", " (3)")) else name for name in told[: len(headings)]
            ] == [*headings], (place, address)
            assert [[plain(cell) for cell in row[: len(headings)]] for row in found] == cells, (place, address)
            addresses.append(address)
    assert len(set(addresses)) == len(addresses)  # no two tables of a page share one
    if search != "?rider=R0487":
        assert addresses or page.path == "riders"


@dataclass(frozen=True)
class Row:
    name: str
    share: float | None
    n: int
    since: date | None = None


COLUMNS = (
    Column("Figure", lambda row: row.name),
    Column("Share", lambda row: [f"{row.share:.0%}", html.Br(), html.Small(f"n = {row.n:,}")], numeric=True),
    Column("Share", lambda row: [html.Span("read aloud ", className="for-readers"), "+1"], numeric=True),
    Column("n", lambda row: f"{row.n:,}", numeric=True),
)


def shown_of(rows: list[Any]) -> list[dict[str, Any]]:
    return ShownTable("Shares", [one.heading for one in COLUMNS], [one.text for one in COLUMNS], rows).as_rows()


def test_cells_stand_beside_the_values_that_they_round() -> None:
    assert shown_of([Row("Held", 0.6249, 1234)]) == [
        {
            "Figure": "Held",
            "Share": "62% n = 1,234",
            "Share (2)": "+1",
            "n": "1,234",
            "name": "Held",
            "share": 0.6249,
            "n_value": 1234,
            "since": None,
        }
    ]


def test_a_row_of_rows_tells_the_values_of_each() -> None:
    both = ShownTable(
        "Two", ["Now"], [lambda row: row["now"].n], [{"now": Row("a", 0.1, 2), "year before": None}, {"now": Row("a", 0.1, 2)}]
    )
    assert both.as_rows()[0] == {
        "Now": "2",
        "now_name": "a",
        "now_share": 0.1,
        "now_n": 2,
        "now_since": None,
        "year_before": None,
    }
    assert both.as_rows()[1].keys() == both.as_rows()[0].keys()


def test_a_table_knows_its_address_only_where_it_stands_in_a_place() -> None:
    rows = [Row("Held", 0.5, 4)]
    assert table("Alone", COLUMNS, rows).children[1] is None
    both = in_place(
        lambda _view, _theme: [table("One", COLUMNS, rows), table("Two", COLUMNS, rows, table_id="two")],
        "spot",
        Addresses("/s/"),
    )
    hrefs = [one.children[1].children.href for one in both("?from=2026-01-01", None)]
    assert hrefs == [
        "/s/download/shown/spot.csv?from=2026-01-01&table=1",
        "/s/download/shown/spot.csv?from=2026-01-01&table=two",
    ]
    assert both("", None)[0].children[1].children.href == "/s/download/shown/spot.csv?table=1"


def test_what_no_page_shows_is_told(client: Any) -> None:
    for address in ("shown/nowhere.csv?table=1", "shown/studio-head.csv?table=none", "shown/studio-head.csv?weather=fine"):
        response = client.get(f"/download/{address}")
        assert response.status_code == 400
        assert response.get_data(as_text=True).strip().endswith(("under its table.", "'fitter'."))
