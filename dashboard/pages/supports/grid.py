"""The grid of supports and foot types (or the levels of another split), for one outcome; a row narrows the page to itself."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from dash import dcc

from dashboard.components import html
from dashboard.components.number import machine_value
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.figures.effects import Empty
from dashboard.figures.names import OUTCOMES, SUPPORTS, plain
from dashboard.figures.theme import bare_interval, number
from dashboard.pages.supports.asked import PATH
from dashboard.pages.supports.narrow import is_narrowed, is_shown, narrowed, widened
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.selection import Selection

VIEW_PATH = "for-whom"


@dataclass(frozen=True)
class Ground:
    """What the grid stands on: the page's selection, its outcome, and the split of the grid."""

    desk: Desk
    selection: Selection
    outcome: str
    split: str

    @property
    def asked(self) -> Selection:
        """The selection of the grid: with every level, also where the page is narrowed to one of them."""
        base = widened(self.selection, self.split) if is_narrowed(self.selection, self.split) else self.selection
        return replace(base, split=self.split)

    def address(self, level: str | None) -> str | None:
        """The answer narrowed to one level; None where no words of a selection ask for it."""
        there = narrowed(self.selection, self.split, level)
        return self.desk.addresses.page(PATH, there.query()) if there else None

    def way_back(self) -> str:
        """This view of every level."""
        query = widened(self.selection, self.split).query()
        return self.desk.addresses.page(f"{PATH}/{VIEW_PATH}", query, {"outcome": self.outcome})


class LevelCells(NamedTuple):
    """One row of the grid: a level, and its rows of effects by support."""

    level: str | None
    cells: Mapping[str, EffectRow]


def levels_of(rows: Sequence[EffectRow], outcome: str, split: str) -> list[LevelCells]:
    """The rows of one outcome by level, in the order of the answer."""
    cells_by_level: dict[str | None, dict[str, EffectRow]] = {}
    for row in rows:
        if row.outcome == outcome and row.split == split:
            cells_by_level.setdefault(row.level, {})[row.support] = row
    return [LevelCells(level, cells) for level, cells in cells_by_level.items()]


def grid_table(levels: Sequence[LevelCells], ground: Ground, empty: Empty) -> html.Div:
    """The grid itself, of which the head of a row is a link that narrows the page to it; `empty` says what a cell without a
    figure lacks."""

    def of_support(support: str) -> Callable[[LevelCells], Any]:
        return lambda row: _cell(row.cells.get(support), empty)

    return table(
        f"{OUTCOMES[ground.outcome].name} by {plain(ground.split)}",
        [
            Column(plain(ground.split).capitalize(), lambda row: _level_name(row.level, ground)),
            *(Column(name, of_support(support)) for support, name in SUPPORTS.items()),
        ],
        levels,
        row_key="level",
    )


def _level_name(level: str | None, ground: Ground) -> Any:
    address = ground.address(level)
    if address is None:
        return plain(level)
    if is_shown(ground.selection, ground.split, level):
        return dcc.Link([plain(level), html.Small(" shown")], href=ground.way_back(), className="narrow is-chosen")
    return dcc.Link([html.Span("Only ", className="for-readers"), plain(level)], href=address, className="narrow")


def _cell(row: EffectRow | None, empty: Empty) -> Any:
    if row is None:
        return html.Span("no such change", className="is-missing")
    if row.told_low is None or row.told_high is None:
        changes = f"{row.n_changes:,} {'change' if row.n_changes == 1 else 'changes'}"
        return html.Span([empty(row), html.Br(), html.Small(changes)], className="is-missing", title=row.words)
    told_interval = bare_interval(row.told_low, row.told_high, row.unit, effect=True)
    about = number(row.pooled if row.shrunk is None else row.shrunk, row.unit, effect=True)
    behind = html.Small(f"about {about} ({row.n_changes:,})")
    values = {name: machine_value(getattr(row, name[5:].replace("-", "_"))) for name in ("data-pooled", "data-shrunk")}
    shown = html.Strong(told_interval) if row.direction else told_interval
    return html.Span([shown, html.Br(), behind], **{"data-support": row.support}, **values)
