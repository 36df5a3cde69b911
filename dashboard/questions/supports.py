"""From rows to what the two models see: supports, exam, order and visit as columns of a design."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

SUPPORTS = ("insole_low", "insole_medium", "insole_high", "insole_custom", "shim", "stance")
ORDER = "capture"
NOT_EXAMINED = "not examined"
# Captures after this many are rare in one session; they share one step of the capture order.
_LAST_ORDER = 5

Rows = Mapping[str, NDArray[Any]]
Matrix = NDArray[np.float64]


# A split that says something of one support only: the others keep one column.
OWN_SPLITS = {"shim_place": "shim", "stance_by": "stance"}


@dataclass(frozen=True)
class SupportColumn:
    """One support, at one level of the split or overall (None)."""

    support: str
    level: str | None

    @property
    def term(self) -> str:
        return self.support if self.level is None else f"{self.support} | {self.level}"


@dataclass(frozen=True)
class Counts:
    """How often a support was changed between consecutive captures of one knee, and in how many riders."""

    n_changes: int
    n_riders: int


@dataclass(frozen=True)
class Design:
    """`supports` (n, s) in the order of `columns`; `pooled_others` and `within_others`: what each model holds beside them."""

    columns: tuple[SupportColumn, ...]
    supports: Matrix
    pooled_others: Matrix
    pooled_terms: tuple[str, ...]
    within_others: Matrix
    within_terms: tuple[str, ...]
    counts: tuple[Counts, ...]


def support_matrix(rows: Rows) -> Matrix:
    """The six supports as columns (n, 6): insole levels against none, total shims, stance in mm."""
    levels = rows["insole_level"]
    dummies = [(levels == name.removeprefix("insole_")).astype(float) for name in SUPPORTS[:4]]
    return np.column_stack([*dummies, rows["total_shims"].astype(float), rows["stance_mm"].astype(float)])


def build_design(rows: Rows, split: str | None, *, straight_order: bool = False) -> Design:
    """The design of both models; with a split, each support has one column a level of it.

    `straight_order` takes the capture order as one straight line: weaker against a drift that is not straight, but it can
    still tell supports apart that came at the same places of every session.
    """
    supports = support_matrix(rows)
    names: list[SupportColumn] = [SupportColumn(support, None) for support in SUPPORTS]
    if split:
        names, supports = _split_columns(rows[split], supports, OWN_SPLITS.get(split))
    order = {ORDER: rows["capture_order"].astype(float)} if straight_order else _order_steps(rows["capture_order"])
    exam = _exam_columns(rows)
    visit = _dummies(rows["visit_kind"], "visit", ("follow_up", "refit"))
    others = {"intercept": np.ones(len(supports)), **exam, **order, **visit}
    others = {term: column for term, column in others.items() if term == "intercept" or np.ptp(column) > 0}
    order = {term: column for term, column in order.items() if term in others}
    return Design(
        columns=tuple(names),
        supports=supports,
        pooled_others=np.column_stack(list(others.values())),
        pooled_terms=tuple(others),
        within_others=np.column_stack(list(order.values())) if order else np.empty((len(supports), 0)),
        within_terms=tuple(order),
        counts=tuple(change_counts(supports[:, index], rows) for index in range(supports.shape[1])),
    )


def _split_columns(levels: NDArray[Any], supports: Matrix, only: str | None) -> tuple[list[SupportColumn], Matrix]:
    """One column for each support and level; with `only`, that support's columns by level and the others as they are."""
    present = sorted({str(level) for level in levels if level is not None}, key=_level_order)
    groups = [(level, levels == level) for level in present]
    if _is_missing(levels).any():
        # Knees without a value to split by inform the shared terms and are not shown.
        groups.append((NOT_EXAMINED, _is_missing(levels)))
    names: list[SupportColumn] = []
    columns: list[Matrix] = []
    for index, support in enumerate(SUPPORTS):
        if only in {None, support}:
            names += [SupportColumn(support, level) for level, _ in groups]
            columns += [supports[:, index] * here for _, here in groups]
        else:
            names.append(SupportColumn(support, None))
            columns.append(supports[:, index])
    kept = [place for place, name in enumerate(names) if name.level != NOT_EXAMINED or np.any(columns[place])]
    return [names[place] for place in kept], np.column_stack([columns[place] for place in kept])


# Levels are listed in their own order, not the alphabet's.
_LEVEL_ORDER = (
    "low",
    "medium",
    "high",
    "valgus",
    "neutral",
    "mild_varus",
    "marked_varus",
    "none",
    "some",
    "marked",
    "left",
    "right",
    "highly supinated",
    "supinated",
    "pronated",
    "highly pronated",
    "under 30",
    "30 to 44",
    "45 to 59",
    "60 and over",
    "below 90°",
    "90 to 104°",
    "105 to 119°",
    "120° and above",
)


def _level_order(level: str) -> tuple[tuple[int, str], ...]:
    words = level.replace(" arch", "").split(", ")
    return tuple((_LEVEL_ORDER.index(word) if word in _LEVEL_ORDER else len(_LEVEL_ORDER), word) for word in words)


def _is_missing(levels: NDArray[Any]) -> NDArray[np.bool_]:
    return np.array([level is None for level in levels], dtype=bool)


def _order_steps(order: NDArray[Any]) -> dict[str, Matrix]:
    """Capture order as steps, so that a drift need not be straight."""
    capped = np.minimum(order.astype(int), _LAST_ORDER)
    return {f"{ORDER} {step + 1}": (capped == step).astype(float) for step in range(1, _LAST_ORDER + 1)}


def _exam_columns(rows: Rows) -> dict[str, Matrix]:
    """What the exam recorded, which is what a fitter may have gone by; a foot that was not examined has columns of its own."""
    angle = rows["forefoot_angle_deg"].astype(float)
    unknown = np.isnan(angle)
    filled = np.where(unknown, 0.0 if unknown.all() else np.nanmean(angle), angle)
    return {
        **_dummies(rows["arch_height"], "arch", ("medium", "high")),
        **_dummies(rows["arch_collapse"], "collapse", ("some", "marked")),
        **_dummies(rows["heel_posture"], "heel", ("inverted", "everted")),
        **_dummies(rows["squat_knee_path"], "squat", ("inward", "outward")),
        "forefoot angle": filled,
        "forefoot not examined": unknown.astype(float),
    }


def _dummies(codes: NDArray[Any], name: str, shown: tuple[str, ...]) -> dict[str, Matrix]:
    columns = {f"{name} {code}": (codes == code).astype(float) for code in shown}
    missing = _is_missing(codes)
    return {**columns, f"{name} not recorded": missing.astype(float)} if missing.any() else columns


def change_counts(column: Matrix, rows: Rows) -> Counts:
    """How often a column (n,) differs between consecutive captures of one knee; rows in the order of the question's SQL."""
    same_knee = rows["session_knee"][1:] == rows["session_knee"][:-1]
    changed = same_knee & (column[1:] != column[:-1])
    return Counts(int(changed.sum()), len(np.unique(rows["rider"][1:][changed])))
