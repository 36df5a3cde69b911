"""Whether the effects hold as they are told: what was looked for, and what of it was found."""

from typing import Any

from dashboard.components import columns, html
from dashboard.components.chart import reading
from dashboard.components.page import Desk
from dashboard.components.table import Column, csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.names import CHECKS, OUTCOMES
from dashboard.figures.theme import NOTHING, interval, number
from dashboard.pages.supports.tables import small
from dashboard.questions.effects.answers_checks import CheckRow, Checks
from dashboard.questions.selection.selection import Selection

Text = dict[str, tuple[str, ...]]


def checked(desk: Desk, selection: Selection, answer: Checks, outcome: str, text: Text) -> list[Any]:
    """What was found in sentences, and every check in a fold; empty where nothing was recorded to look at."""
    if not answer.checks:
        return []
    checks_found, name = [row for row in answer.checks if row.is_found], OUTCOMES[outcome].name
    summary: Any = html.P(answer.headline)
    if checks_found:
        summary = html.Ul([html.Li(row.words, **{"data-check": row.check}) for row in checks_found], className="families")
    return [
        html.H2(f"{name}: do the effects hold as they are told?", className="section-title"),
        summary,
        html.Details(
            [
                html.Summary("What was looked for"),
                html.Ul([html.Li(row.words) for row in answer.checks if not row.is_found], className="families"),
                table(f"{name}: the checks in numbers", check_columns(number(desk.level, "share")), answer.checks),
                reading(*paragraphs(text["checks"])),
                csv_link(desk.csv("checks", "checks", selection), "every outcome and check"),
            ],
            className="more",
        ),
    ]


def check_columns(level: str) -> list[Column]:
    """Makes the columns: check, what was found of it, both cases and their difference, and counts."""
    return [
        Column("Looked for", lambda row: CHECKS[row.check]),
        Column("Found", _found_words),
        _ends("first", "First"),
        _ends("other", "Other"),
        _ends("difference", f"Difference, {level} interval"),
        Column("By chance", lambda row: small(row.q_value), ("q_value",), numeric=True),
        columns.count("Changes", "n_changes"),
        columns.count("Riders", "n_riders"),
    ]


def _found_words(row: CheckRow) -> str:
    if row.difference is None:
        return "allowed for" if row.is_allowed_for else "not enough yet"
    return "yes, and allowed for" if row.is_allowed_for and row.is_found else "yes" if row.is_found else "no"


def _ends(name: str, heading: str) -> Column:
    low, high = f"{name}_low", f"{name}_high"

    def printed(row: CheckRow) -> str:
        ends = getattr(row, low), getattr(row, high)
        if ends[0] is None:
            return NOTHING
        return interval(*ends, row.unit, effect=row.unit != "share")

    return Column(heading, printed, (low, high), numeric=True)
