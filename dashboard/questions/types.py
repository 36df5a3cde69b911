"""What feet do the riders have: arch, forefoot class, collapse, from the latest exam of each foot."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dashboard.questions.answers_types import AlikeRow, TypeRow, Types
from dashboard.questions.levels import count_riders, exam_fragments, level_words, levels_of_feet, ordered_levels
from dashboard.questions.numbers import spoken_percent
from dashboard.questions.scope import SQL, counted, feet_selected, scope_of
from dashboard.questions.selection import Selection
from shared.settings import Settings
from shared.statistics.clustered import clustered_share
from shared.statistics.proportions import wilson_interval
from shared.warehouse import Warehouse

Feet = Mapping[str, NDArray[Any]]
Flags = NDArray[np.bool_]

# Garbalosa et al. 1994, J Orthop Sports Phys Ther 20:200; quoted for 234 feet, yet whole counts only of 240: 208, 21, 11.
PUBLISHED_FOREFOOT = {"varus": 0.8667, "valgus": 0.0875, "neutral": 0.0458}

METHOD = {
    "rows": "the latest selected exam of each foot",
    "intervals": "Wilson on the effective number of feet: a rider's two feet are alike and count for less than two",
    "collapse": "an arch that gives way, or an everted heel",
    "published_share": "Garbalosa et al. 1994, J Orthop Sports Phys Ther 20:200",
}
CAUTIONS = (
    "Published shares depend on how the forefoot is measured and later work finds fewer varus feet: "
    "a difference may be one of method and not of riders.",
)
_COLUMNS = ("arch_height", "forefoot", "arch_collapse", "collapse", "foot_type")
_VARUS = ("mild_varus", "marked_varus")


def ask(warehouse: Warehouse, selection: Selection, settings: Settings) -> Types:
    """Shares of the kinds of feet with intervals that know that feet come in pairs, beside the published ones."""
    scope = scope_of(warehouse, selection, settings)
    scope.require_fits()
    own = {**exam_fragments(), "exams_selected": feet_selected("exams")}
    feet = warehouse.arrays(SQL / "types_feet.sql", scope.parameters, **own)
    types = tuple(_rows(feet, np.ones(len(feet["rider"]), dtype=bool), None, None, settings))
    if split := selection.split:
        is_right = (feet["side"] == "right").astype(int)
        levels = levels_of_feet(warehouse, scope, split)[feet["fit"], is_right]
        for level in ordered_levels(split, levels):
            types += tuple(_rows(feet, levels == level, split, level, settings))
    varus = next(row for row in types if (row.column, row.kind) == ("forefoot", "varus"))
    return Types(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method=METHOD,
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        headline=f"In {scope.words}: {varus.words}",
        cautions=CAUTIONS,
        types=types,
        alike=tuple(_alike(feet, column, settings) for column in _COLUMNS),
    )


def _kinds(column: str, values: NDArray[Any]) -> list[str]:
    return ["yes"] if column == "collapse" else ordered_levels(column, values)


def _rows(feet: Feet, inside: Flags, split: str | None, level: str | None, settings: Settings) -> Iterator[TypeRow]:
    """One row a column and kind, over the feet `inside` whose column is known."""
    for column in _COLUMNS:
        if column == split:
            continue
        chosen = np.flatnonzero(inside & pd.notna(feet[column]))
        values, rider = feet[column][chosen], feet["rider"][chosen]
        row = partial(_row, values, rider, column, split=split, level=level, settings=settings)
        if column == "forefoot":
            yield row("varus", _VARUS)
        for kind in _kinds(column, values):
            yield row(kind, (kind,))


def _row(
    values: NDArray[Any],
    rider: NDArray[np.int64],
    column: str,
    kind: str,
    kinds: tuple[str, ...],
    split: str | None,
    level: str | None,
    settings: Settings,
) -> TypeRow:
    """One share of the feet whose `column` is known."""
    of_kind = np.logical_or.reduce([values == each for each in kinds])
    n, n_riders = len(rider), count_riders(rider)
    published = PUBLISHED_FOREFOOT.get(kind) if column == "forefoot" else None
    row = TypeRow(column, kind, split, level, n, int(of_kind.sum()), n_riders, None, None, None, None, published, "")
    prefix = f"{level_words(split, level).capitalize()}: " if level else ""
    if n_riders < settings.minimum.riders_shown:
        return replace(row, words=f"{prefix}not enough yet, {counted(n, 'foot examined', 'feet examined')}.")
    found = clustered_share(of_kind.astype(float), rider, settings.intervals.level)
    beside = f"; {100 * published:.2f}\N{NO-BREAK SPACE}% published" if published is not None else ""
    words = (
        f"{prefix}{spoken_percent(found.estimate)} of feet {_said(column, kind)} ({spoken_percent(found.low)} to "
        f"{spoken_percent(found.high)}; {counted(n, 'foot', 'feet')} of {counted(n_riders, 'rider')}{beside})."
    )
    return replace(row, n_effective=found.n_effective, share=found.estimate, low=found.low, high=found.high, words=words)


def _said(column: str, kind: str) -> str:
    spoken = kind.replace("_", " ")
    return {
        "arch_height": f"have a {spoken} arch",
        "forefoot": f"have a {spoken} forefoot",
        "arch_collapse": f"show {'no' if kind == 'none' else spoken} collapse of the arch",
        "collapse": "collapse (an arch that gives way, or an everted heel)",
        "foot_type": f"are of the type {spoken}",
    }[column]


def _alike(feet: Feet, column: str, settings: Settings) -> AlikeRow:
    """How often both feet of a rider are of one kind, which is why two feet count for less than two riders."""
    left, right = (np.full(int(feet["rider"].max(initial=-1)) + 1, None, dtype=object) for _ in range(2))
    for side, kinds in (("left", left), ("right", right)):
        here = feet["side"] == side
        kinds[feet["rider"][here]] = feet[column][here]
    both = pd.notna(left) & pd.notna(right)
    n, n_alike = int(both.sum()), int((left[both] == right[both]).sum())
    row, name = AlikeRow(column, n, n_alike, None, None, None, ""), column.replace("_", " ")
    if n < settings.minimum.rows_shown:
        return replace(row, words=f"Both feet, {name}: not enough yet, {counted(n, 'rider')} with both feet examined.")
    found = wilson_interval(n_alike, n, settings.intervals.level)
    share, low, high = float(found.estimate[0]), float(found.low[0]), float(found.high[0])
    words = (
        f"Both feet have the same {name} in {spoken_percent(share)} of riders ({spoken_percent(low)} to "
        f"{spoken_percent(high)}; {counted(n, 'rider')})."
    )
    return replace(row, share=share, low=low, high=high, words=words)
