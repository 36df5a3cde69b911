"""Looks at the rig of every studio: one family of tests, and of what is found its size, its days and its sentence."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Final

import numpy as np
from scipy import stats

from shared.rig.findings import A_MONTH, UNITS, Kind, RigFinding, day_of, spoken
from shared.rig.recorded import QUANTITIES, Recorded, Rows, apart, designs, pairs, recorded, scatter, together
from shared.settings import Rig, Settings
from shared.statistics.multiplicity import benjamini_hochberg
from shared.statistics.rig.exchange import Exchanged, exchanged_now_and_then, exchanged_throughout
from shared.statistics.rig.moves import DAYS_A_MONTH, Move, Series, level_of, moves_of
from shared.warehouse import Warehouse

Ends = tuple[float, float, float]
_ALWAYS: Final[tuple[date | None, ...]] = (None, None, None)


@dataclass(frozen=True)
class _Test:
    """One test of one studio: its p-value, and what it finds where that is small enough; q-values come later."""

    p_value: float
    find: Callable[[], Iterator[RigFinding]]


def rig_findings(warehouse: Warehouse, settings: Settings) -> tuple[RigFinding, ...]:
    """What is found of the rigs of a warehouse, over all its fits."""
    studios = warehouse.rows("SELECT DISTINCT studio_no, studio_id FROM mart.fits")
    return findings_of(recorded(warehouse), {row["studio_no"]: row["studio_id"] for row in studios}, settings)


def findings_of(rows: Recorded, studios: dict[int, str], settings: Settings) -> tuple[RigFinding, ...]:
    """What is found in these rows; `studios`: their ids by number.

    One family of all tests of all studios, adjusted by Benjamini-Hochberg; `settings.rig.q_value` is small enough that looking
    with every load raises less than one false alarm a year (tests/recovery/rig_table.py). What is smaller than a studio calls
    worth telling is not told.
    """
    tests = [test for number, here in rows.by_studio() for test in _Studio(studios[number], here, settings.rig).tests()]
    q_values = benjamini_hochberg([test.p_value for test in tests])
    found = [
        replace(finding, q_value=q_value)
        for test, q_value in zip(tests, q_values, strict=True)
        if q_value <= settings.rig.q_value
        for finding in test.find()
    ]
    return tuple(replace(finding, words=spoken(finding)) for finding in found if not _follows(finding, found))


def _follows(finding: RigFinding, found: list[RigFinding]) -> bool:
    """Whether it is another one's shadow: knees that change places scatter, and tell nothing of right against left."""
    exchanged = [other for other in found if other.studio == finding.studio and other.kind == "exchange"]
    if finding.kind == "exchange":
        return any(other.estimate > finding.estimate for other in exchanged)
    return finding.kind in {"noise", "side"} and bool(exchanged)


