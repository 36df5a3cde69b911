"""The rejected rows, and cells left out of rows that are in, a page at a time; the place in the list is part of the address."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any, Final

from dashboard.components import html
from dashboard.components.choices import choice, choices, turning, within
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.figures.loading import reason_name
from dashboard.pages.data.layout import LEFT_OUT, PATH
from dashboard.pages.data.tables import REJECTS
from dashboard.questions.data.answers_data import RejectRow
from dashboard.questions.selection.selection import Selection

ROWS_SHOWN: Final = 10
VIEW: Final = f"{PATH}/{LEFT_OUT}"


def rejected_rows(desk: Desk, selection: Selection, rows: Sequence[RejectRow], page_words: Mapping[str, str]) -> list[Any]:
    """The choice of a reason, one page of rows, and links to the pages before and after."""
    if not rows:
        return [html.P("No row was rejected.")]
    reasons = list(dict.fromkeys(row.rule for row in rows))
    reason = page_words.get("reason")
    chosen = [row for row in rows if reason in (None, row.rule)]
    start = within(page_words.get("start"), ROWS_SHOWN, len(chosen))
    page_rows = chosen[start : start + ROWS_SHOWN]
    place = f"{start + 1:,} to {start + len(page_rows):,} of {len(chosen):,}" if page_rows else "none"

    def address(to_reason: str | None, to_start: int = 0) -> str:
        given = {"reason": to_reason, "start": str(to_start) if to_start else None}
        return desk.addresses.page(VIEW, selection.query(), {word: value for word, value in given.items() if value})

    links = (
        choice(reason_name(code).capitalize() if code else "Every reason", address(code), is_shown=code == reason)
        for code in (None, *reasons)
    )
    return [
        choices("Reason of rejection", "reason", links),
        table(
            f"Rejected rows{' and cells left out' if any(row.is_cell for row in chosen) else ''}, {place}",
            REJECTS,
            page_rows,
        ),
        turning("← rows before", "next rows →", start, ROWS_SHOWN, len(chosen), partial(address, reason)),
    ]
