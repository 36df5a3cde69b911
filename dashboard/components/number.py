"""A number with its interval, and cells that carry the number as it is beside the one that is printed."""

from typing import Any

import orjson

from dashboard.components import html
from dashboard.figures.theme import bare_number, interval, number, unit_sign


def machine_value(value: Any) -> str:
    """A value as JSON, for a test or a script that reads the page."""
    return orjson.dumps(value).decode()


def estimate(name: str, value: float | None, low: float | None, high: float | None, unit: str, *, level: float) -> html.P:
    """A large number with its interval under it; the words say "not enough yet" where there is none."""
    if value is None:
        return html.P("not enough yet", className="estimate-missing")
    return html.P(
        [
            html.Span(
                [bare_number(value, unit), html.Span(unit_sign(unit), className="estimate-unit")],
                className="estimate-value",
                **{"data-figure": name, "data-value": machine_value(value)},
            ),
            html.Span(
                f"{interval(low, high, unit)} ({number(level, 'share')} interval)",
                className="estimate-interval",
                **{"data-low": machine_value(low), "data-high": machine_value(high)},
            ),
        ],
        className="estimate",
    )
