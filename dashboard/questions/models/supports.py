"""From a frame to what the two models see: supports, exam, order and visit as terms; with a split, supports by level."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.models.captures import Captures, labels_in
from dashboard.questions.models.frames import (
    HELD,
    NOT_EXAMINED,
    Frame,
    frame_of,
    split_support_columns,
)
from shared.statistics.mixed.terms import Terms

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

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
    """Supports in the order of `columns`, which are the first terms of both models; pooled also holds exam and visit."""

    frame: Frame
    columns: tuple[SupportColumn, ...]
    pooled: Terms
    within: Terms
    counts: tuple[Counts, ...]


def build_design(frame: Frame, split: str | None) -> Design:
    """The design of both models; with a split that is the same throughout a cell, each support has one column a level of it."""
    supports = frame.supports
    level, labels = _levels(frame.captures, split)
    names: list[SupportColumn] = []
    counts: list[Counts] = []
    places = np.full((max(len(labels), 1), len(frame.columns)), -1)
    for place in supports:
        column = frame.columns[place]
        for index, (label, of_level) in enumerate(zip(labels or (column.level,), _counts(frame, place, level), strict=True)):
            if label == NOT_EXAMINED and labels and not _occurs(frame, place, level == index):
                continue
            places[index, place] = len(names)
            names.append(SupportColumn(column.of, label))
            counts.append(of_level)
    orders = [place for place in range(len(frame.columns)) if place not in supports]
    for step, place in enumerate(orders):
        places[:, place] = len(names) + step
    order_terms = tuple(frame.columns[place].term for place in orders)
    others = dict(_others(frame.captures))
    terms = (*(name.term for name in names), *order_terms)
    within = Terms.of(frame.cells, terms, level, places)
    pooled = within.with_constant(tuple(others), np.array(list(others.values())).T)
    return Design(frame, tuple(names), pooled, within, tuple(counts))


def design_of(frame: Frame, split: str | None) -> Design:
    """The design with any split; one that tells a support's own values apart is built from columns of its own."""
    if split in OWN_SPLITS:
        held = tuple(column for column in frame.columns if column.of in HELD)
        columns = (*split_support_columns(split, OWN_SPLITS[split], frame.captures), *held)
        return build_design(frame_of(frame.captures, frame.outcome, columns, is_by_rider=True), None)
    return build_design(frame, split)


def known_of_cells(captures: Captures) -> Floats:
    """What was recorded of each cell before its first capture, (cells, k): an intercept, the exam and the visit's kind."""
    return np.array([values for _, values in _others(captures)]).T


def _levels(captures: Captures, split: str | None) -> tuple[Ints, tuple[str, ...]]:
    """The level of each cell, and the levels; knees without a value to split by inform the shared terms and are not shown."""
    if split is None:
        return np.zeros(len(captures.n), dtype=np.int64), ()
    levels = captures.cells[split]
    present = sorted(labels_in(levels), key=_level_order)
    place = np.full(len(levels.categories) + 1, len(present))  # the last, code -1: not examined
    for index, label in enumerate(present):
        place[levels.categories.get_loc(label)] = index
    missing = (NOT_EXAMINED,) if levels.isna().any() else ()
    return place[levels.codes], (*present, *missing)


def _occurs(frame: Frame, place: int, here: NDArray[np.bool_]) -> bool:
    """Whether the column is other than zero anywhere in these cells."""
    return bool(np.any(frame.cells.mean[here, place]) or np.any(frame.n_changes[here, place]))


def counts_of(frame: Frame, place: int) -> Counts:
    """How often a column was changed, and in how many riders."""
    return _counts(frame, place, np.zeros(len(frame.captures.n), dtype=np.int64))[0]


def _counts(frame: Frame, place: int, level: Ints) -> list[Counts]:
    """The same in the cells of each level (cells,), 0 to the highest; cells are sorted by rider."""
    changes, n_levels = frame.n_changes[:, place], int(level.max(initial=0)) + 1
    here = np.flatnonzero(changes)
    own, rider = level.take(here), frame.captures.rider.take(here)
    found = []
    for index in range(n_levels):
        at = np.flatnonzero(own == index)
        riders = rider.take(at)
        n_riders = int(np.count_nonzero(riders[1:] != riders[:-1])) + min(len(riders), 1)
        found.append(Counts(int(changes.take(here.take(at)).sum()), n_riders))
    return found


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


def _others(captures: Captures) -> Iterator[tuple[str, Floats]]:
    """The columns of cells; a class that no cell has, or all have, tells nothing and has no column."""
    for name, values in exam_columns(captures, mean_angle_deg(captures)):
        is_class = values.dtype == bool
        if not is_class or (values.any() and not values.all()):
            yield name, values.astype(float)


def mean_angle_deg(captures: Captures) -> float:
    """The mean forefoot angle of the captures whose foot was examined, which stands for that of the others; 0 without any."""
    unknown = np.isnan(captures.angle_deg)
    known = float(captures.n[~unknown].sum())
    return float(captures.n[~unknown] @ captures.angle_deg[~unknown]) / known if known else 0.0


def exam_columns(captures: Captures, unknown_angle_deg: float) -> Iterator[tuple[str, NDArray[Any]]]:
    """What the exam recorded, which is what a fitter may have gone by, and the visit's kind, each (cells,); classes as flags. A
    foot that was not examined has columns of its own, and the angle that is given for unknown ones."""
    yield "intercept", np.ones(len(captures.n))
    for column, name, codes in _EXAM:
        yield from _dummies(captures, column, name, codes)
    unknown = np.isnan(captures.angle_deg)
    yield "forefoot angle", np.where(unknown, unknown_angle_deg, captures.angle_deg)
    yield "forefoot not examined", unknown
    yield from _dummies(captures, "visit_kind", "visit", ("follow_up", "refit"))


_EXAM = (
    ("arch_height", "arch", ("medium", "high")),
    ("arch_collapse", "collapse", ("some", "marked")),
    ("heel_posture", "heel", ("inverted", "everted")),
    ("squat_knee_path", "squat", ("inward", "outward")),
)


def _dummies(captures: Captures, column: str, name: str, codes: tuple[str, ...]) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    levels = captures.cells[column]
    for code in codes:
        yield f"{name} {code}", np.asarray(levels == code)
    yield f"{name} not recorded", np.asarray(levels.isna())
