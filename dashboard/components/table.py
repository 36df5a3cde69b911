"""A plain HTML table: caption, scopes, numbers set flush right, a link to the same rows as CSV."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, Final

from dashboard.components import html
from dashboard.components.number import machine_value
from dashboard.components.shown_rows import ShownTable, text_of
from dashboard.components.shown_rows import address_of as csv_address

# The class of a table whose rows tell of single riders or their fits: paper leaves it out unless it is asked for.
NAMES_RIDERS: Final = "names-riders"
# On a phone a row of so many cells is read as a card, each cell under its heading; a long series of numbers stays a table,
# which is scrolled, since its columns are compared.
_MOST_CELLS: Final = 5
_MOST_CELLS_WITH_WORDS: Final = 3
_MOST_CARDS: Final = 25


@dataclass(frozen=True)
class Column:
    """One column: its heading, what is printed from a row, and the keys whose values the cell carries."""

    heading: str
    text: Callable[[Any], Any]
    keys: tuple[str, ...] = ()
    numeric: bool = False
    wide: bool = False


# What a row needs to know of a column: the element of its cells, their text, what all of them carry, and `data-<key>`, whose
# value is unrounded, with its key.
_Laid = tuple[Any, Callable[[Any], Any], Mapping[str, str], Sequence[tuple[str, str]]]


def table(
    caption: str,
    columns: Sequence[Column],
    rows: Sequence[Any],
    *,
    row_key: str | None = None,
    table_id: str | None = None,
) -> html.Div:
    """The rows of an answer as a table; the first column heads each row. A chart leads here by the same `table_id`.

    A table that stands in a place leads to the rows that it shows as CSV.
    """
    head = html.Thead(html.Tr([html.Th(column.heading, scope="col", className=_side(column)) for column in columns]))
    cards = _are_cards(columns, len(rows))
    laid = [_laid(column, heads_row=not place, in_card=cards) for place, column in enumerate(columns)]
    shown = ShownTable(caption, [column.heading for column in columns], [column.text for column in columns], rows)
    body = html.Tbody([_body_row(laid, row, row_key) for row in rows])
    return html.Div(
        [
            html.Div(
                html.Table([html.Caption(caption), head, body]),
                className="table-frame as-cards" if cards else "table-frame",
                role="region",
                tabIndex=0,
                **({"id": table_id} if table_id else {}),
                **{"aria-label": caption},
            ),
            _rows_line(csv_address(table_id, shown), caption),
        ],
        className=f"table {NAMES_RIDERS}" if _names_riders(rows) else "table",
    )


def _names_riders(rows: Sequence[Any]) -> bool:
    first = next(iter(rows), None)
    return hasattr(first, "rider_id") or hasattr(first, "session_id")


def rows_csv(made: html.Table) -> html.P | None:
    """The link to the rows of a table that a page lays out by hand, as they stand; none where it stands in no place."""
    caption, head, body, foot = [*made.children, None][:4]
    headings = [text_of(cell) for cell in head.children.children]
    rows = [row.children for row in body.children] + ([foot.children.children] if foot else [])
    words = text_of(caption)
    shown = ShownTable(words, headings, [itemgetter(place) for place in range(len(headings))], rows)
    return _rows_line(csv_address(None, shown), words)


def _rows_line(address: str | None, caption: str) -> html.P | None:
    if address is None:
        return None
    return _csv_line(address, ["These numbers as CSV", html.Span(f": {caption}", className="for-readers")])


def csv_link(address: str, what: str) -> html.P:
    """A link to a list that stands below no table of its own, named by what it holds."""
    return _csv_line(address, f"{what[:1].upper()}{what[1:]} as CSV")


def _csv_line(address: str, words: Any) -> html.P:
    return html.P(html.A(words, href=address, className="csv", download=""), className="csv-line")


def _side(column: Column) -> str:
    return "is-number" if column.numeric else "is-wide" if column.wide else ""


def _are_cards(columns: Sequence[Column], n_rows: int) -> bool:
    if any(column.wide for column in columns):
        return len(columns) > _MOST_CELLS_WITH_WORDS
    return len(columns) > _MOST_CELLS and n_rows <= _MOST_CARDS


def _laid(column: Column, *, heads_row: bool, in_card: bool) -> _Laid:
    same = {"scope": "row"} if heads_row else {"className": _side(column)}
    if in_card and not heads_row:
        same["data-heading"] = column.heading
    keys = [(f"data-{key.replace('_', '-')}", key) for key in column.keys]
    return html.Th if heads_row else html.Td, column.text, same, keys


def _body_row(laid: Sequence[_Laid], row: Any, row_key: str | None) -> html.Tr:
    cells = [
        element(text(row), **same, **{name: machine_value(getattr(row, key)) for name, key in keys})
        for element, text, same, keys in laid
    ]
    return html.Tr(cells, **({"data-row": str(getattr(row, row_key))} if row_key else {}))
