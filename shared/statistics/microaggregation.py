"""Groups of at least so many rows that lie close together, so that a group's means can stand in place of its rows.

MDAV, maximum distance to the average vector: Domingo-Ferrer & Mateo-Sanz 2002, IEEE Trans Knowl Data Eng 14(1):189-201, in
the form of Domingo-Ferrer & Torra 2005, Data Min Knowl Discov 11(2):195-212 (METHODS.md, "Groups alike").
"""

from typing import Any, Final

import numpy as np

from shared.errors import TooFewError

Floats = np.ndarray[Any, np.dtype[np.float64]]
Integers = np.ndarray[Any, np.dtype[np.int64]]
# Rows beyond this many are first cut into blocks along their principal axis, since the time grows with rows times rows.
_BLOCK_ROWS: Final = 2_000


def groups_of(values: Floats, smallest: int) -> Integers:
    """The number of each row's group, from 0; `values` has a row each and a column a coordinate, none missing.

    Each group holds `smallest` to 2·`smallest` − 1 rows. Coordinates weigh by their spread. The same rows in the same order
    give the same groups. Raises TooFewError where there are fewer rows than `smallest`.
    """
    if len(values) < smallest:
        raise TooFewError(f"Groups: found {len(values)} rows, expected at least {smallest} for one group.")
    centred = values - values.mean(axis=0)
    labels = np.zeros(len(values), dtype=np.int64)
    begun = 0
    for rows in _blocks(centred):
        for group in _mdav(centred, rows, smallest):
            labels[group] = begun
            begun += 1
    return labels


def _blocks(points: Floats) -> list[Integers]:
    if len(points) <= _BLOCK_ROWS or points.shape[1] == 0:
        return [np.arange(len(points))]
    _, axes = np.linalg.eigh(points.T @ points)
    order = np.argsort(points @ axes[:, -1], kind="stable")
    return [np.sort(block) for block in np.array_split(order, -(-len(points) // _BLOCK_ROWS))]


def _mdav(points: Floats, rows: Integers, smallest: int) -> list[Integers]:
    """The groups of `rows`: around the row farthest from the mean, and around the row farthest from that one, by turns."""
    groups = []
    left = rows
    while len(left) >= 2 * smallest:
        far = _farthest(points[left], points[left].mean(axis=0))
        opposite = points[left[_farthest(points[left], points[left[far]])]]
        group, left = _taken(points, left, points[left[far]], smallest)
        groups.append(group)
        if len(left) >= 2 * smallest:
            group, left = _taken(points, left, opposite, smallest)
            groups.append(group)
    return [*groups, left]


def _farthest(points: Floats, point: Floats) -> int:
    return int(np.argmax(((points - point) ** 2).sum(axis=1)))


def _taken(points: Floats, left: Integers, point: Floats, n: int) -> tuple[Integers, Integers]:
    """The n rows nearest to a point, and the others."""
    near = np.argsort(((points[left] - point) ** 2).sum(axis=1), kind="stable")[:n]
    return left[near], np.delete(left, near)
