"""Which rows belong to a rider: found by the references of the catalogue, counted, and taken out of every table."""

from collections.abc import Collection, Iterable
from pathlib import Path

import pandas as pd

from etl.keeping.naming import RIDERS, SESSIONS, Ids, Names, Unclear, id_columns, spellings
from etl.keeping.spelling import takes_words
from shared.catalogue import Table, catalogue
from shared.rewriting import write_anew
from shared.warehouse import LoadingWarehouse, Warehouse

SQL = Path(__file__).parents[1] / "sql/keeping"


def named_by(table: str, key: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The riders and the sessions that the key of a row names, its parts parted by commas."""
    parents = id_columns(catalogue()[table])
    named = [(parents.get(name), part.strip()) for name, part in zip(catalogue()[table].key, key.split(","), strict=True)]
    return tuple(part for of, part in named if of == RIDERS), tuple(part for of, part in named if of == SESSIONS)


def ids_of(warehouse: Warehouse, riders: Iterable[str], more: Iterable[str] = ()) -> Ids:
    """The riders with their sessions: those whose current row names them, and those that were only ever rejected.

    A session that was corrected to another rider is that rider's. `more` are sessions known to be theirs from elsewhere.
    An id that stands in another case or form where ids stand, and is nobody's own, is theirs too.
    """
    riders = spellings(warehouse, RIDERS, riders)
    rows = warehouse.rows(SQL / "sessions.sql", {"riders": list(riders), "more": list(more)})
    return Ids(riders, spellings(warehouse, SESSIONS, (row["session_id"] for row in rows)))


def count_rows(warehouse: Warehouse, ids: Ids, also: Collection[str] = ()) -> tuple[dict[str, int], list[Unclear]]:
    """How many rows belong to these ids, by the place where they stand; places without any are left out. With them, what does
    not clearly name one of the ids, but for the words of `also`, which are counted."""
    begin(warehouse, ids)
    counts = {
        f"{table.name}, every version": warehouse.value(f'SELECT count(*) FROM raw."{table.name}" AS t WHERE {owned(table)}')
        for table in catalogue().values()
        if id_columns(table)
    }
    counts["sightings"] = sum(_sightings(warehouse, table) for table in catalogue().values() if id_columns(table))
    counts["findings and rejects"] = warehouse.value("SELECT count(*) FROM owned_findings")
    counts["rows that wait or miss a reference"] = warehouse.value(SQL / "count_unresolved.sql")
    counts["warnings"] = warehouse.value(SQL / "count_warnings.sql")
    named = Names(warehouse, ids, _of_others())
    takes = takes_words(also)
    counts["mentions in the rows of others"] = named.n_rows(takes)
    return {place: int(n) for place, n in counts.items() if n}, named.unclear(takes)


def begin(warehouse: Warehouse, ids: Ids) -> None:
    """Makes owned_ids (id, parent) and owned_findings (the rowids of raw.findings that belong to them)."""
    rows = [(word, RIDERS) for word in ids.riders] + [(word, SESSIONS) for word in ids.sessions]
    warehouse.put("owned_ids", pd.DataFrame(rows, columns=["id", "parent"], dtype="object"))
    # Cells are compared by column; a row that could not be taken apart is searched as a text.
    cells = " OR ".join(
        f"(\"table\" = '{table.name}' AND trim(json_extract_string(cells, '$.\"{column}\"')) "
        f"IN (SELECT id FROM owned_ids WHERE parent = '{parent}'))"
        for table in catalogue().values()
        for column, parent in id_columns(table).items()
    )
    rows_apart = warehouse.rows("SELECT rowid AS finding, received FROM raw.findings WHERE rule = 'cells'")
    speller = Names(warehouse, ids).speller
    ragged = [row["finding"] for row in rows_apart if speller.holds(row["received"])]
    warehouse.run(SQL / "owned_findings.sql", {"ragged": ragged}, cells=cells)


def owned(table: Table) -> str:
    """SQL that is true where a row `t` of raw belongs to owned_ids: by a column that must not be empty."""
    tests = [
        f"t.\"{column}\" IN (SELECT id FROM owned_ids WHERE parent = '{parent}')"
        for column, parent in id_columns(table).items()
        if table.column(column).required
    ]
    return "(" + " OR ".join(tests) + ")"


def _of_others() -> dict[str, str]:
    """SQL that is true where a row `t` of raw does not belong to owned_ids, by table."""
    others = {table.name: f"NOT {owned(table)}" for table in catalogue().values() if id_columns(table)}
    return others | {"findings": "t.rowid NOT IN (SELECT finding FROM owned_findings)"}


def take_out(warehouse: LoadingWarehouse, ids: Ids, also: Collection[str] = ()) -> None:
    """Removes every row that belongs to the ids, and their names where others mention them, clearly or in a word of `also`.
    Core, marts, warnings and what waits are to be made anew afterwards."""
    begin(warehouse, ids)
    warehouse.run(
        SQL / "cut_fingerprints.sql", loads=" UNION ".join(_loads(table) for table in catalogue().values() if id_columns(table))
    )
    warehouse.run("DELETE FROM raw.findings WHERE rowid IN (SELECT finding FROM owned_findings)")
    warehouse.run(SQL / "cut_mended.sql")
    of_sessions = f"SELECT id FROM owned_ids WHERE parent = '{SESSIONS}'"
    warehouse.run(f"DELETE FROM raw.numbered_times WHERE session_id IN ({of_sessions})")
    for table in catalogue().values():
        if id_columns(table):
            warehouse.run(SQL / "take_out.sql", table=table.name, owned=owned(table))
    warehouse.run(SQL / "relink_sessions.sql")
    for table in catalogue().values():
        for column in _optional(table):
            test = f"\"{column}\" IN (SELECT id FROM owned_ids WHERE parent = '{SESSIONS}')"
            warehouse.run(f'UPDATE raw."{table.name}" SET "{column}" = NULL WHERE {test}')
    Names(warehouse, ids, {}).take_out(warehouse, also)
    warehouse.rewrite = write_anew


def _loads(table: Table) -> str:
    return f'SELECT load_id FROM raw."{table.name}" AS t WHERE {owned(table)}'


def _sightings(warehouse: Warehouse, table: Table) -> int:
    return int(warehouse.value(SQL / "count_sightings.sql", table=table.name, owned=owned(table)))


def _optional(table: Table) -> list[str]:
    return [column for column in id_columns(table) if not table.column(column).required]
