"""The studio's figures for a reader who may not see cases: the cells of the grid, less the rows that rest on too few riders.

A row is given where riders enough stand behind it, the reader's own left aside; where it stands apart from the same row of the
other cells that it could be subtracted from; and where no hidden row can be had as the rest of a whole. All of a family of
cells is decided at once, in a fixed order, and remembered for the snapshot: nothing depends on who asked for what before.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from dashboard.questions.door import SQL
from dashboard.questions.door.apart import PLACES, Flags, Places, given_out, parts_to_hide, places_of
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.counted_rows import Counted
from dashboard.questions.door.grid import WORDS, Grid, closed_day
from dashboard.questions.door.readers import Reader
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.door.tidied import tidied
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.every_fit import Remember, feet_selected, fits_selected
from dashboard.questions.selection.levels import levels_of_feet
from dashboard.questions.selection.scope import names_of, scope_of
from dashboard.questions.selection.selection import SPLITS, Selection, codes_of
from shared.errors import NotReleasedError, StatisticsError, TooFewError
from shared.warehouse import Warehouse

Only = Mapping[str, tuple[str, ...]]


@dataclass
class Decided:
    """One cell's answer; the reader's own of the same cell, when it is needed, and how many riders they have there; which rows
    are hidden: by list, the places."""

    cell: Selection
    answer: Answer
    own_riders: int
    ask_own: Callable[[], Answer | None]
    hidden: dict[str, set[int]] = field(default_factory=dict)

    @cached_property
    def own(self) -> Answer | None:
        return self.ask_own()


@dataclass(frozen=True)
class Cells:
    """The cells that are given out, as places, and the riders that any two share."""

    places: Places
    groups: Mapping[Selection, Flags]

    def shared(self, one: Selection, other: Selection) -> int:
        """How many riders have a place in both, the reader's own fits among them."""
        return self.places.everyone(self.groups[one] & self.groups[other])


