"""How common is a side difference, and do we resolve it? Side difference = right less left."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.every_fit import Remember, at_once, cut, read_or_cut
from dashboard.questions.selection.levels import level_masks, split_caution
from dashboard.questions.selection.recorded import SWAY, Recorded
from dashboard.questions.selection.scope import Scope, fragments, scope_of, sessions_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.symmetry import SQL
from dashboard.questions.symmetry.answers_asymmetry import (
    Asymmetry,
    ChangeRow,
    DifferenceRow,
    FlowRow,
    KneesRow,
    PrevalenceRow,
    RepeatRow,
)
from dashboard.questions.symmetry.asymmetry_rows import (
    MOMENTS,
    QUANTITIES,
    Firsts,
    against_others,
    change_row,
    change_told,
    curve_rows,
    difference_row,
    first_sessions,
    headline_of,
    judged,
    leading_side,
    of_all_riders,
    prevalence_row,
    repeat_row,
)
from dashboard.questions.symmetry.both_sides import side_difference
from dashboard.questions.symmetry.knee_patterns import PATTERNS
from shared.recorded import cost_words
from shared.rig.care import Watched, concerning, of_sides
from shared.settings import Settings
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]

METHOD = {
    "side_difference": "right less left, of the session's lowest and highest capture",
    "prevalence": "riders' first sessions, one row a rider; Wilson intervals",
    "difference": "a level against the riders outside of it: Newcombe's hybrid score",
    "change": "the same riders at arrival and departure: McNemar's exact test, Newcombe's interval for pairs",
    "differences": "all selected fits; means with t intervals clustered by rider",
    "q_value": "Benjamini-Hochberg over all that is told of all riders; over a list's levels of a split, times the number of "
    "splits and of lists; a direction is told where the interval leaves out zero and q is small",
}
CAUTIONS = (
    "Perfect symmetry is not the aim of a fit: a side difference is a reason to look, no finding of an illness.",
    "Noise alone takes some differences below the limit and others above it; the table of repeats says how many.",
)
ARRIVAL_CAUTION = (
    "Knees chosen by where they stood at arrival would move back a little with nothing changed, and stand apart from others by "
    "the choice itself: no change and no difference is told of them here."
)
PARTS = ("prevalence", "change", "patterns", "flow", "differences", "curve", "repeats", "knees")
# How many first sessions the picture of left against right holds, the newest.
_PICTURED = 500


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember | None = None,
    parts: tuple[str, ...] = PARTS,
    rig: Watched | None = None,
) -> Asymmetry:
    """Side differences, their prevalence at riders' first sessions, what becomes of them, and the knee patterns.

    parts: which lists of the answer are asked for, out of PARTS; the others stay empty. rig: what is found of the rigs; the
    headline tells where one measures right and left otherwise.
    """
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    fits = cut(warehouse, scope, "asymmetry_fits", lambda asked: _both_knees(warehouse, asked), remember)
    masks: dict[str | None, Flags] = {None: np.ones(scope.n_fits, dtype=bool)}
    masks.update(level_masks(warehouse, scope, selection.split, remember))
    firsts, split = first_sessions(fits, settings), selection.split
    everyone: dict[str | None, Flags] = {None: masks[None]}
    changes = list(_changes(firsts, everyone, None, settings))
    told = [pattern for pattern in PATTERNS if pattern != "looping" or not scope.recorded.instead("sway")]
    patterns = _pattern_changes(firsts, everyone, None, settings, told)
    q_values = of_all_riders([*changes, *patterns, *_differences(fits, everyone, None, settings)])
    lists: dict[str, Callable[[], Iterable[Any]]] = {
        "prevalence": lambda: judged(_prevalence(firsts, masks, split, settings), against_others, q_values),
        "change": lambda: judged(_changes(firsts, masks, split, settings), change_told, q_values),
        "patterns": lambda: judged(_pattern_changes(firsts, masks, split, settings, told), change_told, q_values),
        "flow": lambda: _flow(firsts, told),
        "differences": lambda: judged(_differences(fits, masks, split, settings), leading_side, q_values),
        "curve": lambda: (row for quantity in QUANTITIES for row in curve_rows(firsts, quantity, settings)),
        "repeats": lambda: _repeats(read_or_cut(warehouse, scope, SQL / "asymmetry_repeats.sql", remember), settings),
        "knees": lambda: _pictured(warehouse, firsts),
    }
    asked: dict[str, Any] = {
        name: _if_recorded(made(), scope.recorded) if name in parts else () for name, made in lists.items()
    }
    headline = headline_of(next(_prevalence(firsts, everyone, None, settings)), judged(changes, change_told, q_values)[0])
    of_rig = of_sides(concerning(rig, selection.studio, selection.date_from, selection.date_to))
    return Asymmetry(
        **scope.head(selection),
        method={**METHOD, **_limits(settings)},
        **scope.counts,
        headline=_not_recorded("tilt", scope.recorded) or f"{headline} {of_rig}".rstrip(),
        cautions=(*CAUTIONS, *split_caution(split), *_side_ignored(selection), *_chosen_by_arrival(split), *_not_told(told)),
        **asked,
    )


def _prevalence(
    firsts: Firsts, masks: Mapping[str | None, Flags], split: str | None, settings: Settings
) -> Iterator[PrevalenceRow]:
    for quantity in QUANTITIES:
        if quantity.limit_key:
            for moment in MOMENTS:
                for level in masks:
                    yield prevalence_row(firsts, quantity, moment, masks, level, split, settings)


def _differences(
    fits: Mapping[str, NDArray[Any]], masks: Mapping[str | None, Flags], split: str | None, settings: Settings
) -> Iterator[DifferenceRow]:
    for quantity in QUANTITIES:
        for moment in MOMENTS:
            for level, mask in masks.items():
                yield difference_row(fits, quantity, moment, mask, split, level, settings)


def _both_knees(warehouse: Warehouse, scope: Scope) -> dict[str, NDArray[Any]]:
    """Both knees of each fit at both moments, empty at departure where one capture is all, the difference between the sides,
    and the studio's high sway."""
    fits = warehouse.arrays(SQL / "asymmetry_fits.sql", scope.parameters, **fragments())
    high = warehouse.arrays(SQL / "high_sway.sql", scope.parameters)["high_sway_mm"]
    only_arrival = ~fits["has_departure"].astype(bool)
    for quantity in QUANTITIES:
        for side in ("left", "right"):
            fits[f"{quantity.name}_{side}_departure"][only_arrival] = np.nan
    difference = {
        f"{quantity.name}_difference_{moment}": side_difference(
            *(fits[f"{quantity.name}_{side}_{moment}"].astype(float) for side in ("left", "right"))
        )
        for quantity in QUANTITIES
        for moment in MOMENTS
    }
    return {**fits, **difference, "high_sway_mm": high.astype(float)[fits["studio"]]}


