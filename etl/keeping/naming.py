"""Where a warehouse names an id: every column of texts, value by value. Taking out and proving both search with this."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from typing import Final

import pandas as pd

from etl.keeping.spelling import Find, Speller, folded, is_telling, takes_words
from shared.catalogue import Table, catalogue
from shared.warehouse import LoadingWarehouse, Warehouse, read_sql

SQL = Path(__file__).parents[1] / "sql/keeping"
RIDERS, SESSIONS = "riders", "fit_sessions"
# Made anew from the other tables of raw, whatever stands in them.
_MADE_ANEW: Final = {"unresolved", "warnings"}


@dataclass(frozen=True)
class Ids:
    """A rider's own id and those of the sessions that are theirs, in every spelling in which they stand as ids."""

    riders: tuple[str, ...]
    sessions: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        return (*self.riders, *self.sessions)

    def of(self, parent: str | None) -> tuple[str, ...]:
        """Those that are keys of one table."""
        return {RIDERS: self.riders, SESSIONS: self.sessions}.get(parent or "", ())


@dataclass(frozen=True)
class Column:
    """A column of texts. `parent`: the table whose keys it holds. `is_prose`: somebody wrote it."""

    schema: str
    table: str
    name: str

    @property
    def parent(self) -> str | None:
        return PARENTS.get(self.name)

    @property
    def is_prose(self) -> bool:
        return self.name in _PROSE

    @property
    def is_kept(self) -> bool:
        """Whether it holds what was received, and not what is made anew from it."""
        return self.schema == "raw" and self.table not in _MADE_ANEW

    @property
    def place(self) -> str:
        return f'"{self.schema}"."{self.table}"'


@dataclass(frozen=True)
class Unclear:
    """A word that may be the rider's id or another word, and how often it stands where. `is_others`: somebody else's id."""

    word: str
    is_others: bool
    places: tuple[tuple[str, int], ...]

    @property
    def words(self) -> str:
        whose = ", the id of somebody else" if self.is_others else ""
        return f"{self.word}{whose}: {', '.join(f'{place} {n}' for place, n in self.places)}"


def together(words: Iterable[Unclear]) -> list[Unclear]:
    """The same words of several files as one."""
    sums: dict[tuple[str, bool], Counter[str]] = {}
    for one in words:
        sums.setdefault((one.word, one.is_others), Counter()).update(dict(one.places))
    return [Unclear(*word, tuple(sorted(places.items()))) for word, places in sorted(sums.items())]


@dataclass(frozen=True)
class Named:
    """A value of a column in which one of the ids stands, how many rows hold it, and the places in it."""

    column: Column
    value: str
    n: int
    finds: tuple[Find, ...]


