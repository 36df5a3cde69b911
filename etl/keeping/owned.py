"""Which rows belong to a rider: found by the references of the catalogue, counted, and taken out of every table."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from shared.catalogue import Table, catalogue
from shared.warehouse import LoadingWarehouse, Warehouse

SQL = Path(__file__).parents[1] / "sql/keeping"
RIDERS, SESSIONS = "riders", "fit_sessions"
# Any letter, digit, underline or dash may be part of an id: R1 is not found in R10, R1-2 or XR1.
ID_CHARACTERS = r"\pL\pN_-"
FORGOTTEN = "[forgotten]"


@dataclass(frozen=True)
class Ids:
    """A rider's own id and those of the sessions that are theirs."""

    riders: tuple[str, ...]
    sessions: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        return (*self.riders, *self.sessions)

    @property
    def telling(self) -> tuple[str, ...]:
        """Those that may be looked for in free text: 12 is a number there, and R1 is not."""
        return tuple(word for word in self.all if is_telling(word))


def is_telling(word: str) -> bool:
    """Whether an id can hardly stand in a text as something else: two characters with a letter, or six digits."""
    return len(word) >= 6 or (len(word) >= 2 and any(character.isalpha() for character in word))


def id_columns(table: Table) -> dict[str, str]:
    """The columns of a table that hold an id of a rider or a session, with the table that the id is the key of."""
    columns = {key.column: key.table for key in table.foreign_keys if key.table in {RIDERS, SESSIONS}}
    if table.name in {RIDERS, SESSIONS}:
        columns[table.key[0]] = table.name
    return columns


