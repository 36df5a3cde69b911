"""Writes docs/rider-data.md, what is stored about a rider, from the catalogue: `python -m etl.keeping.stored_page`."""

from pathlib import Path

from etl.keeping.naming import RIDERS, id_columns
from shared.catalogue import Table, catalogue

PAGE = Path(__file__).parents[2] / "docs/rider-data.md"
_HEAD = """# What is stored about a rider

Made from the catalogue by `python -m etl.keeping.stored_page`; change it there. Everything below lies in one file, the
warehouse, and in its backups. Nothing is sent anywhere.

## What the studio exported

Every version of every row is kept, with the load, file and line that brought it, so that a correction can be followed and a
load taken back. Columns in bold tell whose row it is.

| table | whose it is | what is held |
| --- | --- | --- |
"""
_TAIL = """
## What fitledger adds

| where | what is held |
| --- | --- |
| `core`, `mart` | the current rows of the tables above, and what follows from them: visits, changes, averages |
| `raw.findings` | rejected rows, whole, with the reason; a mended one leaves the list and stays in the ledger |
| `raw.layouts` | the columns and the mapping by which rejected rows of mapped files were read |
| `raw.unresolved` | the keys of rows that wait for a session, or that name a rider or fitter who is not there |
| `raw.warnings` | values that deserve a look, with the key of their row |
| `raw.sightings` | that a later load brought the same row again: load, file and record, no value |
| `raw.files` | names of the loaded files, their digests (SHA-256) and how many rows they held |
| `raw.forgotten` | of a forgotten rider no id and no value: keyed hashes of the id and of the sessions' ids |

Beside the warehouse: `.key` (the key of those hashes), `.copies` (where backups were written), `.watched` (digests of
watched files), `.lock` and `.line` (who writes and who waits; they are empty); `.access` (who opened, downloaded or
changed what: times, names of accounts, the ids of riders and
sessions that were asked for, no value; kept for a year, see [running](running.md)), `.accounts.json` and `.sessions` (who
may sign in, and who is; nothing of riders), `.views.json` (names that accounts gave to addresses of the dashboard; a rider or
a fit in an address is left out), `.logbook` (what the studio notes itself: what was drawn for which fit, who was called about
which fit and what came of it, tasks, notes and goals as somebody wrote them; no value; a fit whose rider is forgotten is
emptied, and calls and tasks about it go). In the folder `.fitledger-working` beside it lie working copies while a
program runs, and a file dropped on the Data page until it is loaded, put aside or expires; what a killed program left there
goes with the next start. `fitledger.log` holds faults of the program with their place in the code, and no rows.

## What is not encrypted

With a key set ([keeping](keeping.md#encrypted-at-rest)), the warehouse, its working copies and its backups are encrypted. These
are not:

| what | why, and what is in it |
| --- | --- |
| exports, mended rejects, downloads, reports, anonymous exports | files of the studio's own, read and written as such |
| a dropped file; what a load unpacks of an archive or workbook | parts of exports; its owner's alone, gone when the load ends |
| `.key` | with the warehouse it tells whether an id that one tries was forgotten, without it nothing |
| `.copies`, `.watched`, `.lock`, `.line` | paths, digests, nothing of a rider |
| `.accounts.json` | names of those who sign in and hashes of their passwords (Argon2id), which resist trying; no rider |
| `.views.json` | names of accounts, and of views as they typed them; a rider's id typed in one goes with forgetting |
| `.logbook`, also in a backup | ids of fits and fitters, what was drawn, calls, and texts as somebody wrote them; no value |
| `.access`, `.sessions` | who did what when, ids of riders where one was opened, no value; digests of who is signed in |
| `fitledger.log`, the log of requests | faults and paths, no rows |
| memory, and what the system swaps out of it | a program must read what it works with |

The encryption of the disk covers all of these where the machine is stolen or thrown away; it does not cover a file that is
copied from the running machine, which the key does. They add up.
"""


def page() -> str:
    """The whole page as Markdown."""
    return _HEAD + "".join(_line_of(table) for table in catalogue().values()) + _TAIL


def _line_of(table: Table) -> str:
    owners = id_columns(table)
    if not owners:
        return f"| {table.name} | nobody's | of fitters: {', '.join(table.column_names)} |\n"
    whose = "the rider's" if RIDERS in owners.values() else "the session's rider's"
    columns = ", ".join(f"**{name}**" if name in owners else name for name in table.column_names)
    return f"| {table.name} | {whose} | {columns} |\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