class StudioFigures:
    """What one reader is given of the studio's figures; thread-safe, as the asker is."""

    def __init__(self, asker: Asker, reader: Reader) -> None:
        self._asker = asker
        self._fitter = reader.fitter_id or ""
        self._least = asker.settings.minimum.riders_shown

    def grid(self) -> Grid:
        """The cells of the present snapshot."""
        choices = self._asker.choices()
        values = {word: codes_of(word) or getattr(choices, word) for word in WORDS}
        return Grid(
            choices.first_date,
            choices.last_date,
            closed_day(choices.first_date, choices.last_date, self._asker.settings),
            values,
        )

    def ask(self, question: str, selection: Selection, **only: tuple[str, ...]) -> Answer:
        """The answer over the cell that is asked for, as far as it is given.

        Raises NotReleasedError where the selection is no cell, TooFewError where the cell holds too few riders.
        """
        own = replace(selection, fitter=(self._fitter,))
        grid = self.grid()
        cell = grid.cell(selection, own)
        if QUESTIONS[question].sight.is_one_whole:
            cell = grid.families["all"][0]
        cells = self._cells(grid)
        if cell not in cells.groups:
            whole = grid.families["all"][0]
            raise NotReleasedError(
                f"Too few riders: a fitter is given the figures of a group that holds {self._least} riders of others or more, "
                "and differs from every other group by as many. Your own fits are open: choose yourself as the fitter.",
                whole.query() if whole in cells.groups else None,
                own.query(),
            )
        split = selection.split
        family = self._family(question, grid, cell)
        given: Mapping[Selection, Answer] = self._asker.once(
            ("given", self._fitter, question, family, split, *sorted(only.items())),
            lambda _cursor, _remember: self._given(question, family, split, only, cells, grid),
        )
        return given[cell]

    def _family(self, question: str, grid: Grid, cell: Selection) -> tuple[Selection, ...]:
        """The cells whose answers are decided on together, all fits first."""
        whole = grid.families["all"]
        name = grid.family_of[cell]
        if QUESTIONS[question].sight.is_modelled or name == "all":
            return tuple(dict.fromkeys((*whole, cell)))
        if name in ("year", "quarter"):
            return (*whole, *dict.fromkeys((*grid.families["year"], *grid.families["quarter"])))
        return (*whole, *grid.families[name])

    def _cells(self, grid: Grid) -> Cells:
        """The cells of the snapshot that may be told, for this reader."""
        cells: Cells = self._asker.once(("cells given", self._fitter), lambda at, remember: self._release(grid, at, remember))
        return cells

    def _release(self, grid: Grid, warehouse: Warehouse, remember: Remember) -> Cells:
        places = self._places(warehouse, remember)
        families: dict[str, dict[Hashable, Flags]] = {}
        for name, cells in grid.families.items():
            own = [cell for cell in cells if grid.family_of[cell] == name]
            families[name] = {cell: self._group(warehouse, cell, places, remember) for cell in own}
        given = given_out(families, places, self._least)
        return Cells(places, {cell: group for groups in given.values() for cell, group in groups.items()})

    def _places(self, warehouse: Warehouse, remember: Remember) -> Places:
        fits = remember(("grid fits",), lambda: warehouse.arrays(SQL / "grid_fits.sql"))
        fitters = names_of(warehouse, remember)["fitter"]
        own = fitters.index(self._fitter) if self._fitter in fitters else -1
        return places_of(fits["fit_no"].astype(np.int64), fits["rider"].astype(np.int64), fits["fitter"] == own)

    def _group(self, warehouse: Warehouse, cell: Selection, places: Places, remember: Remember) -> Flags:
        """The places of a cell: its fits, and of each the feet that it asks for."""
        scope = scope_of(warehouse, cell, self._asker.settings, remember)
        fit_no, group = fits_selected(warehouse, scope, remember), np.zeros(len(places.rider), dtype=bool)
        feet = feet_selected(warehouse, scope, remember)
        for side in (0, 1):
            foot = 2 * fit_no + side
            chosen = slice(None) if feet is None else (foot < len(feet)) & feet[np.minimum(foot, len(feet) - 1)]
            group[PLACES * fit_no[chosen] + side] = True
        group[PLACES * fit_no + 2] = True
        return group

    def _levels(self, cells: Cells, cell: Selection) -> Mapping[str, frozenset[str]]:
        """The levels of each split whose feet may be told apart within a cell."""

        def find(warehouse: Warehouse, remember: Remember) -> Mapping[str, frozenset[str]]:
            scope = scope_of(warehouse, cell, self._asker.settings, remember)
            families: dict[str, dict[Hashable, Flags]] = {"all": {cell: cells.groups[cell]}}
            for split in SPLITS:
                feet_levels = levels_of_feet(warehouse, scope, split, remember)
                families[split] = {}
                for number, level in enumerate(feet_levels.names):
                    feet = feet_levels.number == number
                    group = np.zeros_like(cells.groups[cell])
                    for side in (0, 1):
                        group[PLACES * feet_levels.fit_no[feet[:, side]] + side] = True
                    group[PLACES * feet_levels.fit_no[feet.any(axis=1)] + 2] = True
                    families[split][level] = group & cells.groups[cell]
            given = given_out(families, cells.places, self._least)
            return {split: frozenset(given[split]) for split in SPLITS}

        levels: Mapping[str, frozenset[str]] = self._asker.once(("levels given", self._fitter, cell), find)
        return levels

    def _given(
        self, question: str, family: Sequence[Selection], split: str | None, only: Only, cells: Cells, grid: Grid
    ) -> Mapping[Selection, Answer]:
        decided = [
            decision
            for cell in family
            if cell in cells.groups and (decision := self._answered(question, cell, split, only, cells))
        ]
        sight = QUESTIONS[question].sight
        rows = sight.figures
        for place, one in enumerate(decided):
            levels = self._levels(cells, one.cell)
            for name, counted in rows.items():
                one.hidden[name] = self._hidden(name, counted, one, decided[:place], levels, cells)
        for name, counted in rows.items():
            # What is hidden for one whole may be what is left of another.
            while self._hide_rests(name, counted, decided, grid):
                pass
        return {one.cell: tidied(sight, one.answer, self._shown(rows, one), one.hidden, self._least) for one in decided}

    def _answered(self, question: str, cell: Selection, split: str | None, only: Only, cells: Cells) -> Decided | None:
        asked = replace(cell, split=split)
        # What is leaned on is told of closed quarters too, or each rider who is loaded would show in it.
        whole = Selection(date_to=self.grid().closed)

        def own() -> Answer | None:
            with suppress(StatisticsError):
                return self._asker.ask_within(whole, question, replace(asked, fitter=(self._fitter,)), **only)
            return None

        try:
            answer = self._asker.ask_within(whole, question, asked, **only)
        except TooFewError:
            return None
        return Decided(cell, answer, cells.places.own_riders(cells.groups[cell]), own)

    def _hidden(
        self,
        name: str,
        counted: Counted,
        one: Decided,
        before: Sequence[Decided],
        levels: Mapping[str, frozenset[str]],
        cells: Cells,
    ) -> set[int]:
        """The rows of a list that rest on too few, or lie too near to what is given of another cell."""
        others = [(_by_name(counted, _shown_rows(other, name)), cells.shared(one.cell, other.cell)) for other in before]
        hidden = set()
        for at, row in enumerate(getattr(one.answer, name)):
            key = counted.name(row)
            if counted.n_riders(row) == 0 and not _has_figures(row):
                continue
            if (
                not self._rests_on_others(name, counted, one, row)
                or counted.has_small_cell(row, self._least)
                or not _may_be_split(row, levels)
                or any(not self._apart(counted, (row, rows[key]), shared, cells) for rows, shared in others if key in rows)
                or not _is_of_a_cell(row, one.cell, cells)
            ):
                hidden.add(at)
        return hidden

    def _rests_on_others(self, name: str, counted: Counted, one: Decided, row: Any) -> bool:
        """Whether enough riders of others stand behind a row, or none."""
        n = counted.n_riders(row)
        if n < self._least or n - one.own_riders >= self._least:
            return n >= self._least
        mine = _by_name(counted, getattr(one.own, name, ())).get(counted.name(row))
        if mine is None:
            return True
        return n - counted.n_riders(mine) >= self._least or counted.tells_the_same(mine, row)

    def _apart(self, counted: Counted, rows: tuple[Any, Any], shared: int, cells: Cells) -> bool:
        """Whether two rows of one name tell the same, or differ by riders enough, whoever they are: at least by the gap between
        their numbers, and by those of either who are not among the riders that both cells share."""
        one, other = rows
        least = max(
            counted.n_riders(one) - shared, counted.n_riders(other) - shared, counted.gap(one, other, cells.places.most)
        )
        return least >= self._least or counted.tells_the_same(one, other)

    def _hide_rests(self, name: str, counted: Counted, decided: Sequence[Decided], grid: Grid) -> bool:
        """Hides what is needed so that no hidden row is what is left of a whole, within a list and from cell to cell; whether
        there was any."""
        n_hidden = sum(len(one.hidden[name]) for one in decided)
        for one in decided:
            rows, hidden = getattr(one.answer, name), one.hidden[name]
            wholes = {counted.name(row): counted.counts(row) for row in rows}
            parts: dict[Any, dict[int, Any]] = {}
            for at, row in enumerate(rows):
                if counted.parts and all(getattr(row, part) is not None for part in counted.parts):
                    parts.setdefault((counted.parted(row), counted.whole(row)), {})[at] = counted.counts(row)
            for (_, whole), counts in parts.items():
                hidden.update(list(parts_to_hide(counts, wholes.get(whole), hidden, self._least)))
        wholes = {counted.name(row): counted.counts(row) for row in getattr(decided[0].answer, name)} if decided else {}
        for siblings in _siblings(grid, [one.cell for one in decided]):
            same: dict[Any, dict[Any, Any]] = {}
            for cell in siblings:
                for at, row in enumerate(getattr(decided[cell].answer, name)):
                    same.setdefault(counted.name(row), {})[cell, at] = counted.counts(row)
            hidden_parts = {(cell, at) for cell in siblings for at in decided[cell].hidden[name]}
            for row_name, counts in same.items():
                for cell, at in list(parts_to_hide(counts, wholes.get(row_name), hidden_parts, self._least)):
                    decided[cell].hidden[name].add(at)
        return sum(len(one.hidden[name]) for one in decided) > n_hidden

    @staticmethod
    def _shown(rows: Mapping[str, Counted], one: Decided) -> dict[str, tuple[Any, ...]]:
        return {
            name: tuple(
                counted.blank(row) if at in one.hidden[name] else row for at, row in enumerate(getattr(one.answer, name))
            )
            for name, counted in rows.items()
        }


