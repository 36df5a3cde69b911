"""The page, the command and the report print one interval for each row of effects, cell, dose and direction, and make bold what
its `direction` claims, and nothing else."""

import itertools
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, cast

import orjson
import pytest

from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.components.places import filled
from dashboard.figures.dose import DOSED, dose_name
from dashboard.figures.effects import row_name
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES, SUPPORTS, plain, unit_words
from dashboard.figures.theme import bare_interval, interval
from dashboard.pages.supports import ids
from dashboard.pages.supports.callbacks import PAGE
from dashboard.questions.door.asking import Asker
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import Selection
from dashboard.report.markup import markup
from shared.settings import Settings

PLACES = (ids.NEARER, *map(ids.panel_of, MAIN_OUTCOMES), ids.FOR_WHOM, ids.BY_DOSE, ids.CHANCE)
# By caption, then by what heads the row: the text of each cell, and whether it is bold.
Cell = tuple[str, bool]
Tables = dict[str, dict[str, list[Cell]]]


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def rows(asker: Asker) -> dict[str, Any]:
    """What the command prints as JSON."""
    answer = cast(Effects, asker.ask("effects", Selection(split="foot_type")))
    told = orjson.loads(answer.to_json())
    # Claims are properties of the rows, and no part of the JSON.
    for name in ("effects", "dose", "off_neutral"):
        for row, one in zip(told[name], getattr(answer, name), strict=True):
            row["claims"] = one.direction != 0
    return dict(told)


@pytest.fixture(scope="module", params=MAIN_OUTCOMES)
def page(asker: Asker, request: pytest.FixtureRequest) -> tuple[str, list[Any]]:
    """An outcome, and what the page of it puts in its places."""
    places = filled(PAGE, Desk(asker, Addresses("/")))  # type: ignore[arg-type]
    return request.param, [places[place](f"?outcome={request.param}", None) for place in PLACES]


def test_the_page_prints_the_rows_of_the_command(page: tuple[str, list[Any]], rows: dict[str, Any]) -> None:
    outcome, nodes = page
    expect_rows(tables_of(nodes), outcome, rows)


def test_the_view_of_both_estimates_prints_the_intervals_of_the_answer(asker: Asker, rows: dict[str, Any]) -> None:
    places = filled(PAGE, Desk(asker, Addresses("/")))  # type: ignore[arg-type]
    table = tables_of(places[ids.BOTH]("", None))["Both estimates: distance from neutral"]
    told = [row for row in rows["effects"] if row["outcome"] == "off_neutral" and row["told_low"] is not None]
    assert len(table) == len(told) == 18
    for row in told:
        ends = interval(row["told_low"], row["told_high"], "deg", effect=True)
        assert table[row_name(cast(Any, type("Row", (), row)))][0] == (ends, row["claims"])


def test_page_command_and_report_say_the_same_sentence(asker: Asker, rows: dict[str, Any]) -> None:
    head = filled(PAGE, Desk(asker, Addresses("/")))[PAGE.head_id]("", None)  # type: ignore[arg-type]
    said = [" ".join(words.replace("\N{NO-BREAK SPACE}", " ").replace(" ;", ";").split()) for words in (_said(head),)]
    assert rows["headline"].replace("\N{NO-BREAK SPACE}", " ") in said[0]


def test_the_report_prints_the_rows_of_the_command(page: tuple[str, list[Any]], rows: dict[str, Any]) -> None:
    outcome, nodes = page
    reader = _Reader()
    reader.feed(str(markup(_unfolded(nodes), itertools.repeat(""))))
    expect_rows(reader.tables, outcome, rows)


def expect_rows(tables: Tables, outcome: str, rows: dict[str, Any]) -> None:
    n_seen = 0
    overall = tables[f"{OUTCOMES[outcome].name}, in {unit_words(outcome)}"]
    for row in rows["effects"]:
        if row["outcome"] not in (outcome, "off_neutral"):
            continue
        ends = row["told_low"], row["told_high"], row["unit"]
        if row["split"] is None:
            assert overall[SUPPORTS[row["support"]]][0] == (interval(*ends, effect=True), row["claims"])
        elif row["split"] == "arrival_direction":
            panel = tables[f"Change in the distance from neutral, knees that came {row['level']}"]
            assert panel[SUPPORTS[row["support"]]][0] == (interval(*ends, effect=True), row["claims"])
        else:
            grid = tables[f"{OUTCOMES[row['outcome']].name} by {plain(row['split'])}"]
            text, bold = grid[plain(row["level"])][list(SUPPORTS).index(row["support"])]
            if row["told_low"] is None:
                assert "needed" in text or "no figure" in text
                continue
            assert text.startswith(f"{bare_interval(*ends, effect=True)} ") and bold == row["claims"]
        n_seen += 1
    for row in rows["dose"]:
        if row["outcome"] == outcome and row["told_low"] is not None:
            name = dose_name(cast(Any, type("Row", (), row)))
            printed = tables[f"{DOSED[row['support']]}: {OUTCOMES[outcome].name.lower()} in {unit_words(outcome)}"][name]
            assert printed[0] == (interval(row["told_low"], row["told_high"], row["unit"], effect=True), row["claims"])
            n_seen += 1
    for row in rows["off_neutral"]:
        printed = tables["Change in the distance from neutral, arrival to departure"][row["arrival_direction"]]
        assert (interval(row["told_low"], row["told_high"], "deg", effect=True), False) in printed
        assert printed[0] == (row["words"], False)
        n_seen += 1
    assert n_seen > 6 + 40 + 18 + 6 + 3


