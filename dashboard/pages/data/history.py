"""Every load, and taking one back: first what it would do, then a second button."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.loading import LOADS_SHOWN, loads_figure, standing
from dashboard.pages.data import ids
from dashboard.pages.data.layout import Passages
from dashboard.pages.data.sections import WHOLE, titled
from dashboard.pages.data.tables import LOADS, moment
from dashboard.questions.data.answers_data import LoadRow
from shared.statistics.wording import counted

LOADS_LISTED: Final = 8
_CAPTION: Final = "Loads, the latest first"


def history(rows: Sequence[LoadRow], text: Passages, theme: str | None, *, is_allowed: bool) -> list[Any]:
    """The loads with what each brought, and a way back where the reader may; beside each other as a picture from two on."""
    if not rows:
        return [html.P("No load yet. Hand files in above, or load them with the command: fitledger load FOLDER.")]
    columns = [*LOADS, Column("State", lambda row: _state(row, is_allowed=is_allowed))]
    latest = list(reversed(rows))
    earlier = latest[LOADS_LISTED:]
    return [
        *titled("Every load", WHOLE),
        table(_CAPTION, columns, latest[:LOADS_LISTED], row_key="load_id", table_id=ids.LOADS_TABLE),
        html.Details(
            [html.Summary(f"{len(earlier):,} earlier loads"), table("Earlier loads", columns, earlier, row_key="load_id")],
            className="more",
        )
        if earlier
        else None,
        *_compared(standing(rows), text, theme),
    ]


def _compared(loads: Sequence[LoadRow], text: Passages, theme: str | None) -> list[Any]:
    """The loads that stand beside each other; one alone has nothing to be compared with."""
    if len(loads) < 2:
        return []
    last = loads[-1]
    drawn = chart(
        loads_figure(loads, theme),
        title=f"{last.stored + last.replaced:,} of {last.read:,} rows of the last load are new or changed",
        alternative=f"Stacked bars of {min(len(loads), LOADS_SHOWN)} loads. The last one read "
        f"{last.read:,} rows: {last.stored:,} stored, {last.replaced:,} replaced, "
        f"{last.unchanged:,} unchanged, {last.waiting:,} waiting, {last.rejected:,} rejected.",
        name="loads",
        level=3,
        table_id=ids.LOADS_TABLE,
    )
    return [html.Div(drawn, className="card-alone"), reading(*paragraphs(text["loads"], loads=LOADS_SHOWN))]


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
        f"{f' {undone.calls}' if undone.calls else ''}"
    )


def outcome(words: str) -> html.Div:
    """Shows one sentence on what became of the reader's step, and takes the focus."""
    return html.Div(html.H3(words, className="outcome", tabIndex=-1, **{"data-takes-focus": ""}), className="found")
