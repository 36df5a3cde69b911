"""What attackers can do with the tables of groups, measured on the very tables that are about to be given out.

An attacker knows some things of a rider and seeks the rider's row by them: record linkage by distance (Domingo-Ferrer & Torra
2001, in Doyle et al., Confidentiality, Disclosure and Data Access, 111-133). Alike are all riders of rows that come at least as
near as the rider's own; the guess is one rider of the nearest row. The last attacker has the row itself, however it was
found: no attacker can do better (docs/anonymous.md).
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from dashboard.export import group_tables as tables
from dashboard.export.group_tables import Grouped
from shared.errors import StatisticsError

_BY_ALL: Final = (*tables.RIDERS.columns, *tables.KNEES.columns)
_WHO: Final = (*tables.SEX.columns, *tables.AGE.columns, *tables.RIDING.columns)
_FOLLOW_UPS: Final = (*tables.BOOKED.columns, *tables.ATTENDED.columns)
_EXAM: Final = (*tables.ARCH.columns, *tables.FOREFOOT.columns)
# What each attacker knows, in words, and the columns in which it is told; what is in no column cannot be looked up.
ATTACKERS: Final[tuple[tuple[str, str, tuple[str, ...]], ...]] = (
    ("who, where, when and why", "sex, age band, riding; bicycle, studio, date and kind of visit, which no row tells", _WHO),
    ("and the fitter", "the same and the fitter, whom no row tells", _WHO),
    ("and the follow-up", "the same and whether one was booked and attended", (*_WHO, *_FOLLOW_UPS)),
    ("and the captures", "the same and how many captures each fit had, which no row tells", _WHO),
    ("and the comfort said", "the same and comfort as said at arrival and departure", (*_WHO, *tables.COMFORT)),
    ("supports", "insole level, shims and stance of both feet at arrival and departure", tables.SUPPORTS),
    ("exam", "arch height and forefoot class of both feet", _EXAM),
    ("printed figures", "tilt, sway and offset of both knees at arrival and departure", tables.OUTCOMES),
    ("everything", "all of these at once", _BY_ALL),
)
_TEN: Final = 10
# So many riders are attacked at most: each is held against each row.
_ATTACKED: Final = 2_000
_NOTHING_WRITTEN: Final = "Nothing was written; tell whoever looks after fitledger."
WHOLE_ROW: Final = ("the row itself", "in which row the rider stands, however that was found out")


@dataclass(frozen=True)
class AttackerRow:
    """One attacker on the tables of groups: what they know of a rider, and how near they come to the rider.

    share_below_ten: riders with fewer than ten alike, as a share; fewest_alike: of any rider; mean_right_guesses, worst: how
    often one guess is right, on average and for the rider at the greatest risk, as shares.
    """

    attacker: str
    knows: str
    riders: int
    share_below_ten: float
    fewest_alike: int
    mean_right_guesses: float
    worst: float


@dataclass(frozen=True)
class ToldRow:
    """What a rider's row tells of one thing to someone who has found it, beside what the whole table tells.

    share_certain: riders whose row says the same of all its riders; right_with_row, right_without: how often the most likely
    answer is right, by the row and by the table as a whole. `guarded`: no row may be certain.
    """

    table: str
    told: str
    riders: int
    guarded: bool
    share_certain: float
    right_with_row: float
    right_without: float


class PromiseError(StatisticsError):
    """The tables of an anonymous export do not keep what it promises."""


def attackers(grouped: Iterable[Grouped]) -> list[AttackerRow]:
    """Every attacker on all tables at once: each rider counts where they stand, at the greatest risk of any table.

    Where riders are many, so many of them are attacked, spread over all.
    """
    every = list(grouped)
    riders = sorted({rider for one in every for rider in one.rider_ids})
    several = [_with_riders(one, set(riders[:: -(-len(riders) // _ATTACKED)])) for one in every]
    by_attacker = [_together(several, [_attacked(one, columns) for one in several]) for _, _, columns in ATTACKERS]
    rows = []
    for (name, knows, columns), (alike, _) in zip(ATTACKERS, by_attacker, strict=True):
        # Who knows more may leave some of it aside.
        guesses = [
            right for (_, _, fewer), (_, right) in zip(ATTACKERS, by_attacker, strict=True) if set(fewer) <= set(columns)
        ]
        rows.append(_attacker_row(name, knows, alike, max(guesses, key=lambda right: sum(right.values()))))
    whole = [(size := one.n_riders[one.row_of], 1 / size) for one in every]
    return [*rows, _attacker_row(*WHOLE_ROW, *_together(every, whole))]


def _with_riders(one: Grouped, riders: set[str]) -> Grouped:
    """Keeps the same rows, and only these of their riders."""
    places = np.array([place for place, rider in enumerate(one.rider_ids) if rider in riders], dtype=np.int64)
    return replace(
        one,
        rider_ids=tuple(one.rider_ids[place] for place in places),
        values=one.values.iloc[places],
        row_of=one.row_of[places],
    )


def _together(several: list[Grouped], measured: list[tuple[Any, Any]]) -> tuple[dict[str, int], dict[str, float]]:
    """Gives for each rider, over all tables, the fewest riders alike and the greatest chance of a right guess."""
    alike: dict[str, int] = {}
    right: dict[str, float] = {}
    for one, (sizes, chances) in zip(several, measured, strict=True):
        for rider, size, chance in zip(one.rider_ids, sizes.tolist(), chances.tolist(), strict=True):
            alike[rider] = min(size, alike.get(rider, size))
            right[rider] = max(chance, right.get(rider, chance))
    return alike, right


def _attacker_row(attacker: str, knows: str, alike: dict[str, int], right: dict[str, float]) -> AttackerRow:
    fewest = min(alike.values())
    return AttackerRow(
        attacker=attacker,
        knows=knows,
        riders=len(alike),
        share_below_ten=sum(size < _TEN for size in alike.values()) / len(alike),
        fewest_alike=fewest,
        mean_right_guesses=sum(right.values()) / len(right),
        worst=max(*right.values(), 1 / fewest),
    )


def _attacked(one: Grouped, columns: tuple[str, ...]) -> tuple[Any, Any]:
    """By rider: riders in rows that come at least as near as the rider's own, and the chance that one guess is right."""
    far = np.zeros((len(one.values), len(one.n_riders)))
    for name in columns:
        if name in one.table.columns and (spread := float(np.std(row_values := one.shown[name].to_numpy()))) > 0:
            far += ((one.values[name].to_numpy()[:, None] - row_values[None, :]) / spread) ** 2
    own = far[np.arange(len(far)), one.row_of][:, None]
    alike = (far <= own * (1 + 1e-9) + 1e-9) @ one.n_riders
    nearest = far <= far.min(axis=1, keepdims=True) * (1 + 1e-9) + 1e-9
    hit = nearest[np.arange(len(far)), one.row_of]
    return alike, hit / (nearest @ one.n_riders)