def test_what_is_claimed_and_what_is_not_both_stand_on_the_demo(rows: dict[str, Any]) -> None:
    """Else the comparison above would say little; a cell's shrunken interval leaves out zero where its told one does not."""
    cells = [row for row in rows["effects"] if row["split"] == "foot_type" and row["told_low"] is not None]
    assert {row["claims"] for row in cells} == {True, False}
    shrunken = [row for row in cells if row["shrunk_low"] is not None]
    assert any(not row["claims"] and row["shrunk_low"] * row["shrunk_high"] > 0 for row in shrunken)
    assert {row["told_by"] for row in cells} == {"bracket"}
    assert all((row["told_low"], row["told_high"]) == (row["bracket_low"], row["bracket_high"]) for row in cells)


def tables_of(node: Any) -> Tables:
    found: Tables = {}
    for table in _of_kind(node, "Table"):
        caption = next(_of_kind(table, "Caption"))
        body = next(_of_kind(table, "Tbody"))
        lines = [[part for part in line.children if part is not None] for line in _of_kind(body, "Tr")]
        found[_text(caption)] = {
            _text(line[0]): [(_text(cell), any(True for _ in _of_kind(cell, "Strong"))) for cell in line[1:]] for line in lines
        }
    return found


def _of_kind(node: Any, kind: str) -> Iterator[Any]:
    if isinstance(node, list | tuple):
        for part in node:
            yield from _of_kind(part, kind)
    elif hasattr(node, "to_plotly_json"):
        if type(node).__name__ == kind:
            yield node
        else:
            yield from _of_kind(getattr(node, "children", None), kind)


def _text(node: Any) -> str:
    """The words of a component, without those for readers aloud."""
    if node is None:
        return ""
    if isinstance(node, list | tuple):
        return " ".join(filter(None, map(_text, node)))
    if not hasattr(node, "to_plotly_json"):
        return str(node)
    return "" if "for-readers" in str(getattr(node, "className", "")) else _text(getattr(node, "children", None))


def _said(node: Any) -> str:
    """All words of a component, those for readers aloud among them."""
    if isinstance(node, list | tuple):
        return " ".join(map(_said, node))
    return _said(node.children) if hasattr(node, "to_plotly_json") else "" if node is None else str(node)


def _unfolded(node: Any) -> list[Any]:
    """The tables, folded ones too, which the report leaves out."""
    return list(_of_kind(node, "Table"))


class _Reader(HTMLParser):
    """Tables of a report by caption and head of the row."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: Tables = {}
        self._cells: list[list[Any]] = []
        self._caption: str | None = None
        self._at: str = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "caption":
            self._caption, self._at = "", tag
        elif tag == "tr":
            self._cells = []
        elif tag in ("td", "th"):
            self._cells.append(["", False])
            self._at = "hidden" if ("class", "for-readers") in attrs else tag
        elif tag == "span" and ("class", "for-readers") in attrs:
            self._at = "hidden"
        elif tag == "strong" and self._cells:
            self._cells[-1][1] = True

    def handle_endtag(self, tag: str) -> None:
        if tag == "tr" and self._caption is not None and self._cells:
            head, *cells = self._cells
            self.tables.setdefault(self._caption, {})[head[0].strip()] = [(text.strip(), bold) for text, bold in cells]
        elif tag == "span" and self._at == "hidden":
            self._at = "td"
        elif tag in ("caption", "td", "th"):
            self._at = ""

    def handle_data(self, data: str) -> None:
        if self._at == "caption":
            self._caption = (self._caption or "") + data
        elif self._at in ("td", "th") and data.strip():
            self._cells[-1][0] += f"{data.strip()} "
