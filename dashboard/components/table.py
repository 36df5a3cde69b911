"""A plain HTML table: caption, scopes, numbers set flush right, a link to the same rows as CSV."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from dashboard.components.number import machine_value


@dataclass(frozen=True)
class Column:
    """One column: its heading, what is printed from a row, and the keys whose values the cell carries."""

    heading: str
    text: Callable[[Any], Any]
    keys: tuple[str, ...] = ()
    numeric: bool = False
    wide: bool = False


def table(
    caption: str,
    columns: Sequence[Column],
    rows: Sequence[Any],
    *,
    csv: str | None = None,
    row_key: str | None = None,
    table_id: str | None = None,
) -> html.Div:
    """The rows of an answer as a table; the first column heads each row. A chart leads here by the same `table_id`."""
    head = html.Thead(html.Tr([html.Th(column.heading, scope="col", className=_side(column)) for column in columns]))
    body = html.Tbody([_row(columns, row, row_key) for row in rows])
    return html.Div(
        [
            html.Div(
                html.Table([html.Caption(caption), head, body]),
                className="table-frame",
                role="region",
                tabIndex=0,
                **({"id": table_id} if table_id else {}),
                **{"aria-label": caption},
            ),
            _csv_line(csv, ["These numbers as CSV", html.Span(f": {caption}", className="for-readers")]) if csv else None,
        ],
        className="table",
    )


def csv_link(address: str, what: str) -> html.P:
    """A link to a list that stands below no table of its own, named by what it holds."""
    return _csv_line(address, f"{what[:1].upper()}{what[1:]} as CSV")


def _csv_line(address: str, words: Any) -> html.P:
    return html.P(html.A(words, href=address, className="csv", download=""), className="csv-line")


def _side(column: Column) -> str:
    return "is-number" if column.numeric else "is-wide" if column.wide else ""


def _row(columns: Sequence[Column], row: Any, row_key: str | None) -> html.Tr:
    first, *others = columns
    marks = {"data-row": str(getattr(row, row_key))} if row_key else {}
    return html.Tr(
        [html.Th(first.text(row), scope="row", **_values(first, row))]
        + [html.Td(column.text(row), className=_side(column), **_values(column, row)) for column in others],
        **marks,
    )


def _values(column: Column, row: Any) -> Mapping[str, str]:
    """`data-<key>` for every key, with the unrounded value."""
    return {f"data-{key.replace('_', '-')}": machine_value(getattr(row, key)) for key in column.keys}
