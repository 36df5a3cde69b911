"""Every load, and taking one back: first what it would do, then a second button."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.components import html
from dashboard.components.table import Column, table
from dashboard.pages.data import ids
from dashboard.pages.data.sections import WHOLE, titled
from dashboard.pages.data.tables import LOADS, moment
from dashboard.questions.data.answers_data import LoadRow
from shared.statistics.wording import counted

LOADS_LISTED: Final = 8
_CAPTION: Final = "Loads, the latest first"


def loads(rows: Sequence[LoadRow], csv: str, *, is_allowed: bool) -> list[Any]:
    """The loads with what each brought, and a way back where the reader may."""
    if not rows:
        return []
    columns = [*LOADS, Column("State", lambda row: _state(row, is_allowed=is_allowed))]
    latest = list(reversed(rows))
    earlier = latest[LOADS_LISTED:]
    return [
        *titled("Every load", WHOLE),
        table(_CAPTION, columns, latest[:LOADS_LISTED], csv=csv, row_key="load_id", table_id=ids.LOADS_TABLE),
        html.Details(
            [html.Summary(f"{len(earlier):,} earlier loads"), table("Earlier loads", columns, earlier, row_key="load_id")],
            className="more",
        )
        if earlier
        else None,
    ]


def _state(row: LoadRow, *, is_allowed: bool) -> Any:
    if row.undone_at:
        return f"taken back {moment(row.undone_at)}"
    if not is_allowed:
        return "stands"
    return html.Button(
        ["Take back", html.Span(f" load {row.load_id}", className="for-readers")],
        className="button is-small",
        **{"data-take-back": str(row.load_id)},
    )


def asked(load_id: int, foreseen: Sequence[Any]) -> html.Div:
    """What taking the load back would do, and the two ways on."""
    gone = sum(row.gone for row in foreseen)
    former = sum(row.versions for row in foreseen) - gone
    foreseen_items = [
        html.Li(
            f"{row.table}: {counted(row.gone, 'row')} would go, {row.versions - row.gone:,} would be as other loads made them"
        )
        for row in foreseen
    ]
    return html.Div(
        [
            html.H3(f"Take load {load_id} back?", className="outcome", tabIndex=-1, **{"data-takes-focus": ""}),
            html.P(
                f"{counted(gone, 'row')} that no other load brought would go, and {counted(former, 'row')} would be again what "
                "other loads made of them. What this load rejected or left waiting is forgotten with it. The warehouse becomes "
                "what it would be had this load never come; loads that came later stay. The exported files are not touched and "
                "can be loaded again."
            ),
            html.Ul(foreseen_items, className="foreseen"),
            html.Div(
                [
                    html.Button(f"Take load {load_id} back", id=ids.SURE, className="button is-strong"),
                    html.Button("Leave it", id=ids.KEEP, className="button"),
                ],
                className="ways",
            ),
        ],
        className="found",
    )


def taken(load_id: int, undone: Any) -> html.Div:
    """Says what was taken back with a load."""
    return outcome(
        f"Load {load_id} is taken back: {counted(undone.files, 'file')}, "
        f"{counted(undone.versions, 'version of a row', 'versions of rows')}. The pages follow."
    )


def outcome(words: str) -> html.Div:
    """Shows one sentence on what became of the reader's step, and takes the focus."""
    return html.Div(html.H3(words, className="outcome", tabIndex=-1, **{"data-takes-focus": ""}), className="found")