def told_by_rows(grouped: Iterable[Grouped]) -> list[ToldRow]:
    """What the rows tell of each family of shares, and of the means within what one rider may differ by."""
    rows = []
    for one in grouped:
        name = f"{one.table.name}, {one.side}" if one.side else one.table.name
        for family in one.table.families:
            rows.append(_told_of_kinds(one, name, family))
        rows += [_told_of_mean(one, name, column) for column in one.table.means if one.shown[column].notna().all()]
    return rows


def _told_of_kinds(one: Grouped, name: str, family: tables.Family) -> ToldRow:
    columns = list(family.columns)
    row_shares = one.shown[columns].to_numpy()
    row_shares = np.column_stack([row_shares, 1 - row_shares.sum(axis=1)])
    own = one.values[columns].to_numpy()
    own = np.column_stack([own, 1 - own.sum(axis=1)]).argmax(axis=1)
    counts = np.rint(row_shares * one.n_riders[:, None])
    certain = (counts == one.n_riders[:, None]).any(axis=1)
    by_row = row_shares.argmax(axis=1)[one.row_of]
    return ToldRow(
        table=name,
        told=", ".join(columns),
        riders=len(own),
        guarded=family.guarded,
        share_certain=float(certain[one.row_of].mean()),
        right_with_row=float((by_row == own).mean()),
        right_without=float(np.bincount(own).max() / len(own)),
    )


def _told_of_mean(one: Grouped, name: str, column: str) -> ToldRow:
    """Of a measured value or a score: how often it lies within 1 of the row's mean, and of the mean of all."""
    own, row_means = one.values[column].to_numpy(), one.shown[column].to_numpy()
    return ToldRow(
        table=name,
        told=f"{column} within 1",
        riders=len(own),
        guarded=False,
        share_certain=0.0,
        right_with_row=float((np.abs(own - row_means[one.row_of]) <= 1).mean()),
        right_without=float((np.abs(own - own.mean()) <= 1).mean()),
    )


def require_promise(found: list[AttackerRow], told: list[ToldRow], few: int) -> None:
    """Raises PromiseError where a rider has fewer than `few` alike for any attacker, or a guarded row is certain."""
    for row in found:
        if row.fewest_alike < few or row.worst > 1 / few + 1e-9:
            raise PromiseError(
                f"Anonymous export: found a rider with {row.fewest_alike} alike for an attacker who knows {row.knows} (right "
                f"guesses up to {row.worst:.0%}), expected at least {few} (up to {1 / few:.0%}). {_NOTHING_WRITTEN}"
            )
    for one in told:
        if one.guarded and one.share_certain > 0:
            raise PromiseError(
                f"Anonymous export: found rows of {one.table} that say the same of all their riders ({one.told}), expected "
                f"none. {_NOTHING_WRITTEN}"
            )
