"""A load leaves out the rows of forgotten riders: they are counted, and neither stored nor kept among the rejects."""

import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pandas as pd

from etl.keeping.marks import Marks, add_marks, marks_of
from etl.keeping.naming import SESSIONS, id_columns
from etl.keeping.owned import ids_of, take_out
from etl.report import FileReport
from shared.catalogue import Table, catalogue
from shared.statistics.wording import counted
from shared.warehouse import LoadingWarehouse

# A row that could not be taken apart, as words with and without the signs that an id may hold.
_WORDS = (re.compile(r"[\w-]+"), re.compile(r"[^\W_]+"))


@dataclass
class SetAside:
    """What one load leaves out: `n_rows` so far. `came_early`: sessions of forgotten riders that were not
    known as such; rows of them may have waited here."""

    marks: Marks
    today: date
    n_rows: int = 0
    came_early: set[str] = field(default_factory=set)

    def leave_out(self, warehouse: LoadingWarehouse, table: Table, files: dict[int, FileReport]) -> set[str]:
        """Takes the staged rows of forgotten riders out of one table; `files` by their number. Call once all are staged.

        Returns the tables from which rows went that had waited for a session, which turns out to be a forgotten rider's.
        """
        ids = self._forgotten_ids(warehouse, table)
        ragged = self._ragged(warehouse, [no for no, file in files.items() if file.table == table.name])
        counts = dict.fromkeys(files, 0)
        if ids:
            warehouse.put("forgotten_ids", pd.DataFrame({"id": ids}, dtype="object"))
            test = " OR ".join(f'coalesce("{column}" IN (SELECT id FROM forgotten_ids), false)' for column in id_columns(table))
            staged = f"staged_{table.name} WHERE {test}"
            sums = "SELECT file_no, count(*) AS n, count(*) FILTER (is_sound) AS n_sound"
            for row in warehouse.rows(f"{sums} FROM {staged} GROUP BY file_no"):
                counts[row["file_no"]] += row["n"]
                files[row["file_no"]].rejected += row["n_sound"]
            self._drop_findings(warehouse, f"SELECT file_no, rowid AS staged_row FROM {staged}")
            warehouse.run(f"UPDATE staged_{table.name} SET is_sound = false, is_whole = false, reject_no = NULL WHERE {test}")
        for file_no, rowids in ragged.items():
            counts[file_no] += len(rowids)
            for rowid in rowids:
                warehouse.run("DELETE FROM found WHERE rowid = $rowid", {"rowid": rowid})
        for file_no, n in counts.items():
            if n:
                self.n_rows += n
                files[file_no].words += forgotten_words(n)
        return self._take_out_early(warehouse) if table.name == SESSIONS and self.came_early else set()

    def _take_out_early(self, warehouse: LoadingWarehouse) -> set[str]:
        ids = ids_of(warehouse, (), self.came_early)
        tables = {
            table.name
            for table in catalogue().values()
            if ids.sessions
            and "session_id" in table.column_names
            and warehouse.value(
                f'SELECT count(*) FROM raw."{table.name}" WHERE session_id IN (SELECT unnest($ids))',
                {"ids": list(ids.sessions)},
            )
        }
        if tables:
            take_out(warehouse, ids)
        return tables

    def _forgotten_ids(self, warehouse: LoadingWarehouse, table: Table) -> list[str]:
        known: dict[str, str] = {}
        for column in id_columns(table):
            words = f'SELECT DISTINCT "{column}" AS word FROM staged_{table.name} WHERE "{column}" IS NOT NULL'
            known |= self.marks.known(row["word"] for row in warehouse.rows(words))
        if table.name == SESSIONS and known:
            known |= self._new_sessions(warehouse, known)
        return list(known)

    def _new_sessions(self, warehouse: LoadingWarehouse, known: dict[str, str]) -> dict[str, str]:
        """Sessions of forgotten riders that were not known yet: marked, so that their captures are left out too."""
        rows = warehouse.rows(f"SELECT DISTINCT rider_id, session_id FROM staged_{SESSIONS} WHERE session_id IS NOT NULL")
        new = {
            row["session_id"]: known[row["rider_id"]]
            for row in rows
            if row["rider_id"] in known and self.marks.rider_mark(row["session_id"]) is None
        }
        for session, rider_mark in new.items():
            add_marks(warehouse, self.marks, rider_mark, (session,), self.today)
            self.marks.rider_of[self.marks.of(session)] = rider_mark
        self.came_early |= set(new)
        return new

    def _ragged(self, warehouse: LoadingWarehouse, file_nos: list[int]) -> dict[int, list[int]]:
        """The findings on rows that could not be taken apart and name a forgotten id, by the number of their file."""
        rows = warehouse.rows("SELECT rowid AS row, file_no, received FROM found WHERE rule = 'cells'")
        rows_of: dict[int, list[int]] = {}
        for row in rows:
            if row["file_no"] in file_nos and self.marks.known(
                word for words in _WORDS for word in words.findall(row["received"])
            ):
                rows_of.setdefault(row["file_no"], []).append(row["row"])
        return rows_of

    def _drop_findings(self, warehouse: LoadingWarehouse, staged: str) -> None:
        warehouse.run(
            f"DELETE FROM found USING ({staged}) AS rows, staged_files WHERE staged_files.file_no = rows.file_no "
            "AND found.file_no = rows.file_no AND found.record = rows.staged_row - staged_files.first_row + 1"
        )


def set_aside_of(warehouse: LoadingWarehouse, home: Path, today: date) -> SetAside | None:
    """What a load on the warehouse at `home` must leave out; None where nobody was forgotten.

    Raises WarehouseError where the key is missing that knows the forgotten again.
    """
    marks = marks_of(warehouse, home)
    return SetAside(marks, today) if marks else None


def forgotten_words(n_rows: int) -> str:
    """What a file's words end with where rows of forgotten riders were left out."""
    rows = counted(n_rows, "row")
    return f"; {rows} rejected as forgotten: counted and not kept, since the rider was forgotten here (see fitledger forget)"
