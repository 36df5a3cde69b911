"""What a mapping takes from other rows than the cell's own: the number of a capture from the order of times, the visit of a
rider from a date, a setup from the captures before it.

Of the files of a table it is looked up before any of them is staged (prepare.py); the relation of each file joins what was
found.
"""

from collections.abc import Iterator

from etl.mapping import ColumnMapping, TableMapping
from shared.catalogue import Table

# Beside the columns of a table: which of a row's cells were filled, as bits by their places, and for what nothing was found.
FILLED, UNMATCHED = "filled", "unmatched"
# The places of cells that were carried over follow those of cells that stand for an empty one.
CARRIED_FROM = 32


def specs_of(mapped: TableMapping | None) -> Iterator[tuple[str, ColumnMapping]]:
    """Every column that a mapping sets, log and entries of `each` included."""
    if mapped is None:
        return
    groups = [mapped.columns, *mapped.each]
    if mapped.log:
        groups += [mapped.log.columns, *mapped.log.each]
    for columns in groups:
        yield from columns.items()


def made_columns(mapped: TableMapping) -> tuple[str, ...]:
    """What the loader makes of other rows, by the names under which a file to mend tells it and takes it."""
    own = ((name, spec) for columns in (mapped.columns, *mapped.each) for name, spec in columns.items())
    return tuple(dict.fromkeys(f"@{name}" for name, spec in own if spec.numbered or spec.rider))


def matched_columns(mapped: TableMapping | None) -> tuple[str, ...]:
    """The columns for which a row of this mapping may find nothing."""
    by_time = ["capture_no"] if mapped and mapped.log and mapped.log.changed_at else []
    return tuple(dict.fromkeys([*(name for name, spec in specs_of(mapped) if spec.numbered or spec.rider), *by_time]))


def carried_columns(mapped: TableMapping | None) -> dict[str, str]:
    """The columns that are carried over, with how far: visit or rider."""
    return {name: spec.carry for name, spec in specs_of(mapped) if spec.carry}


def follows_the_warehouse(mapped: TableMapping | None) -> bool:
    """Whether the same file may become other rows once other fits are in the warehouse."""
    return any(spec.rider or spec.carry == "rider" for _, spec in specs_of(mapped))


def bit_sql(table: Table, column: str, condition: str, first: int = 0) -> str:
    """SQL of the bit that says that a cell was filled."""
    return f"CASE WHEN {condition} THEN {1 << (first + table.column_names.index(column)):d} ELSE 0 END"


def matched_join(name: str, spec: ColumnMapping) -> str:
    """SQL of the fits that are nearest to a rider and date of the rows r, to be joined as f_<name>: n_fits at the nearest day,
    and the session_id of the first."""
    return (
        f"LEFT JOIN (SELECT asked.rider, asked.day, count(*) AS n_fits, min(fits.session_id) AS session_id "
        f"FROM (SELECT rider, day, max(session_date) AS nearest FROM (SELECT DISTINCT r.rider_{name} AS rider, "
        f"TRY_CAST(r.date_{name} AS DATE) AS day FROM given AS r) AS asked "
        f"INNER JOIN core.fit_sessions AS fits ON fits.rider_id = asked.rider "
        f"AND fits.session_date BETWEEN asked.day - {spec.within_days or 0:d} AND asked.day - {spec.at_least_days:d} "
        f"GROUP BY rider, day) AS asked "
        f"INNER JOIN core.fit_sessions AS fits ON fits.rider_id = asked.rider AND fits.session_date = asked.nearest "
        f"GROUP BY asked.rider, asked.day) AS f_{name} "
        f"ON f_{name}.rider = r.rider_{name} AND f_{name}.day = TRY_CAST(r.date_{name} AS DATE)"
    )
