"""Drawn order: comparisons of two next steps, what was drawn in them, and how anybody can draw it again.

The seed is chosen when a comparison is opened and told when it is closed; its SHA-256, the seal, is told at once, so that
nobody can choose another seed afterwards. Within a stratum (the fitter at work) blocks of four or six hold as many of each
step, in an order that the seed alone decides.
"""

import hashlib
import secrets
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final, Literal

from shared.errors import LogbookError, UsageError
from shared.logbook.store import Logbook

Arm = Literal["first", "second"]
ARMS: Final[tuple[Arm, Arm]] = ("first", "second")
OUTCOMES: Final = ("off_neutral", "tilt", "sway")
# What ends a comparison: its rule, or a reason that is told beside its figures.
REASONS: Final = ("rule", "clear", "harm", "other")
MAY_OVERRULE: Final = "The fitter may always overrule the draw."
LEAST_DRAWS: Final = 12
MOST_DRAWS: Final = 2_000


@dataclass(frozen=True)
class Feet:
    """The feet that a comparison is for: exam, supports before the step, and where the knee arrived."""

    arch_height: str
    forefoot: str
    insole_level: str
    total_shims: int
    knee: str


@dataclass(frozen=True)
class Comparison:
    """One comparison as it is kept; see sql/from_0.sql. Times in UTC."""

    comparison_id: str
    opened_at: str
    opened_by: str
    first_step: str
    second_step: str
    outcome: str
    arch_height: str
    forefoot: str
    insole_level: str
    total_shims: int
    knee: str
    stop_after: int
    stop_on: str
    confirmed: str
    seed: str
    commitment: str
    closed_at: str = ""
    closed_by: str = ""
    why_closed: str = ""

    @property
    def is_open(self) -> bool:
        return not self.closed_at

    @property
    def feet(self) -> Feet:
        return Feet(**{one.name: getattr(self, one.name) for one in fields(Feet)})

    def step(self, arm: str) -> str:
        """The code of an arm's step."""
        return self.first_step if arm == "first" else self.second_step


@dataclass(frozen=True)
class Draw:
    """One draw: which step comes first for a knee of a fit, noted after capture `capture_before` and before the next one."""

    comparison_id: str
    draw_no: int
    stratum: str
    block: int
    block_size: int
    place: int
    drawn: Arm
    session_id: str
    side: str
    capture_before: int
    drawn_at: str
    drawn_by: str


class Drawing:
    """The comparisons and draws in the logbook of the warehouse at `warehouse`."""

    def __init__(self, warehouse: Path, *, busy_seconds: float = 5.0) -> None:
        self._logbook = Logbook(warehouse, busy_seconds=busy_seconds)

    def comparisons(self) -> tuple[Comparison, ...]:
        """Every comparison in the order in which they were opened. Raises LogbookError."""
        with self._logbook.reading() as book:
            return tuple(
                map(_comparison, book.execute("SELECT * FROM comparisons ORDER BY opened_at, comparison_id").fetchall())
            )

    def draws(self) -> tuple[Draw, ...]:
        """Every draw by comparison and number. Raises LogbookError."""
        with self._logbook.reading() as book:
            return tuple(map(_draw, book.execute("SELECT * FROM draws ORDER BY comparison_id, draw_no").fetchall()))

    def open(
        self, steps: tuple[str, str], feet: Feet, outcome: str, *, stop_after: int, stop_on: date, by: str, confirmed: str
    ) -> Comparison:
        """Opens a comparison with a new seed. Whether both steps agree with the exam is for the caller to have asked.

        Raises UsageError where it has no sound stop rule, the sentence is not confirmed, or the steps are the same.
        """
        now = datetime.now(UTC)
        _require(steps[0] != steps[1], "Both steps are the same. Name two different ones.")
        _require(outcome in OUTCOMES, f"Found the outcome {outcome!r}, expected one of {', '.join(OUTCOMES)}.")
        _require(
            LEAST_DRAWS <= stop_after <= MOST_DRAWS,
            f"A comparison stops after {LEAST_DRAWS} to {MOST_DRAWS:,} draws; found {stop_after}.",
        )
        _require(stop_on > now.date(), f"A comparison stops on a day to come at the latest; found {stop_on}.")
        _require(confirmed == MAY_OVERRULE, f"Confirm the sentence as it stands: {MAY_OVERRULE}")
        seed = secrets.token_hex(32)
        seal = commitment_of(seed)
        opened = Comparison(
            comparison_id=f"C-{seal[:6]}",
            opened_at=f"{now:%Y-%m-%dT%H:%M:%SZ}",
            opened_by=by,
            first_step=steps[0],
            second_step=steps[1],
            outcome=outcome,
            **{one.name: getattr(feet, one.name) for one in fields(Feet)},
            stop_after=stop_after,
            stop_on=stop_on.isoformat(),
            confirmed=confirmed,
            seed=seed,
            commitment=seal,
        )
        with self._logbook.writing() as book:
            _insert(book, "comparisons", vars(opened))
        return opened

    def draw(self, comparison_id: str, session_id: str, side: str, *, capture_before: int, stratum: str, by: str) -> Draw:
        """Draws the next order of a stratum for a knee of a fit, and keeps it; a fit that has one already is given the same.

        Raises UsageError where there is no such comparison, it is closed or at its end, or the fit's draw was for another knee.
        """
        now = datetime.now(UTC)
        with self._logbook.writing() as book:
            comparison = _found(book, comparison_id)
            known = book.execute(
                "SELECT * FROM draws WHERE comparison_id = ? AND session_id = ?", (comparison_id, session_id)
            ).fetchone()
            if known:
                found = _draw(known)
                _require(found.side == side, f"{session_id}: the draw of this fit was for the {found.side} knee. It stands.")
                return found
            n_drawn = int(_one(book, "SELECT count(*) FROM draws WHERE comparison_id = ?", comparison_id))
            _require(comparison.is_open, f"{comparison_id} is closed: nothing is drawn in it any more.")
            is_over = n_drawn >= comparison.stop_after or f"{now:%Y-%m-%d}" > comparison.stop_on
            _require(not is_over, f"{comparison_id} has reached its stop rule: close it to see what it says.")
            last = book.execute(
                "SELECT block, block_size, place FROM draws WHERE comparison_id = ? AND stratum = ? "
                "ORDER BY block DESC, place DESC LIMIT 1",
                (comparison_id, stratum),
            ).fetchone()
            block, place = (0, 0) if last is None else (last["block"], last["place"] + 1)
            if last is not None and place == last["block_size"]:
                block, place = block + 1, 0
            order = block_order(comparison.seed, stratum, block)
            made = Draw(
                comparison_id=comparison_id,
                draw_no=n_drawn + 1,
                stratum=stratum,
                block=block,
                block_size=len(order),
                place=place,
                drawn=order[place],
                session_id=session_id,
                side=side,
                capture_before=capture_before,
                drawn_at=f"{now:%Y-%m-%dT%H:%M:%SZ}",
                drawn_by=by,
            )
            _insert(book, "draws", vars(made))
        return made

    def close(self, comparison_id: str, *, why: str, by: str) -> Comparison:
        """Closes a comparison, which reveals its seed. Raises UsageError where there is none, or it is closed already."""
        _require(why in REASONS, f"Found the reason {why!r}, expected one of {', '.join(REASONS)}.")
        now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
        with self._logbook.writing() as book:
            _require(_found(book, comparison_id).is_open, f"{comparison_id} is closed already. Nothing was changed.")
            book.execute(
                "UPDATE comparisons SET closed_at = ?, closed_by = ?, why_closed = ? WHERE comparison_id = ?",
                (now, by, why, comparison_id),
            )
            return _found(book, comparison_id)


