"""The rejected rows, a page at a time; the place in the list is part of the address."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import starting_place
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.figures.loading import reason_name
from dashboard.pages.data.layout import LEFT_OUT, PATH
from dashboard.pages.data.tables import REJECTS
from dashboard.questions.data.answers_data import RejectRow
from dashboard.questions.selection.selection import Selection

ROWS_SHOWN: Final = 10
VIEW: Final = f"{PATH}/{LEFT_OUT}"


def rejected_rows(
    desk: Desk, selection: Selection, rows: Sequence[RejectRow], page_words: Mapping[str, str], csv: str
) -> list[Any]:
    """The choice of a reason, one page of rows, and links to the pages before and after."""
    if not rows:
        return [html.P("No row was rejected.")]
    reasons = list(dict.fromkeys(row.rule for row in rows))
    reason, start = page_words.get("reason"), starting_place(page_words.get("start"))
    chosen = [row for row in rows if reason in (None, row.rule)]
    page_rows = chosen[start : start + ROWS_SHOWN]
    place = f"{start + 1:,} to {start + len(page_rows):,} of {len(chosen):,}" if page_rows else f"none of {len(chosen):,}"

    def link(words: str, to_reason: str | None, to_start: int, style: str) -> dcc.Link:
        given = {"reason": to_reason, "start": str(to_start) if to_start else None}
        kept = {word: value for word, value in given.items() if value}
        return dcc.Link(words, href=desk.addresses.page(VIEW, selection.query(), kept), className=style)

    choices = [
        html.Li(link(reason_name(code).capitalize() if code else "Every reason", code, 0, _style(code == reason)))
        for code in (None, *reasons)
    ]
    return [
        html.Nav(html.Ul(choices, className="choices"), **{"aria-label": "Reason of rejection", "data-choices": "reason"}),
        table(f"Rejected rows, {place}", REJECTS, page_rows, csv=csv),
        html.P(
            [
                link("← rows before", reason, max(start - ROWS_SHOWN, 0), "choice") if start else None,
                link("next rows →", reason, start + ROWS_SHOWN, "choice") if start + ROWS_SHOWN < len(chosen) else None,
            ],
            className="turning",
        ),
    ]


def _style(is_chosen: bool) -> str:
    return "choice is-chosen" if is_chosen else "choice"
