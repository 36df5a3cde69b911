"""What was left out and why: rejected rows, waiting rows, and rows that deserve a look."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.entering import task_form
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.loading import LOADS_SHOWN, left_out_figure, standing
from dashboard.pages.data.rejects import rejected_rows
from dashboard.pages.data.sections import WHOLE
from dashboard.pages.data.tables import WAITING, WARNINGS
from dashboard.questions.data.answers_data import Data
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection

WAITING_SHOWN: Final = 10
Passages = Mapping[str, tuple[str, ...]]


def left_out(
    desk: Desk, selection: Selection, answer: Data, page_words: Mapping[str, str], text: Passages, theme: str | None
) -> list[Any]:
    """Rejected rows a page at a time, files to mend, waiting rows, and what each load left out."""
    if desk.asker.fitter is not None:
        rows: list[Any] = _for_others()
    else:
        rows = [
            *rejected_rows(desk, selection, answer.rejects, page_words),
            *_to_mend(desk, answer, text),
            *_waiting(answer, text),
        ]
    return [html.P(WHOLE, className="concerns"), *rows, *_by_load(answer, text, theme)]


def deserves_a_look(desk: Desk, selection: Selection, answer: Data, text: Passages) -> list[Any]:
    """Rows that are in the figures and were found unusual or incomplete."""
    if desk.asker.fitter is not None:
        return _for_others()
    return [html.P(WHOLE, className="concerns"), *_warnings(answer, text)]


def _for_others() -> list[Any]:
    """What stands in the place of rows for a reader who does not load."""
    return [
        html.P("The rows themselves, and what deserves a look, are for those who load exports: ask the owner or head fitter.")
    ]


def _by_load(answer: Data, text: Passages, theme: str | None) -> list[Any]:
    loads = standing(answer.loads)[-LOADS_SHOWN:]
    left = [row for row in answer.left_out if row.load_id in {load.load_id for load in loads}]
    # One load is told whole by the reasons of the answer.
    if len(loads) < 2 or not left:
        return []
    by_load = {load.load_id: load.rejected + load.waiting for load in loads}
    most = max(by_load, key=lambda load_id: by_load[load_id])
    return [
        html.Details(
            [
                html.Summary("What each load left out"),
                chart(
                    left_out_figure(answer.loads, answer.left_out, theme),
                    title=f"Load {most} left out most: {by_load[most]:,} rows",
                    alternative="Stacked bars of the rows each load left out by reason. "
                    + "; ".join(f"load {load_id}: {n:,}" for load_id, n in by_load.items()),
                    name="left-out",
                    level=2,
                ),
                reading(*paragraphs(text["left_out"])),
            ],
            className="more",
        )
    ]


def _to_mend(desk: Desk, answer: Data, text: Passages) -> list[Any]:
    tables = sorted({row.table for row in answer.rejects})
    if not tables:
        return []
    last = max((load.load_id for load in answer.loads if load.rejected), default=0)
    return [
        html.H2("To mend", className="part-title"),
        task_form(desk, "load", str(last), f"on what load {last} left out"),
        *paragraphs(text["mend"]),
        html.Ul(
            [
                html.Li(html.A(f"{name}-rejects.csv", href=f"{desk.addresses.prefix}mend/{name}.csv", download=""))
                for name in tables
            ],
            className="files-to-mend",
        ),
    ]


def _waiting(answer: Data, text: Passages) -> list[Any]:
    if not answer.waiting:
        return []
    first = answer.waiting[:WAITING_SHOWN]
    further = len(answer.waiting) - len(first)
    return [
        html.H2("Waiting for a session", className="part-title"),
        *paragraphs(text["waiting"]),
        table(
            f"Waiting rows, by what they wait for{f', the first {len(first)} of {len(answer.waiting):,}' if further else ''}",
            WAITING,
            first,
        ),
    ]


def _warnings(answer: Data, text: Passages) -> Sequence[Any]:
    if not answer.warnings:
        return [html.P("No stored row was found unusual or incomplete.")]
    n = sum(row.n for row in answer.warnings)
    caption = f"{counted(n, 'warning')} of {counted(len(answer.warnings), 'kind')}"
    return [*paragraphs(text["warnings"]), table(caption, WARNINGS, answer.warnings)]
