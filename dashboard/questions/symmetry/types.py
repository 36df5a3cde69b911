"""What feet do the riders have: arch, forefoot class, collapse, from the latest exam of each foot."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.coded import CODES, FOOT_TYPES, NOT_RECORDED, code_sql
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import count_riders, level_words, levels_of_feet
from dashboard.questions.selection.numbers import spoken_percent, spoken_percents
from dashboard.questions.selection.scope import Scope, counted, forefoot_class, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.symmetry import SQL
from dashboard.questions.symmetry.answers_types import AlikeRow, TypeRow, Types
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
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
# The names of each column's codes, which count from 1; 0 is not recorded.
_NAMES = {
    **{name: CODES[name] for name in ("arch_height", "forefoot", "arch_collapse")},
    "collapse": ("no", "yes"),
    "foot_type": FOOT_TYPES,
}
_VARUS = ("mild_varus", "marked_varus")


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None = None) -> Types:
    """Shares of the kinds of feet with intervals that know that feet come in pairs, beside the published ones."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    feet = _latest_feet(warehouse, scope, remember)
    types = tuple(_type_rows(feet, np.ones(len(feet["rider"]), dtype=bool), None, None, settings))
    if split := selection.split:
        levels = levels_of_feet(warehouse, scope, split, remember)
        own = levels.number[np.searchsorted(levels.fit_no, feet["fit_no"]), feet["side"]]
        for number, level in enumerate(levels.names):
            types += tuple(_type_rows(feet, own == number, split, level, settings))
    varus = next(row for row in types if (row.column, row.kind) == ("forefoot", "varus"))
    return Types(
        **scope.head(selection),
        method=METHOD,
        **scope.counts,
        headline=f"In {scope.words}: {varus.words}",
        cautions=CAUTIONS,
        types=types,
        alike=tuple(_alike(feet, column, settings) for column in _NAMES),
    )


def _latest_feet(warehouse: Warehouse, scope: Scope, remember: Remember | None) -> Feet:
    """The latest selected exam of each foot: every column of _NAMES as codes, rider, side (1: right), fit_no."""
    coded = {f"{name}_code": code_sql(f"exams.{name}", name) for name in ("arch_height", "arch_collapse", "heel_posture")}
    coded["forefoot_code"] = code_sql(forefoot_class("exams.forefoot_angle_deg"), "forefoot")
    exams = read_or_cut(warehouse, scope, SQL / "types_feet.sql", remember, **coded)
    foot = exams["rider"] * 2 + exams["side"]
    latest = np.full(int(foot.max(initial=-1)) + 1, -1, dtype=np.int64)
    latest[foot] = np.arange(len(foot))  # rows stand by date: the last one of a foot stays
    feet = {name: column[latest[latest >= 0]] for name, column in exams.items()}
    arch, forefoot, collapse, heel = (feet[name] for name in ("arch_height", "forefoot", "arch_collapse", "heel_posture"))
    gives_way = (collapse > 1) | (heel == CODES["heel_posture"].index("everted") + 1)
    both_told = (collapse != NOT_RECORDED) & (heel != NOT_RECORDED)
    feet["collapse"] = np.where(gives_way, 2, np.where(both_told, 1, NOT_RECORDED))
    both = (arch != NOT_RECORDED) & (forefoot != NOT_RECORDED)
    feet["foot_type"] = np.where(both, (arch.astype(np.int64) - 1) * len(CODES["forefoot"]) + forefoot, NOT_RECORDED)
    return feet


def _type_rows(feet: Feet, inside: Flags, split: str | None, level: str | None, settings: Settings) -> Iterator[TypeRow]:
    """One row a column and kind, over the feet `inside` whose column is known."""
    for column, names in _NAMES.items():
        if column == split:
            continue
        chosen = np.flatnonzero(inside & (feet[column] != NOT_RECORDED))
        values, rider = feet[column][chosen], feet["rider"][chosen]
        row = partial(_type_row, rider, column, split=split, level=level, settings=settings)
        if column == "forefoot":
            varus = [number for number, name in enumerate(names, start=1) if name in _VARUS]
            yield row("varus", np.isin(values, varus))
        numbers = [names.index("yes") + 1] if column == "collapse" else np.unique(values).tolist()
        for number in numbers:
            yield row(names[number - 1], values == number)


def _type_row(
    rider: NDArray[np.int64],
    column: str,
    kind: str,
    of_kind: Flags,
    split: str | None,
    level: str | None,
    settings: Settings,
) -> TypeRow:
    """One share of the feet whose `column` is known."""
    n, n_riders = len(rider), count_riders(rider)
    published = PUBLISHED_FOREFOOT.get(kind) if column == "forefoot" else None
    row = TypeRow(column, kind, split, level, n, int(of_kind.sum()), n_riders, None, None, None, None, published, "")
    prefix = f"{level_words(split, level).capitalize()}: " if level else ""
    if n_riders < settings.minimum.riders_shown:
        return replace(row, words=f"{prefix}not enough yet, {counted(n, 'foot examined', 'feet examined')}.")
    share = clustered_share(of_kind.astype(float), rider, settings.intervals.level)
    beside = f"; {100 * published:.2f}\N{NO-BREAK SPACE}% published" if published is not None else ""
    words = (
        f"{prefix}{spoken_percent(share.estimate)} of feet {_said(column, kind)} ("
        f"{spoken_percents(share.low, share.high)}; {counted(n, 'foot', 'feet')} of {counted(n_riders, 'rider')}{beside})."
    )
    return replace(row, n_effective=share.n_effective, share=share.estimate, low=share.low, high=share.high, words=words)


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
    left, right = (np.full(int(feet["rider"].max(initial=-1)) + 1, NOT_RECORDED) for _ in range(2))
    for side, kinds in enumerate((left, right)):
        here = feet["side"] == side
        kinds[feet["rider"][here]] = feet[column][here]
    both = (left != NOT_RECORDED) & (right != NOT_RECORDED)
    n, n_alike = int(both.sum()), int((left[both] == right[both]).sum())
    row, name = AlikeRow(column, n, n_alike, None, None, None, ""), column.replace("_", " ")
    if n < settings.minimum.rows_shown:
        return replace(row, words=f"Both feet, {name}: not enough yet, {counted(n, 'rider')} with both feet examined.")
    alike = wilson_interval(n_alike, n, settings.intervals.level)
    share, low, high = float(alike.estimate[0]), float(alike.low[0]), float(alike.high[0])
    words = (
        f"Both feet have the same {name} in {spoken_percent(share)} of riders ("
        f"{spoken_percents(low, high)}; {counted(n, 'rider')})."
    )
    return replace(row, share=share, low=low, high=high, words=words)