def found(comparisons: Iterable[Comparison], comparison_id: str) -> Comparison:
    """The comparison of this name. Raises UsageError where there is none."""
    known = {one.comparison_id: one for one in comparisons}
    if comparison_id not in known:
        raise UsageError(f"{comparison_id}: no such comparison was opened here. fitledger draw list tells which there are.")
    return known[comparison_id]


def commitment_of(seed: str) -> str:
    """The seal of a seed: SHA-256 of its text."""
    return hashlib.sha256(seed.encode()).hexdigest()


def block_order(seed: str, stratum: str, block: int) -> tuple[Arm, ...]:
    """The arms of a block in the order in which they are drawn.

    Four places, or six where the last digit of SHA-256 of "seed/stratum/block" is odd. The places, 0, 1, …, are put in the
    order of SHA-256 of "seed/stratum/block/place": the first half of that order is the first step, the other the second.
    """
    about = f"{seed}/{stratum}/{block}"
    size = 6 if int(_digest(about)[-1], 16) % 2 else 4
    by_digest = sorted(range(size), key=lambda place: _digest(f"{about}/{place}"))
    return tuple(ARMS[by_digest.index(place) >= size // 2] for place in range(size))


def differing(draws: tuple[Draw, ...], seed: str, commitment: str) -> tuple[Draw, ...]:
    """The draws that are not what the revealed seed gives. Raises LogbookError where that seed is not the sealed one."""
    if commitment_of(seed) != commitment:
        raise LogbookError("The seed that was revealed is not the one that was sealed when the comparison was opened.")
    orders: dict[tuple[str, int], tuple[Arm, ...]] = {}
    wrong = []
    for one in draws:
        order = orders.setdefault((one.stratum, one.block), block_order(seed, one.stratum, one.block))
        if one.block_size != len(order) or one.place >= len(order) or order[one.place] != one.drawn:
            wrong.append(one)
    return tuple(wrong)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _require(holds: bool, words: str) -> None:
    if not holds:
        raise UsageError(words)


def _found(book: sqlite3.Connection, comparison_id: str) -> Comparison:
    rows = book.execute("SELECT * FROM comparisons WHERE comparison_id = ?", (comparison_id,))
    return found(map(_comparison, rows), comparison_id)


def _one(book: sqlite3.Connection, question: str, *bound: Any) -> Any:
    return book.execute(question, bound).fetchone()[0]


def _insert(book: sqlite3.Connection, table: str, cells: Mapping[str, Any]) -> None:
    """Adds a row whose columns are fields of a class of this module."""
    names, places = ", ".join(cells), ", ".join("?" * len(cells))
    book.execute(f"INSERT INTO {table} ({names}) VALUES ({places})", tuple(cells.values()))  # noqa: S608


def _comparison(row: sqlite3.Row) -> Comparison:
    return Comparison(**dict(row))


def _draw(row: sqlite3.Row) -> Draw:
    return Draw(**dict(row))