class Names:
    """Where one warehouse names some ids, as it is now. What is the key of somebody else is known from the warehouse itself.

    `others`: SQL that bounds the rows `t` of some tables to those of other riders; with it, only what was received is searched,
    since the rest is made anew from it.
    """

    def __init__(self, warehouse: Warehouse, ids: Ids, others: Mapping[str, str] | None = None) -> None:
        self._ids = ids
        every = [Column(row["schema_name"], row["table_name"], row["column_name"]) for row in warehouse.rows(SQL / "texts.sql")]
        self.columns = [column for column in every if column.is_kept or others is None]
        # Without the ids of others, to tell which of theirs hold one of these.
        self._bare = Speller(ids.all)
        candidates = self._candidates(warehouse, others or {})
        self._keys: dict[str, set[str]] = {}
        for column, value, _ in candidates:
            if column.schema == "raw" and _KEYS.get(column.table) == column.name and value not in ids.of(column.table):
                self._keys.setdefault(column.table, set()).add(value)
        self.speller = Speller(ids.all, {key for keys in self._keys.values() for key in keys} - set(ids.all))
        searched = (Named(column, value, n, tuple(self._finds(column, value))) for column, value, n in candidates)
        self.named = [one for one in searched if one.finds]

    def _candidates(self, warehouse: Warehouse, others: Mapping[str, str]) -> list[tuple[Column, str, int]]:
        fragment = read_sql(SQL / "named.sql")
        parts = []
        for number, column in enumerate(self.columns):
            names = {"column_no": str(number), "column": column.name, "place": column.place}
            names["where"] = others.get(column.table, "true")
            parts.append(reduce(lambda text, name: text.replace("{" + name + "}", names[name]), names, fragment))
        rows = warehouse.rows("UNION ALL\n".join(parts) + "ORDER BY ALL", {"pattern": self._bare.sql_pattern})
        return [(self.columns[row["column_no"]], row["value"], row["n"]) for row in rows]

    def _finds(self, column: Column, value: str) -> list[Find]:
        if value in self._ids.of(column.parent):
            return [Find(0, len(value), value, is_clear=True)]
        if value not in self._keys.get(column.parent or "", ()):
            return self.speller.finds(value, is_prose=column.is_prose)
        # Somebody else's key in its own place: it is told apart where letters or digits go on, and shown where it is made of
        # this id and more.
        return [Find(0, len(value), value, is_clear=False, is_others=True)] if self._bare.names(value) else []

    def n_rows(self, takes: Callable[[Find], bool]) -> int:
        """How many rows name one of the ids, clearly or as `takes` says."""
        return sum(one.n for one in self.named if any(find.is_clear or takes(find) for find in one.finds))

    def unclear(self, takes: Callable[[Find], bool]) -> list[Unclear]:
        """What is neither clear nor taken, by its word."""
        unclear_words: list[Unclear] = []
        for one in self.named:
            # A rejected row of somebody else holds their id in a column of its own.
            left = {
                (find.word, find.is_others)
                for find in one.finds
                if one.column.is_kept
                and not (find.is_clear or takes(find) or (find.is_others and one.column.table == "findings"))
            }
            unclear_words += [Unclear(*word, ((f"{one.column.table}.{one.column.name}", one.n),)) for word in left]
        return together(unclear_words)

    def words_with(self, word: str) -> set[str]:
        """The longer words in which an id stands here: keys of others, and words in texts."""
        wanted = folded(word)
        keys = {key for keys in self._keys.values() for key in keys}
        texts = {find.word for one in self.named for find in one.finds}
        return {longer for longer in keys | texts if wanted in folded(longer)} - set(self._ids.all)

    def take_out(self, warehouse: LoadingWarehouse, also: Collection[str]) -> None:
        """Puts a mark in the place of the ids in everything that was received; rows of the rider's own are gone already."""
        takes = takes_words(also)
        for column in self.columns:
            old = [one.value for one in self.named if one.column == column]
            new = [self.speller.without(value, takes, is_prose=column.is_prose) for value in old]
            changed = [(before, after) for before, after in zip(old, new, strict=True) if before != after]
            if changed:
                warehouse.put("taken_out", pd.DataFrame(changed, columns=["old", "new"], dtype="object"))
                warehouse.run(
                    f'UPDATE {column.place} SET "{column.name}" = taken_out.new FROM taken_out '
                    f'WHERE "{column.name}" = taken_out.old'
                )


def spellings(warehouse: Warehouse, parent: str, words: Iterable[str]) -> tuple[str, ...]:
    """The ids with the other spellings of them that stand where ids stand and are nobody's own key."""
    words = tuple(dict.fromkeys(words))
    wanted = {folded(word) for word in words if is_telling(word)}
    if not wanted:
        return words
    holders = [(table.name, name) for table in catalogue().values() for name in id_columns(table) if PARENTS[name] == parent]
    references = " UNION ".join(f'SELECT "{name}" AS value FROM raw."{table}"' for table, name in holders)
    cells = ", ".join(f"('{table}', '{name}')" for table, name in holders)
    names = {"references": references, "cells": cells, "parent": parent, "key": _KEYS[parent]}
    rows = warehouse.rows(SQL / "spellings.sql", {"pattern": Speller(words).sql_pattern}, **names)
    return (*words, *(row["value"] for row in rows if folded(row["value"]) in wanted and row["value"] not in words))


def id_columns(table: Table) -> dict[str, str]:
    """The columns of a table that hold an id of a rider or a session, with the table that the id is the key of."""
    columns = {key.column: key.table for key in table.foreign_keys if key.table in {RIDERS, SESSIONS}}
    if table.name in {RIDERS, SESSIONS}:
        columns[table.key[0]] = table.name
    return columns


def free_texts(table: Table) -> list[str]:
    """Columns of free text: neither a code nor an id."""
    references = {key.column for key in table.foreign_keys}
    return [
        column.name
        for column in table.columns
        if column.type == "string" and not column.codes and column.name not in {*table.key, *references}
    ]


# The column that is a table's whole key, and the columns that hold one, here and in the marts.
_KEYS = {
    table.name: table.key[0]
    for table in catalogue().values()
    if len(table.key) == 1 and table.column(table.key[0]).type == "string"
}
PARENTS = {
    **{key: name for name, key in _KEYS.items()},
    **{key.column: key.table for table in catalogue().values() for key in table.foreign_keys},
}
_PROSE = {"file", *(name for table in catalogue().values() for name in free_texts(table))}