def named_by(table: str, key: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The riders and the sessions that the key of a row names, its parts parted by commas."""
    parents = id_columns(catalogue()[table])
    named = [(parents.get(name), part.strip()) for name, part in zip(catalogue()[table].key, key.split(","), strict=True)]
    return tuple(part for of, part in named if of == RIDERS), tuple(part for of, part in named if of == SESSIONS)


def ids_of(warehouse: Warehouse, riders: Iterable[str], more: Iterable[str] = ()) -> Ids:
    """The riders with their sessions: those whose current row names them, and those that were only ever rejected.

    A session that was corrected to another rider is that rider's. `more` are sessions known to be theirs from elsewhere.
    """
    riders = tuple(dict.fromkeys(riders))
    rows = warehouse.rows(SQL / "sessions.sql", {"riders": list(riders), "more": list(more)})
    return Ids(riders, tuple(row["session_id"] for row in rows))


def count_rows(warehouse: LoadingWarehouse | Warehouse, ids: Ids) -> dict[str, int]:
    """How many rows belong to these ids, by the place where they stand; places without any are left out."""
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
    counts["mentions in the rows of others"] = sum(n for _, _, n in mentions(warehouse, ids))
    return {place: int(n) for place, n in counts.items() if n}


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
    warehouse.run(SQL / "owned_findings.sql", {"pattern": pattern(ids.all)}, cells=cells)


def owned(table: Table) -> str:
    """SQL that is true where a row `t` of raw belongs to owned_ids: by a column that must not be empty."""
    tests = [
        f"t.\"{column}\" IN (SELECT id FROM owned_ids WHERE parent = '{parent}')"
        for column, parent in id_columns(table).items()
        if table.column(column).required
    ]
    return "(" + " OR ".join(tests) + ")"


def pattern(words: Iterable[str]) -> str:
    """A regular expression (RE2) that finds any of the ids standing by itself."""
    escaped = "|".join(map(re.escape, words))
    return f"(^|[^{ID_CHARACTERS}])({escaped or '$.'})($|[^{ID_CHARACTERS}])"


def mentions(warehouse: Warehouse, ids: Ids) -> list[tuple[str, str, int]]:
    """Table of raw, column and number of rows of others that name one of the ids: in a note, a file's name, a reference."""
    found = []
    for table in catalogue().values():
        others = f"NOT {owned(table)}" if id_columns(table) else "true"
        for column in _texts(table):
            test = _names_one(column, ids)
            n = warehouse.value(f'SELECT count(*) FROM raw."{table.name}" AS t WHERE {others} AND {test}', _words(ids))
            found.append((table.name, column, int(n)))
        for column in _optional(table):
            test = f"t.\"{column}\" IN (SELECT id FROM owned_ids WHERE parent = '{SESSIONS}')"
            n = warehouse.value(f'SELECT count(*) FROM raw."{table.name}" AS t WHERE {others} AND {test}')
            found.append((table.name, column, int(n)))
    for column in ("file", "words"):
        n = warehouse.value(f"SELECT count(*) FROM raw.files AS t WHERE {_names_one(column, ids)}", _words(ids))
        found.append(("files", column, int(n)))
    for column in ("file", "value", "words", "received", "cells", "row_key"):
        others = f"rowid NOT IN (SELECT finding FROM owned_findings) AND {_names_one(column, ids)}"
        found.append(
            ("findings", column, int(warehouse.value(f"SELECT count(*) FROM raw.findings AS t WHERE {others}", _words(ids))))
        )
    return [place for place in found if place[2]]


def take_out(warehouse: LoadingWarehouse, ids: Ids) -> None:
    """Removes every row that belongs to the ids, and their names where others mention them. Core, marts, warnings and what
    waits are to be made anew afterwards."""
    begin(warehouse, ids)
    named = mentions(warehouse, ids)
    warehouse.run(
        SQL / "cut_fingerprints.sql", loads=" UNION ".join(_loads(table) for table in catalogue().values() if id_columns(table))
    )
    warehouse.run("DELETE FROM raw.findings WHERE rowid IN (SELECT finding FROM owned_findings)")
    warehouse.run(SQL / "cut_mended.sql")
    for table in catalogue().values():
        if id_columns(table):
            warehouse.run(SQL / "take_out.sql", table=table.name, owned=owned(table))
    warehouse.run(SQL / "relink_sessions.sql")
    for name, column, _ in named:
        if name in catalogue() and column in _optional(catalogue()[name]):
            test = f"\"{column}\" IN (SELECT id FROM owned_ids WHERE parent = '{SESSIONS}')"
            warehouse.run(f'UPDATE raw."{name}" SET "{column}" = NULL WHERE {test}')
        else:
            _redact(warehouse, name, column, ids)
    warehouse.leave_no_trace()


def _redact(warehouse: LoadingWarehouse, table: str, column: str, ids: Ids) -> None:
    values = {"pattern": pattern(ids.telling)}
    new = f"regexp_replace(\"{column}\", $pattern, '\\1{FORGOTTEN}\\3', 'g')"
    for _ in range(2):  # two ids with one character between them share it
        warehouse.run(f'UPDATE raw."{table}" SET "{column}" = {new} WHERE regexp_matches("{column}", $pattern)', values)


def _loads(table: Table) -> str:
    return f'SELECT load_id FROM raw."{table.name}" AS t WHERE {owned(table)}'


def _sightings(warehouse: Warehouse, table: Table) -> int:
    return int(warehouse.value(SQL / "count_sightings.sql", table=table.name, owned=owned(table)))


def _texts(table: Table) -> list[str]:
    """Columns of free text: neither a code nor an id."""
    references = {key.column for key in table.foreign_keys}
    return [
        column.name
        for column in table.columns
        if column.type == "string" and not column.codes and column.name not in {*table.key, *references}
    ]


def _optional(table: Table) -> list[str]:
    return [column for column in id_columns(table) if not table.column(column).required]


def _names_one(column: str, ids: Ids) -> str:
    return f't."{column}" IS NOT NULL AND regexp_matches(t."{column}", $pattern)' if ids.telling else "false"


def _words(ids: Ids) -> dict[str, str]:
    return {"pattern": pattern(ids.telling)}
