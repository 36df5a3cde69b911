"""An anonymous export: tables of groups, and what attackers can do with them, measured before anything is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from dashboard.export.attackers import AttackerRow, ToldRow, attackers, require_promise, told_by_rows
from dashboard.export.group_tables import SQL, TABLES, Grouped, GroupTable, grouped
from dashboard.export.period import on_grid, pieces_of
from dashboard.questions.selection.scope import forefoot_class, fragments, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import TooFewError
from shared.settings import Settings
from shared.warehouse import Warehouse

# What is promised to riders stands whatever a studio shows on its own screens.
ALIKE: Final = 10
TEXT: Final = "ANONYMITY.txt"
CAUTION: Final = (
    "Figures of riders without their ids are still health data in most places. Who knows all riders of a row but one can work "
    "out the last one's share of its means. Ask who knows your local rules before you give this to others."
)


@dataclass(frozen=True)
class Anonymity:
    """The tables of groups of one selection, and what was measured on them."""

    alike: int
    selection: Selection
    tables: dict[str, pd.DataFrame]
    n_riders: int
    most_fits: int
    most_fits_in_a_quarter: int
    left_out: dict[str, int]
    attackers: tuple[AttackerRow, ...]
    told: tuple[ToldRow, ...]
    refused: tuple[str, ...]

    @property
    def words(self) -> str:
        return (
            f"No row is of one rider. Each is of at least {self.alike} riders, and each cell is their mean or share; "
            f"{self.n_riders} riders stand in the rows. Whoever knows what is said below, or all of it, finds at least "
            f"{self.alike} riders alike, and guesses right at most once in {self.alike}."
        )


def made_anonymous(warehouse: Warehouse, selection: Selection, settings: Settings) -> Anonymity:
    """Groups the riders who came for the first time in the selection, and measures.

    Raises UsageError for a selection that is not of whole pieces of time, TooFewError where nothing can be told, PromiseError
    where what was measured breaks the promise.
    """
    alike = max(ALIKE, settings.minimum.riders_shown)
    as_of = scope_of(warehouse, Selection(), settings).as_of
    selection = on_grid(selection, pieces_of(warehouse.rows(SQL / "first_fits_by_quarter.sql", {"as_of": as_of}), alike), alike)
    groups: list[Grouped] = []
    tables: dict[str, pd.DataFrame] = {}
    refused = []
    for table in TABLES:
        try:
            sides = _grouped(warehouse, table, selection, settings, alike)
        except TooFewError:
            # Without the number of so few.
            refused.append(f"{table.name}: too few to be told.")
            continue
        groups += sides
        tables[table.name] = pd.concat([_given_out(one) for one in sides], ignore_index=True)
    if not groups:
        raise TooFewError(f"Anonymous export: nothing can be told. {' '.join(refused)} Widen the selection.")
    most = warehouse.rows(SQL / "most_fits.sql", selection.parameters())[0]
    measured, told_rows = attackers(groups), told_by_rows(groups)
    require_promise(measured, told_rows, alike)
    return Anonymity(
        alike,
        selection,
        tables,
        n_riders=len({rider for one in groups for rider in one.rider_ids}),
        most_fits=most["in_all"],
        most_fits_in_a_quarter=most["in_a_quarter"],
        left_out={_name(one): one.left_out for one in groups},
        attackers=tuple(measured),
        told=tuple(told_rows),
        refused=tuple(refused),
    )


def _grouped(warehouse: Warehouse, table: GroupTable, selection: Selection, settings: Settings, alike: int) -> list[Grouped]:
    known = known_of(warehouse, table, selection, settings)
    return [grouped(table, side, known, alike) for side in (("left", "right") if table.by_side else (None,))]


def known_of(warehouse: Warehouse, table: GroupTable, selection: Selection, settings: Settings) -> pd.DataFrame:
    """What the warehouse knows of the riders' first fits, for one table: one row a rider, or a rider and side."""
    return warehouse.frame(
        SQL / table.sql,
        {**settings.parameters(), **selection.parameters()},
        age_band=fragments()["age_band"],
        forefoot_of_arrival=forefoot_class("knee.forefoot_angle_deg"),
    )


def _given_out(one: Grouped) -> pd.DataFrame:
    first = {"side": one.side} if one.side else {}
    return one.shown.assign(**first, n_riders=one.n_riders)[[*first, "n_riders", *one.table.columns]]


def _name(one: Grouped) -> str:
    return f"{one.table.name}, {one.side}" if one.side else one.table.name


def write_text(path: Path, anonymity: Anonymity) -> None:
    """The promise, the attackers and what the rows tell, for a person to read."""
    lines = [
        "What this export promises, as measured on its own tables before it was written",
        "",
        anonymity.words,
        f"Riders whose first fit was from {anonymity.selection.date_from} to {anonymity.selection.date_to}.",
        _left_out(anonymity),
        CAUTION,
        "",
        *attacker_lines(anonymity),
        "",
        "What a row tells of each of its riders to someone who has found it. Certain: riders in rows that say the same of all",
        "their riders. Right: how often the most likely answer is right, with the row and with the whole table alone.",
        *_told_lines(anonymity),
        "",
    ]
    path.write_text("\n".join(lines), encoding="utf-8")


def _left_out(anonymity: Anonymity) -> str:
    """Says how many riders were left out, in tens, since an exact small number would tell of those few."""
    few = [
        f"{name}: {'fewer than ten' if n < ALIKE else f'about {round(n, -1)}'}" for name, n in anonymity.left_out.items() if n
    ]
    return f"Left out for a missing value ({'; '.join(few)})." if few else "Nobody is left out."


def attacker_lines(anonymity: Anonymity) -> list[str]:
    """The attackers as a table of text; printed by the command too."""
    heads = ("an attacker who knows", "riders", "fewer than ten alike", "fewest alike", "right guesses", "at most")
    cells = [
        (
            row.attacker,
            str(row.riders),
            f"{row.share_below_ten:.1%}",
            str(row.fewest_alike),
            f"{row.mean_right_guesses:.1%}",
            f"{row.worst:.1%}",
        )
        for row in anonymity.attackers
    ]
    return [*_table(heads, cells), "", *(f"{row.attacker}: {row.knows}." for row in anonymity.attackers)]


def _told_lines(anonymity: Anonymity) -> list[str]:
    return _table(
        ("table", "certain", "right with the row", "without", "of what"),
        [
            (row.table, f"{row.share_certain:.0%}", f"{row.right_with_row:.0%}", f"{row.right_without:.0%}", row.told)
            for row in anonymity.told
        ],
    )


def _table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[place]) for row in [heads, *rows]) for place in range(len(heads))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in [heads, *rows]]


def about(anonymity: Anonymity) -> dict[str, Any]:
    """What the package says of itself."""
    return {
        "words": anonymity.words,
        "smallest_group": anonymity.alike,
        "riders": anonymity.n_riders,
        "left_out": _left_out(anonymity),
        "attackers": "anonymity-attackers",
        "told": "anonymity-told",
        "text": TEXT,
    }
