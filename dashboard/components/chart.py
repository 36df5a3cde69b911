"""A chart with its title, caption and words for those who do not see it. The only module that makes a dcc.Graph."""

from typing import Any

from dash import dcc, html

from dashboard.figures.theme import CHART_CONFIG


def chart(figure: dict[str, Any], *, title: str, alternative: str, name: str, level: int = 3) -> html.Figure:
    """`title` says the finding, `alternative` the chart in words; `level` is that of the heading."""
    heading = {2: html.H2, 3: html.H3}[level]
    return html.Figure(
        [
            html.Figcaption(heading(title, className="chart-title")),
            html.Div(
                dcc.Graph(
                    figure=figure,
                    config=CHART_CONFIG,
                    responsive=True,
                    style={"height": f"{figure['layout']['height']}px"},
                ),
                role="img",
                **{"aria-label": alternative},
            ),
        ],
        className="chart",
        **{"data-chart": name},
    )


def reading(*parts: Any) -> html.Div:
    """How a chart is read: n, the interval's meaning, the marks."""
    return html.Div(list(parts), className="reading")


def marks_key() -> html.Ul:
    """The marks of the effects chart; each differs in shape, not only in colour."""
    return html.Ul(
        [
            html.Li([html.Span(className="mark mark-pooled", **{"aria-hidden": "true"}), "pooled estimate, its interval"]),
            html.Li(
                [
                    html.Span(className="mark mark-within", **{"aria-hidden": "true"}),
                    "within-knee estimate, its interval",
                ]
            ),
            html.Li([html.Span(className="mark mark-bracket", **{"aria-hidden": "true"}), "bracket: the ends of both"]),
        ],
        className="marks-key",
    )
