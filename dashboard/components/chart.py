"""A chart with its title, words for those who do not see it, and its picture. The only module that makes a dcc.Graph."""

from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.text import unbroken
from dashboard.figures.template import as_text
from dashboard.figures.theme import CHART_CONFIG

# Kind of file and its button, read by assets/pictures.js.
PICTURES: Final = {"png": "Picture (PNG)", "svg": "Drawing (SVG)"}


def chart(
    figure: dict[str, Any],
    *,
    title: str,
    alternative: str,
    name: str,
    level: int = 3,
    table: html.Div | None = None,
    table_id: str | None = None,
) -> html.Figure:
    """`title` says the finding, `alternative` the chart in words; `level` is that of the heading.

    `table`: the table() of the same numbers, which is folded under the chart with its pictures; the key T opens it while the
    focus is in the chart. `table_id`: where one table of several charts stands elsewhere, its id.
    """
    heading = {2: html.H2, 3: html.H3}[level]
    shown_at = _identified(table, name) if table is not None else table_id
    to_table = {"data-table": shown_at, "aria-keyshortcuts": "T"} if shown_at else {}
    return html.Figure(
        [
            html.Figcaption(heading(unbroken(title), className="chart-title")),
            html.Div(
                dcc.Graph(
                    figure=as_text(figure),
                    config=CHART_CONFIG,
                    responsive=True,
                    style={"height": f"{figure['layout']['height']}px"},
                ),
                role="img",
                tabIndex=0,
                className="chart-drawing",
                **{"aria-label": alternative, **to_table},
            ),
            _more(title, table, table_id),
        ],
        className="chart",
        **{"data-chart": name},
    )


def _identified(shown: html.Div, name: str) -> str:
    """The id of a table's frame, which is given one where it has none."""
    frame = shown.children[0]
    frame.id = getattr(frame, "id", None) or f"table-of-{name}"
    return str(frame.id)


def _more(title: str, shown: html.Div | None, table_id: str | None) -> html.Details:
    """The fold under a chart: its numbers as a table, its pictures as files."""
    words = "Numbers and pictures" if shown is not None else "Pictures"
    return html.Details(
        [
            html.Summary([words, _of_chart(title)]),
            shown,
            html.P(_tools(title, table_id), className="chart-tools"),
        ],
        className="chart-more",
    )


def _of_chart(title: str) -> html.Span:
    """What tells a chart's fold and buttons from those of the others, read aloud alone: the title as far as its finding."""
    return html.Span(f": {title.partition(': ')[0]}", className="for-readers")


def _tools(title: str, table_id: str | None) -> list[Any]:
    """Makes the chart's buttons and links; each is named with it, since several charts stand on a page."""
    of_chart = _of_chart(title)
    buttons: list[Any] = [
        html.Button([words, of_chart], type="button", className="tool", **{"data-picture": form})
        for form, words in PICTURES.items()
    ]
    if table_id:
        buttons.append(
            html.A(["Table of this chart", of_chart], href=f"#{table_id}", className="tool", title="Key T in the chart")
        )
    return buttons


def reading(*parts: Any) -> html.Div:
    """How a chart is read: n, the interval's meaning, the marks. Saved with the picture of the charts before it."""
    return html.Div(list(parts), className="reading")
