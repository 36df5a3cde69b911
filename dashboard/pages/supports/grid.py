"""The grid of supports and foot types (or the levels of another split), for one outcome; a row narrows the page to itself."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.number import machine_value
from dashboard.components.page import Desk
from dashboard.components.table import csv_link
from dashboard.components.text import paragraphs
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES, SUPPORTS, plain
from dashboard.figures.theme import bare_interval, number
from dashboard.pages.supports.choices import PATH, outcome_links
from dashboard.pages.supports.narrow import is_narrowed, is_shown, narrowed, widened, words_of
from dashboard.questions.effects.answers_effects import Effects, FamilyRow
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.selection import Selection

Text = dict[str, tuple[str, ...]]
Cells = dict[tuple[str | None, str], EffectRow]


@dataclass(frozen=True)
class Ground:
    """What the grid stands on: the page's selection, its outcome as the address has it, and the split of the grid."""

    desk: Desk
    selection: Selection
    chosen: str | None
    split: str

    @property
    def outcome(self) -> str:
        return self.chosen or MAIN_OUTCOMES[0]

    @property
    def asked(self) -> Selection:
        """The selection of the grid: with every level, also where the page is narrowed to one of them."""
        base = widened(self.selection, self.split) if is_narrowed(self.selection, self.split) else self.selection
        return replace(base, split=self.split)

    def address(self, level: str | None) -> str | None:
        """The page narrowed to one level; None where no words of a selection ask for it."""
        there = narrowed(self.selection, self.split, level)
        return self._page(there) if there else None

    def way_back(self) -> str:
        return self._page(widened(self.selection, self.split))

    def _page(self, selection: Selection) -> str:
        return self.desk.addresses.page(PATH, selection.query(), {"outcome": self.chosen} if self.chosen else None)


def grid(answer: Effects, ground: Ground, text: Text) -> list[Any]:
    """Heading, grid, how it is read, whether the levels differ, CSV; empty where the answer holds no level."""
    cells = cells_of(answer.effects, ground.outcome, ground.split)
    levels = levels_of(cells)
    if not levels:
        return []
    families = [row for row in answer.families if row.outcome == ground.outcome]
    can_narrow = any(words_of(ground.split, level) for level in levels)
    level = number(ground.desk.level, "share")
    return [
        html.H2(grid_title(list(cells.values()), families, ground), className="section-title"),
        outcome_links(
            ground.desk, ground.selection, ground.outcome, MAIN_OUTCOMES, label="What the grid shows", with_all=False
        ),
        _narrowing(ground, can_narrow, text),
        grid_table(cells, ground.outcome, ground.split, ground),
        reading(*paragraphs(text["grid"], level=level)),
        csv_link(ground.desk.csv("effects", "effects", ground.asked), f"effects by {plain(ground.split)}"),
        _families(families, ground, text),
    ]


def cells_of(rows: Sequence[EffectRow], outcome: str, split: str) -> Cells:
    """The rows of one outcome by level and support."""
    return {(row.level, row.support): row for row in rows if row.outcome == outcome and row.split == split}


def levels_of(cells: Cells) -> list[str | None]:
    """The levels in the order of the answer."""
    return list(dict.fromkeys(level for level, _ in cells))


def grid_title(cells: Sequence[EffectRow], families: Sequence[FamilyRow], ground: Ground) -> str:
    """How much of the grid can be told, and whether any support differs between the levels."""
    name = f"{OUTCOMES[ground.outcome].name} by {plain(ground.split)}"
    n_estimated = sum(cell.pooled is not None for cell in cells)
    if not n_estimated:
        return f"{name}: no figure yet in any cell"
    enough = f"enough changes in {n_estimated} of {len(cells)} cells"
    if not families:
        return f"{name}: {enough}"
    differing = [SUPPORTS[row.support].lower() for row in families if row.differs]
    difference_words = f"a difference for {' and '.join(differing)}" if differing else "no support clearly differs"
    return f"{name}: {difference_words}, and {enough}"