def _limits(settings: Settings) -> dict[str, float]:
    knee = settings.knee
    return {
        "side_difference_limit_deg": knee.side_difference_deg,
        "offset_difference_limit_mm": knee.offset_difference_mm,
        "neutral_within_deg": knee.neutral_within_deg,
        "high_sway_quantile": knee.high_sway_quantile,
    }


def _chosen_by_arrival(split: str | None) -> tuple[str, ...]:
    """What a split by the arrival itself cannot tell."""
    return (ARRIVAL_CAUTION,) if split == "arrival_direction" else ()


def _if_recorded(rows: Iterable[Any], recorded: Recorded) -> tuple[Any, ...]:
    """The rows; those of a quantity that is not recorded, or of repeats where no setup is, say so."""
    return tuple(
        replace(row, words=words) if hasattr(row, "words") and (words := _not_recorded(_concerns(row), recorded)) else row
        for row in rows
    )


def _concerns(row: Any) -> str:
    if isinstance(row, RepeatRow):
        return "repeat_capture"
    return getattr(row, "quantity", "") or row.finding.removeprefix("side difference in ")


def _not_recorded(figure: str, recorded: Recorded) -> str:
    of = "Repeats of a side difference" if figure == "repeat_capture" else f"Side difference in {figure}"
    return f"{of}: {absent}." if (absent := recorded.instead(figure)) else ""


def _not_told(told: Sequence[str]) -> tuple[str, ...]:
    """The patterns of which nothing is known here."""
    return () if len(told) == len(PATTERNS) else (f"Looping is not told: {cost_words(SWAY)}",)


def _side_ignored(selection: Selection) -> tuple[str, ...]:
    return ("The choice of one side is left aside here: a side difference takes both knees.",) if selection.side else ()


def _changes(firsts: Firsts, masks: Mapping[str | None, Flags], split: str | None, settings: Settings) -> Iterator[ChangeRow]:
    for quantity in QUANTITIES:
        if not quantity.limit_key:
            continue
        before, after = (firsts.beyond(quantity, moment, quantity.limit(settings)) for moment in MOMENTS)
        seen = np.isfinite(firsts.size(quantity, "arrival")) & np.isfinite(firsts.size(quantity, "departure"))
        name = f"side difference in {quantity.name}"
        for level, mask in masks.items():
            chosen = seen & mask[firsts.fit]
            yield change_row(name, before[chosen], after[chosen], split, level, settings)


def _pattern_changes(
    firsts: Firsts, masks: Mapping[str | None, Flags], split: str | None, settings: Settings, patterns: Sequence[str]
) -> Iterator[ChangeRow]:
    seen = firsts.has_pattern["arrival"] & firsts.has_pattern["departure"]
    for pattern in patterns:
        for level, mask in masks.items():
            chosen = seen & mask[firsts.fit]
            before, after = (firsts.shown[moment][pattern][chosen] for moment in MOMENTS)
            yield change_row(pattern, before, after, split, level, settings)


def _flow(firsts: Firsts, patterns: Sequence[str]) -> Iterator[FlowRow]:
    seen = firsts.has_pattern["arrival"] & firsts.has_pattern["departure"]
    step = len(PATTERNS) * firsts.named["arrival"][seen].astype(np.int64) + firsts.named["departure"][seen]
    n = iter(np.bincount(step, minlength=len(PATTERNS) ** 2).tolist())
    for before in PATTERNS:
        for after in PATTERNS:
            n_riders = next(n)
            if before in patterns and after in patterns:
                yield FlowRow(before, after, n_riders)


def _repeats(pairs: Mapping[str, NDArray[Any]], settings: Settings) -> Iterator[RepeatRow]:
    for quantity in QUANTITIES:
        if quantity.limit_key:
            yield repeat_row(pairs, quantity, settings)


def _pictured(warehouse: Warehouse, firsts: Firsts) -> Iterator[KneesRow]:
    pictured = {moment: np.flatnonzero(firsts.has_pattern[moment])[-_PICTURED:] for moment in MOMENTS}
    session_of = sessions_of(warehouse, firsts.fit_no[np.concatenate(list(pictured.values()))])
    for moment, chosen in pictured.items():
        knees = firsts.knees[moment]
        for row in chosen:
            yield KneesRow(
                session_of[int(firsts.fit_no[row])],
                moment,
                float(knees.tilt_left_deg[row]),
                float(knees.tilt_right_deg[row]),
                PATTERNS[firsts.named[moment][row]],
            )