@dataclass(frozen=True)
class _Studio:
    """One studio's rows, and what of them is worth telling."""

    name: str
    rows: Recorded
    rig: Rig

    def tests(self) -> Iterator[_Test]:
        arrivals, least = self.rows.arrivals, self.rig.least_fits
        of_both, of_difference = designs(arrivals)
        for quantity in QUANTITIES:
            yield from self._moves(together(arrivals, quantity, of_both, least), quantity)
            yield from self._sides(apart(arrivals, quantity, of_difference, least), quantity)
            yield from self._noise(scatter(self.rows.captures, quantity, least), quantity)
        yield from self._exchange()

    def _moves(self, series: Series, quantity: str, kind: Kind | None = None) -> Iterator[_Test]:
        """Steps and slopes; `kind`: what they are called."""
        # A further move is held to what every test of the studio would be.
        moves = moves_of(series, self.rig.most_moves, self.rig.q_value / (4 * len(QUANTITIES) + 2))
        if moves:
            yield _Test(moves[0].p_value, lambda: self._moved(series, moves, quantity, kind))

    def _moved(self, series: Series, moves: tuple[Move, ...], quantity: str, kind: Kind | None) -> Iterator[RigFinding]:
        months = (int(series.day[-1]) - int(series.day[0])) / DAYS_A_MONTH
        for move in moves:
            is_step = move.kind == "step"
            if abs(move.estimate) * (1 if is_step else months) >= self.rig.smallest(quantity):
                ends, unit = (move.estimate, move.low, move.high), UNITS[quantity] + ("" if is_step else A_MONTH)
                yield self._finding(kind or move.kind, quantity, ends, unit, move)

    def _sides(self, series: Series, quantity: str) -> Iterator[_Test]:
        """Right against left: whether it moves, and whether it lies further from zero than half of what is worth telling."""
        if len(series.values) < 2 * self.rig.least_fits:
            return
        yield from self._moves(series, quantity, "side")
        level = level_of(series)
        if level.error <= 0:
            return
        half = float(stats.t.ppf(0.975, level.df)) * level.error
        ends = (level.estimate, level.estimate - half, level.estimate + half)
        beyond = (abs(level.estimate) - self.rig.smallest(quantity) / 2) / level.error
        p_value = float(min(1.0, 2 * stats.t.sf(beyond, level.df)))
        yield _Test(p_value, lambda: iter([self._finding("side", quantity, ends, UNITS[quantity])]))

    def _noise(self, series: Series, quantity: str) -> Iterator[_Test]:
        """A step of how far two captures with the same setup lie apart."""
        moves = moves_of(series, 1, 0.0)
        if not moves or moves[0].kind != "step":
            return
        move = moves[0]
        before = float(series.values[series.day < move.day].mean())
        if before <= 0:
            return
        times, low, high = ((max(before + change, 0.0) / before) ** 2 for change in (move.estimate, move.low, move.high))
        is_told = max(times, 1 / max(times, 1e-9)) >= self.rig.smallest_noise_ratio
        found = [self._finding("noise", quantity, (times, low, high), "ratio", move)] if is_told else []
        yield _Test(move.p_value, lambda: iter(found))

    def _exchange(self) -> Iterator[_Test]:
        captures = pairs(self.rows.captures)
        if len(captures.fit) < 2 * self.rig.least_fits:
            return
        for found in (exchanged_throughout(captures), exchanged_now_and_then(captures)):
            if found:
                yield _Test(found.p_value, partial(self._exchanged, found))

    def _exchanged(self, found: Exchanged) -> Iterator[RigFinding]:
        """A stretch that begins or ends within a few fits of all is told as one without that end."""
        day = self.rows.arrivals["day"]
        n_there = np.count_nonzero((day >= found.day) & (day <= found.until))
        if found.share < self.rig.smallest_exchanged_share or n_there < self.rig.least_fits:
            return
        is_late = np.count_nonzero(day < found.day) >= self.rig.least_fits
        has_ended = np.count_nonzero(day > found.until) >= self.rig.least_fits
        since, until = day_of(found.day) if is_late else None, day_of(found.until) if has_ended else None
        finding = self._finding("exchange", "tilt", (found.share, found.low, found.high), "share")
        yield replace(finding, since=since, since_low=since, since_high=since, until=until)

    def _finding(self, kind: Kind, quantity: str, ends: Ends, unit: str, move: Move | None = None) -> RigFinding:
        since, since_low, since_high = (day_of(day) for day in (move.day, move.day_low, move.day_high)) if move else _ALWAYS
        n_fits, n_riders = _counts(self.rows.arrivals, move.day if move and move.kind == "step" else None)
        estimate, low, high = ends
        return RigFinding(
            studio=self.name,
            kind=kind,
            quantity=quantity,
            since=since,
            since_low=since_low,
            since_high=since_high,
            until=None,
            estimate=estimate,
            low=low,
            high=high,
            unit=unit,
            q_value=0.0,
            n_fits=n_fits,
            n_riders=n_riders,
        )


def _counts(rows: Rows, day: int | None) -> tuple[int, int]:
    """Fits and riders on the side of `day` that has fewer; of all rows without it."""
    sides = [np.ones(len(rows["day"]), dtype=bool)] if day is None else [rows["day"] < day, rows["day"] >= day]
    return min(int(side.sum()) for side in sides), min(len(np.unique(rows["rider"][side])) for side in sides)