def _siblings(grid: Grid, cells: Sequence[Selection]) -> list[list[int]]:
    """The places of cells that part the same whole: the quarters of each year, the years, or the values of one word."""
    wholes: dict[Any, list[int]] = {}
    for at, cell in enumerate(cells):
        family = grid.family_of[cell]
        year = cell.date_from.year if family == "quarter" and cell.date_from else None
        wholes.setdefault((family, year), []).append(at)
    return [places for (family, _), places in wholes.items() if family != "all"]


def _by_name(counted: Counted, rows: Any) -> dict[Any, Any]:
    return {counted.name(row): row for row in rows}


def _shown_rows(one: Decided, name: str) -> list[Any]:
    return [row for at, row in enumerate(getattr(one.answer, name)) if at not in one.hidden[name]]


def _has_figures(row: Any) -> bool:
    return any(isinstance(value, float) for value in vars(row).values())


def _is_of_a_cell(row: Any, cell: Selection, cells: Cells) -> bool:
    """Whether a row that tells of other dates than its answer's (`which`) tells of a cell's."""
    which = getattr(row, "which", "this")
    of_dates = Selection(date_from=cell.date_from, date_to=cell.date_to) == cell
    return which == "this" or (of_dates and Selection(date_from=row.date_from, date_to=row.date_to) in cells.groups)


def _may_be_split(row: Any, levels: Mapping[str, frozenset[str]]) -> bool:
    """Whether the feet of the row's level may be told; one that no split knows (feet that differ) is a rest of the others."""
    split, level = getattr(row, "split", None) or getattr(row, "by", None), getattr(row, "level", None)
    known = levels.get(split or "")
    return level is None or known is None or level in known or level == "feet differ"
