"""What was left out and why: rejected rows, waiting rows, and rows that deserve a look."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.loading import LOADS_SHOWN, left_out_figure, standing
from dashboard.pages.data import ids
from dashboard.pages.data.rejects import rejected_rows
from dashboard.pages.data.sections import WHOLE, titled
from dashboard.pages.data.tables import REASONS, WAITING, WARNINGS
from dashboard.questions.data.answers_data import Data
from dashboard.questions.selection.selection import Selection

WAITING_SHOWN: Final = 20
Passages = Mapping[str, tuple[str, ...]]


def left_out(
    desk: Desk,
    selection: Selection,
    answer: Data,
    page_words: Mapping[str, str],
    text: Passages,
    csv: Callable[[str], str],
    theme: str | None,
) -> list[Any]:
    """Reasons over the loads, the rejected rows a page at a time, files to mend, waiting rows, warnings."""
    return [
        *titled("What was left out, and why", WHOLE),
        *_by_load(answer, text, theme),
        *_reasons(answer, csv),
        *(_for_others() if desk.asker.fitter is not None else _sections(desk, selection, answer, page_words, text, csv)),
    ]


def _for_others() -> list[Any]:
    """What stands in the place of rows for a reader who does not load."""
    return [
        html.P("The rows themselves, and what deserves a look, are for those who load exports: ask the owner or head fitter.")
    ]


def _sections(
    desk: Desk, selection: Selection, answer: Data, page_words: Mapping[str, str], text: Passages, csv: Callable[[str], str]
) -> list[Any]:
    return [
        *rejected_rows(desk, selection, answer.rejects, page_words, csv("rejects")),
        *_to_mend(desk, answer, text),
        *_waiting(answer, text, csv),
        *titled("What deserves a look", WHOLE),
        *_warnings(answer, text, csv),
    ]


def _by_load(answer: Data, text: Passages, theme: str | None) -> list[Any]:
    loads = standing(answer.loads)[-LOADS_SHOWN:]
    left = [row for row in answer.left_out if row.load_id in {load.load_id for load in loads}]
    # One load is told whole by the reasons at the head of the page.
    if len(loads) < 2 or not left:
        return []
    by_load = {load.load_id: load.rejected + load.waiting for load in loads}
    most = max(by_load, key=lambda load_id: by_load[load_id])
    return [
        html.Div(
            [
                chart(
                    left_out_figure(answer.loads, answer.left_out, theme),
                    title=f"Load {most} left out most: {by_load[most]:,} rows",
                    alternative="Stacked bars of the rows each load left out by reason. "
                    + "; ".join(f"load {load_id}: {n:,}" for load_id, n in by_load.items()),
                    name="left-out",
                ),
                reading(*paragraphs(text["left_out"])),
            ],
            className="card-alone",
        )
    ]


def _reasons(answer: Data, csv: Callable[[str], str]) -> list[Any]:
    if not answer.reasons:
        return [html.P("Nothing: every row that was read is stored.")]
    return [
        html.Details(
            [
                html.Summary(f"Every reason ({len(answer.reasons)})"),
                table("Rows by reason", REASONS, answer.reasons, csv=csv("reasons"), table_id=ids.REASONS_TABLE),
            ],
            className="more",
        )
    ]


def _to_mend(desk: Desk, answer: Data, text: Passages) -> list[Any]:
    tables = sorted({row.table for row in answer.rejects})
    if not tables:
        return []
    return [
        html.H3("To mend", className="part-title"),
        *paragraphs(text["mend"]),
        html.Ul(
            [
                html.Li(html.A(f"{name}-rejects.csv", href=f"{desk.addresses.prefix}mend/{name}.csv", download=""))
                for name in tables
            ],
            className="files-to-mend",
        ),
    ]


def _waiting(answer: Data, text: Passages, csv: Callable[[str], str]) -> list[Any]:
    if not answer.waiting:
        return []
    first = answer.waiting[:WAITING_SHOWN]
    further = len(answer.waiting) - len(first)
    return [
        html.H3("Waiting for a session", className="part-title"),
        *paragraphs(text["waiting"]),
        table(
            f"Waiting rows, by what they wait for{f', the first {len(first)} of {len(answer.waiting):,}' if further else ''}",
            WAITING,
            first,
            csv=csv("waiting"),
        ),
    ]


def _warnings(answer: Data, text: Passages, csv: Callable[[str], str]) -> Sequence[Any]:
    if not answer.warnings:
        return [html.P("No stored row was found unusual or incomplete.")]
    n = sum(row.n for row in answer.warnings)
    return [
        *paragraphs(text["warnings"]),
        html.Details(
            [
                html.Summary(f"{n:,} warnings of {len(answer.warnings)} kinds"),
                table("Warnings by kind", WARNINGS, answer.warnings, csv=csv("warnings")),
            ],
            open=True,
        ),
    ]