def _narrowing(ground: Ground, can_narrow: bool, text: Text) -> html.P:
    """How the grid narrows the page, or the way back."""
    if not can_narrow:
        return html.P(text["not_narrowing"][0].format(split=plain(ground.split)), className="narrowing")
    if not is_narrowed(ground.selection, ground.split):
        return html.P(text["narrowing"][0], className="narrowing")
    return html.P(
        [
            text["narrowed"][0].format(split=plain(ground.split)),
            " ",
            dcc.Link(f"Show every {plain(ground.split)} again", href=ground.way_back()),
        ],
        className="narrowing",
    )


def grid_table(cells: Cells, outcome: str, split: str, ground: Ground | None = None) -> html.Div:
    """The grid itself; with `ground`, the head of a row is a link that narrows the page to it."""
    caption = f"{OUTCOMES[outcome].name} by {plain(split)}"
    return html.Div(
        html.Table(
            [
                html.Caption(caption),
                _head(split),
                html.Tbody([_level(level, cells, split, ground) for level in levels_of(cells)]),
            ]
        ),
        className="table-frame grid",
        role="region",
        tabIndex=0,
        **{"aria-label": caption, "data-choices": "grid"},
    )


def _head(split: str) -> html.Thead:
    names = [html.Th(plain(split).capitalize(), scope="col"), *(html.Th(name, scope="col") for name in SUPPORTS.values())]
    return html.Thead(html.Tr(names))


def _level(level: str | None, cells: Cells, split: str, ground: Ground | None) -> html.Tr:
    is_in_view = ground is not None and is_shown(ground.selection, split, level)
    return html.Tr(
        [
            html.Th(_level_name(level, is_in_view, ground), scope="row"),
            *(_cell(cells.get((level, support))) for support in SUPPORTS),
        ],
        className="is-shown" if is_in_view else "",
        **{"data-row": level},
    )


def _level_name(level: str | None, is_in_view: bool, ground: Ground | None) -> Any:
    address = ground.address(level) if ground else None
    if address is None or ground is None:
        return plain(level)
    if is_in_view:
        return dcc.Link([plain(level), html.Small(" shown")], href=ground.way_back(), className="narrow is-chosen")
    return dcc.Link([html.Span("Only ", className="for-readers"), plain(level)], href=address, className="narrow")


def _cell(row: EffectRow | None) -> html.Td:
    if row is None:
        return html.Td("no such change", className="is-missing")
    names = ("pooled", "shrunk", "support", "told_low", "told_high")
    values = {f"data-{name.replace('_', '-')}": machine_value(getattr(row, name)) for name in names}
    changes = f"{row.n_changes:,} {'change' if row.n_changes == 1 else 'changes'}"
    if row.told_low is None or row.told_high is None:
        words = "not enough yet" if "not enough yet" in row.words else "no figure"
        return html.Td([words, html.Br(), html.Small(changes)], className="is-missing", title=row.words, **values)
    told_interval = bare_interval(row.told_low, row.told_high, row.unit, effect=True)
    about = number(row.pooled if row.shrunk is None else row.shrunk, row.unit, effect=True)
    behind = html.Small(f"about {about} ({row.n_changes:,})")
    return html.Td([html.Strong(told_interval) if row.direction else told_interval, html.Br(), behind], **values)


def _families(families: Sequence[FamilyRow], ground: Ground, text: Text) -> html.Details | None:
    """Support by support, whether the levels differ, in the answer's words."""
    if not families:
        return None
    return html.Details(
        [
            html.Summary(f"Does a support do more for one {plain(ground.split)} than for another?"),
            *paragraphs(text["families"]),
            html.Ul([html.Li(row.words) for row in families], className="families"),
            csv_link(ground.desk.csv("effects", "families", ground.asked), f"whether they differ by {plain(ground.split)}"),
        ],
        className="more",
    )
