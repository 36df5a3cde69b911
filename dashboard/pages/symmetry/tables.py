"""Columns of the tables on the Symmetry page."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.components import columns
from dashboard.components.table import Column
from dashboard.figures.names import plain
from dashboard.figures.symmetry import by_level, level_name, short
from dashboard.figures.symmetry_sides import further_out
from dashboard.figures.theme import NOTHING, bare_number, interval, number
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, PrevalenceRow
from dashboard.questions.symmetry.answers_sides import SidesRow
from shared.statistics.told import direction


@dataclass(frozen=True)
class LevelRow:
    """One level's prevalence at both moments, as the table prints it: the values of two rows of the answer."""

    level: str | None
    n_riders_arrival: int
    share_arrival: float | None
    low_arrival: float | None
    high_arrival: float | None
    n_riders_departure: int
    share_departure: float | None
    low_departure: float | None
    high_departure: float | None


def level_rows(rows: Sequence[PrevalenceRow], quantity: str) -> list[LevelRow]:
    """The rows of one quantity, both moments side by side."""
    return [
        LevelRow(level, *(value for moment in ("arrival", "departure") for value in _figures(moments[moment])))
        for level, moments in by_level(rows, quantity).items()
    ]


def _figures(row: PrevalenceRow) -> tuple[Any, ...]:
    return row.n_riders, row.share, row.low, row.high


def _level(split: str) -> Column:
    return Column(plain(split).capitalize(), lambda row: level_name(row.level))


@dataclass(frozen=True)
class SideRow:
    """Riders at both moments by which knee is further out, as the table prints them."""

    which: str
    arrival: int
    departure: int


def side_rows(rows: Sequence[SidesRow], quantity: str) -> list[SideRow]:
    """Counts riders at both moments: beyond the limit on either side, and within it."""
    which = ("Right knee further out, beyond the limit", "Left knee further out, beyond the limit", "Within the limit")
    arrival, departure = (further_out(rows, quantity, moment) for moment in ("arrival", "departure"))
    return [SideRow(*row) for row in zip(which, arrival, departure, strict=True)]


def side_columns() -> list[Column]:
    """Makes the columns: which knee is further out, and riders at each moment."""
    return [
        Column("Right beside left", lambda row: row.which),
        columns.count("Riders at arrival", "arrival"),
        columns.count("Riders at departure", "departure"),
    ]


def prevalence_columns(split: str, level: str) -> list[Column]:
    """Makes the columns: level, then riders, share and interval at each moment."""
    return [
        _level(split),
        columns.count("Riders at arrival", "n_riders_arrival"),
        columns.share("Beyond at arrival", "share_arrival"),
        columns.ends(f"{level} interval", "low_arrival", "high_arrival", "share"),
        columns.count("Riders at departure", "n_riders_departure"),
        columns.share("Beyond at departure", "share_departure"),
        columns.ends(f"{level} interval", "low_departure", "high_departure", "share"),
    ]


def change_columns(first: Column, level: str) -> list[Column]:
    """Makes the columns: the four fates, the difference in points with its interval, and what may be said of it."""
    return [
        first,
        columns.count("Riders", "n_riders"),
        columns.count("Resolved", "n_resolved"),
        columns.count("Persisting", "n_persisting"),
        columns.count("New", "n_new"),
        columns.count("None", "n_none"),
        Column("Change", _points, ("difference",), numeric=True),
        Column(f"{level} interval", _points_interval, ("low", "high"), numeric=True),
        Column("Told", _told),
    ]


def by_split(split: str, level: str) -> list[Column]:
    return change_columns(_level(split), level)


def by_pattern(level: str) -> list[Column]:
    return change_columns(Column("Pattern", lambda row: plain(row.finding).capitalize()), level)


def _points(row: ChangeRow) -> str:
    return "not enough yet" if row.difference is None else f"{_signed(row.difference)} points"


def _points_interval(row: ChangeRow) -> str:
    return NOTHING if row.low is None or row.high is None else f"{_signed(row.low)} to {_signed(row.high)}"


def _signed(share: float) -> str:
    """A difference of shares as whole points with its sign; a rounded zero has none."""
    text = bare_number(share, "share")
    return text if share < 0 or text == "0" else f"+{text}"


def _told(row: ChangeRow) -> str:
    """Fewer or more, where the interval and the family of all that is told allow it."""
    if row.difference is None:
        return NOTHING
    return {-1: "fewer", 1: "more"}.get(direction(row.low, row.high, row.q_value), "no clear change")


def differences(level: str) -> list[Column]:
    """Makes the columns on the size of the side difference at each moment and level."""
    return [
        Column("Quantity", lambda row: row.quantity.capitalize()),
        Column("Moment", lambda row: row.moment),
        Column("Level", lambda row: level_name(row.level)),
        columns.count("Fits", "n_fits"),
        columns.figure("Middle fit", "median_size"),
        columns.figure("One in ten, or more", "p90_size"),
        Column("Right less left", lambda row: number(row.mean, row.unit, effect=True), ("mean",), numeric=True),
        Column(
            f"{level} interval", lambda row: interval(row.low, row.high, row.unit, effect=True), ("low", "high"), numeric=True
        ),
    ]


def repeats(level: str) -> list[Column]:
    """Makes the columns on repeats: how many side differences noise alone would resolve."""
    return [
        Column("Quantity", lambda row: row.quantity.capitalize()),
        columns.count("Repeats", "n_pairs"),
        columns.count("Beyond the limit before", "n_beyond"),
        columns.count("Below it after", "n_no_longer"),
        columns.share("Share", "share_no_longer"),
        columns.ends(f"{level} interval", "low", "high", "share"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def curve(level: str) -> list[Column]:
    """Makes the columns of the curve: the share of riders beyond each limit."""
    return [
        Column("Limit", lambda row: short(row.limit, row.unit), ("limit",)),
        Column("Moment", lambda row: row.moment),
        columns.count("Riders", "n_riders"),
        columns.share("Beyond", "share"),
        columns.ends(f"{level} interval", "low", "high", "share"),
        Column("Set", lambda row: "set" if row.is_set_limit else ""),
    ]
