"""The Data page: how old the newest row is, how many rows are in the figures, left out and waiting, and what to do next."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import chart
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.notes import headline, selected
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.figures.loading import most_frequent, reason_name, reasons_figure
from dashboard.figures.names import table_name
from dashboard.figures.theme import day
from dashboard.pages.data import ids
from dashboard.pages.data.tables import REASONS
from dashboard.questions.data.answers_data import Data
from dashboard.questions.data.answers_rig import Rig
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from shared.freshness import Freshness

NAME = "Data"
QUESTION = "Can we trust it?"
PATH = "data"
# The views by their paths.
LOAD_FILES: Final = "load-files"
LEFT_OUT: Final = "left-out"
LOOK: Final = "deserves-a-look"
NOISE: Final = "noise"
HELD: Final = "what-is-held"
WHERE_FROM: Final = "where-from"
LOADING_PATH: Final = f"{PATH}/{LOAD_FILES}"
# So many stand beside what to do next; all of them in the table.
REASONS_DRAWN: Final = 3
Passages = Mapping[str, tuple[str, ...]]


def head_of(answer: Data) -> list[Any]:
    return [selected(answer), headline(answer.headline)]


def came_in(desk: Desk, selection: Selection, answer: Data, theme: str | None) -> list[Any]:
    """How old the newest row is and what became of the rows in figures, and why rows were left out as a picture."""
    return [_tiles(answer, desk.asker.freshness()), _reasons(answer, theme)]


def steps(desk: Desk, selection: Selection, answer: Data, watched: Rig | None) -> html.Section:
    """What to do about the data, each with how many rows wait there."""
    return next_steps(list(_steps(desk, selection, answer, watched)))


def _steps(desk: Desk, selection: Selection, answer: Data, watched: Rig | None) -> Iterator[NextStep]:
    def view(path: str) -> str:
        return desk.addresses.page(f"{PATH}/{path}", selection.query())

    age = desk.asker.freshness()
    _, rejected, waiting = _counts(answer)
    if watched and watched.findings:
        n = len(watched.findings)
        what = "finding" if n == 1 else "findings"
        yield NextStep(f"{what} on the rig: compare fits before and after with care", view(NOISE), n)
    yield NextStep("Load newer exports" if age.is_stale else "Load new exports", view(LOAD_FILES))
    if rejected:
        words = "row was left out: mend and load it" if rejected == 1 else "rows were left out: mend and load them"
        yield NextStep(words, view(LEFT_OUT), rejected)
    if cells := sum(row.cells for row in answer.tables):
        words = "cell is" if cells == 1 else "cells are"
        yield NextStep(f"faulty {words} kept as not recorded: mend and load the rows", view(LEFT_OUT), cells)
    if waiting:
        yield NextStep(f"{'row waits' if waiting == 1 else 'rows wait'} for a session", view(LEFT_OUT), waiting)
    if answer.warnings:
        yield NextStep("rows deserve a look, and are in the figures", view(LOOK), sum(row.n for row in answer.warnings))


def _counts(answer: Data) -> tuple[int, int, int]:
    """Rows stored, rejected and waiting, over all tables."""
    stored, rejected, waiting = (sum(getattr(row, name) for row in answer.tables) for name in ("stored", "rejected", "waiting"))
    return stored, rejected, waiting


def _tiles(answer: Data, age: Freshness) -> html.Ul:
    stored, rejected, waiting = _counts(answer)
    read = stored + rejected + waiting
    tiles = (
        ("Newest row", day(age.newest_row) if age.newest_row else "none yet", _age(age)),
        ("In the figures", f"{stored:,}", f"of {counted(read, 'row')} that came in"),
        ("Left out", f"{rejected:,}", "kept, each with its reason"),
        ("Waiting", f"{waiting:,}", "for a session to come"),
    )
    return html.Ul(
        [
            html.Li([html.Span(name, className="tile-name"), html.Strong(value), html.Span(words)])
            for name, value, words in tiles
        ],
        className="tiles",
    )


def _age(age: Freshness) -> str:
    """How long ago the newest row was, in words."""
    if age.age_days is None:
        return "load exports to begin"
    if age.is_clock_behind:
        return "after today, by this machine's clock"
    return {0: "today", 1: "yesterday"}.get(age.age_days, f"{age.age_days:,} days ago")


def _reasons(answer: Data, theme: str | None) -> html.Div:
    if not answer.reasons:
        return html.Div(html.H2("No row is waiting, and no row or cell was left out", className="chart-title"))
    first = most_frequent(answer.reasons)[0]
    total = sum(row.n for row in answer.reasons)
    most = f"{reason_name(first.rule)}, in {table_name(first.table)}"
    reason_words = "; ".join(
        f"{row.n:,} {row.state}, {table_name(row.table)}: {row.words}" for row in most_frequent(answer.reasons)
    )
    drawn = chart(
        reasons_figure(answer.reasons, theme, shown=REASONS_DRAWN),
        title=f"Left out most often: {most} ({first.n:,} of {total:,} reasons)",
        alternative=f"Bars of rows and cells by reason. {reason_words}",
        name="reasons",
        level=2,
        table=table("Rows and cells by reason", REASONS, answer.reasons, table_id=ids.REASONS_TABLE),
    )
    return html.Div(drawn, className="panels is-single")
