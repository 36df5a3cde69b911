"""The grid of supports and foot types (or the levels of another split), for one outcome; a row narrows the page to itself."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.number import machine_value
from dashboard.components.page import Desk
from dashboard.components.table import rows_csv
from dashboard.figures.effects import Empty
from dashboard.figures.names import OUTCOMES, SUPPORTS, plain
from dashboard.figures.theme import bare_interval, number
from dashboard.pages.supports.asked import PATH
from dashboard.pages.supports.narrow import is_narrowed, is_shown, narrowed, widened
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.selection import Selection

Cells = dict[tuple[str | None, str], EffectRow]
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


def cells_of(rows: Sequence[EffectRow], outcome: str, split: str) -> Cells:
    """The rows of one outcome by level and support."""
    return {(row.level, row.support): row for row in rows if row.outcome == outcome and row.split == split}


def levels_of(cells: Cells) -> list[str | None]:
    """The levels in the order of the answer."""
    return list(dict.fromkeys(level for level, _ in cells))


def grid_table(cells: Cells, ground: Ground, empty: Empty) -> html.Div:
    """The grid itself, of which the head of a row is a link that narrows the page to it; `empty` says what a cell without a
    figure lacks."""
    caption = f"{OUTCOMES[ground.outcome].name} by {plain(ground.split)}"
    made = html.Table(
        [
            html.Caption(caption),
            _head(ground.split),
            html.Tbody([_level(level, cells, ground, empty) for level in levels_of(cells)]),
        ]
    )
    return html.Div(
        [
            html.Div(
                made,
                className="table-frame grid",
                role="region",
                tabIndex=0,
                **{"aria-label": caption, "data-choices": "grid"},
            ),
            rows_csv(made),
        ],
        className="table",
    )


def _head(split: str) -> html.Thead:
    names = [html.Th(plain(split).capitalize(), scope="col"), *(html.Th(name, scope="col") for name in SUPPORTS.values())]
    return html.Thead(html.Tr(names))


def _level(level: str | None, cells: Cells, ground: Ground, empty: Empty) -> html.Tr:
    is_in_view = is_shown(ground.selection, ground.split, level)
    return html.Tr(
        [
            html.Th(_level_name(level, is_in_view, ground), scope="row"),
            *(_cell(cells.get((level, support)), empty) for support in SUPPORTS),
        ],
        className="is-shown" if is_in_view else "",
        **{"data-row": level},
    )


def _level_name(level: str | None, is_in_view: bool, ground: Ground) -> Any:
    address = ground.address(level)
    if address is None:
        return plain(level)
    if is_in_view:
        return dcc.Link([plain(level), html.Small(" shown")], href=ground.way_back(), className="narrow is-chosen")
    return dcc.Link([html.Span("Only ", className="for-readers"), plain(level)], href=address, className="narrow")


def _cell(row: EffectRow | None, empty: Empty) -> html.Td:
    if row is None:
        return html.Td("no such change", className="is-missing")
    names = ("pooled", "shrunk", "support", "told_low", "told_high")
    values = {f"data-{name.replace('_', '-')}": machine_value(getattr(row, name)) for name in names}
    if row.told_low is None or row.told_high is None:
        changes = f"{row.n_changes:,} {'change' if row.n_changes == 1 else 'changes'}"
        return html.Td([empty(row), html.Br(), html.Small(changes)], className="is-missing", title=row.words, **values)
    told_interval = bare_interval(row.told_low, row.told_high, row.unit, effect=True)
    about = number(row.pooled if row.shrunk is None else row.shrunk, row.unit, effect=True)
    behind = html.Small(f"about {about} ({row.n_changes:,})")
    return html.Td([html.Strong(told_interval) if row.direction else told_interval, html.Br(), behind], **values)
