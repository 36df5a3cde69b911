"""For whom: whether a support does more for one foot type (or level of another split) than for another; said once where it does
not, and what the empty cells lack."""

from collections.abc import Sequence
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import csv_link
from dashboard.components.text import paragraphs
from dashboard.figures.levels import alternative, levels_chart, told_once
from dashboard.figures.names import OUTCOMES, SUPPORTS, plain
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.asked import TEXT, chosen_outcome, effects, lacking_in, outcome_links, way_to_settling
from dashboard.pages.supports.grid import Ground, grid_table, levels_of
from dashboard.pages.supports.narrow import is_narrowed, words_of
from dashboard.questions.effects.answers_effects import Effects, FamilyRow
from dashboard.questions.effects.needed import nearest
from dashboard.questions.models.answers_models import EffectRow

# So many of the empty cells are named, those that lack the fewest changes.
_NEAREST = 3


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        ground = Ground(desk, view.selection, chosen_outcome(view), view.selection.split or "foot_type")
        answer = effects(desk, ground.asked, "overall", "split", outcomes=(ground.outcome,))
        return for_whom(answer, ground, theme)

    return {ids.FOR_WHOM: show}


def for_whom(answer: Effects, ground: Ground, theme: str | None) -> list[Any]:
    """The choice of an outcome, the picture over the grid, what the empty cells lack, and whether the levels differ in words;
    the choice alone where the answer holds no level."""
    levels = levels_of(answer.effects, ground.outcome, ground.split)
    cells = [row for level in levels for row in level.cells.values()]
    choice = outcome_links(ground.desk, ground.selection, VIEW.path, ground.outcome)
    if not levels:
        return [choice, html.P(f"There is no {plain(ground.split)} to tell apart here.")]
    families = [row for row in answer.families if row.outcome == ground.outcome]
    told = told_once(answer.effects, families, ground.outcome, ground.split)
    empty = lacking_in(ground.desk)
    return [
        html.Div([choice, way_back(ground)], className="choices-line"),
        html.Div(
            chart(
                levels_chart(told, ground.outcome, empty, theme),
                title=grid_title(cells, families, ground),
                alternative=alternative(told, ground.outcome, empty),
                name="for-whom",
                level=2,
                table=grid_table(levels, ground, empty),
            ),
            className="panels is-single",
        ),
        reading(*paragraphs(TEXT["for_whom"], split=plain(ground.split))),
        *lacking(cells, ground),
        *way_to_settling(ground.desk, ground.selection, cells),
        _in_words(families, ground),
        html.Details(
            [
                html.Summary("How the table is read"),
                *paragraphs(TEXT["grid"], level=number(ground.desk.level, "share")),
                *([] if _can_narrow(answer, ground) else paragraphs(TEXT["not_narrowing"], split=plain(ground.split))),
                csv_link(ground.desk.csv("effects", "effects", ground.asked), f"effects by {plain(ground.split)}"),
            ],
            className="more",
        ),
    ]


def grid_title(cells: Sequence[EffectRow], families: Sequence[FamilyRow], ground: Ground) -> str:
    """Whether any support differs between the levels, and how much of the grid can be told."""
    name = f"{OUTCOMES[ground.outcome].name} by {plain(ground.split)}"
    n_estimated = sum(cell.told_low is not None for cell in cells)
    if not n_estimated:
        return f"{name}: no figure yet in any cell"
    enough = f"enough changes in {n_estimated} of {len(cells)} cells"
    if not families:
        return f"{name}: {enough}"
    differing = [SUPPORTS[row.support].lower() for row in families if row.differs]
    difference_words = f"a difference for {' and '.join(differing)}" if differing else "no support clearly differs"
    return f"{name}: {difference_words}, and {enough}"


def lacking(cells: Sequence[EffectRow], ground: Ground) -> list[Any]:
    """Which empty cells lack the fewest changes, and how many each."""
    settings, empty = ground.desk.asker.settings, [row for row in cells if row.told_low is None]
    nearest_cells = nearest(cells, settings, _NEAREST)
    if not nearest_cells:
        return []
    minimum = settings.minimum
    need = f"A figure needs {minimum.changes_per_type} changes in {minimum.riders_per_effect} riders."
    return [
        html.H2(f"{len(empty):,} of {len(cells):,} cells are empty; nearest to a figure:", className="section-title"),
        html.Ul(
            [html.Li(f"{SUPPORTS[row.support]}, {plain(row.level)}: {one.words}") for row, one in nearest_cells],
            className="families",
        ),
        reading(html.P(f"{need} The table names what each cell lacks.")),
    ]


def way_back(ground: Ground) -> html.P | None:
    """The way back to every level, where the page is narrowed to one."""
    if not is_narrowed(ground.selection, ground.split):
        return None
    return html.P(
        [
            f"The answer above is of one {plain(ground.split)}; this view keeps all. ",
            dcc.Link(f"Show every {plain(ground.split)} again", href=ground.way_back()),
        ],
        className="narrowing",
    )


def _can_narrow(answer: Effects, ground: Ground) -> bool:
    return any(words_of(ground.split, row.level) for row in answer.effects if row.split == ground.split)


def _in_words(families: Sequence[FamilyRow], ground: Ground) -> html.Details | None:
    """Support by support, whether the levels differ, in the answer's words."""
    if not families:
        return None
    return html.Details(
        [
            html.Summary(f"Does a support do more for one {plain(ground.split)} than for another?"),
            *paragraphs(TEXT["families"]),
            html.Ul([html.Li(row.words) for row in families], className="families"),
            csv_link(ground.desk.csv("effects", "families", ground.asked), f"whether they differ by {plain(ground.split)}"),
        ],
        className="more",
    )


VIEW = PageView("for-whom", "For whom", lambda: [ids.FOR_WHOM], shows, splits=True)
