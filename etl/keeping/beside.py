"""What lies beside a warehouse and may name a rider: lists, notes and logs of the program, names of copies, work under way."""

import time
from collections import Counter
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from etl.keeping.access_log import forget_in_log
from etl.keeping.copies import forget_in_ledger, known_copies
from etl.keeping.kept_views import forget_in_views
from etl.keeping.leftovers import folders_of, sweep_all
from etl.keeping.logbook import forget_in_logbook, n_naming, told_of
from etl.keeping.naming import Ids, Names, Unclear
from etl.keeping.spelling import Speller, takes_words
from shared.errors import WarehouseError
from shared.logbook.store import Logbook
from shared.warehouse import open_reading

# Takes the ids out of a file of its own beside the warehouse; whoever keeps such a file adds its function here.
Cleaner = Callable[[Path, Speller], None]
CLEANERS: Final[tuple[Cleaner, ...]] = (forget_in_ledger, forget_in_log, forget_in_views, forget_in_logbook)
# Keys, and hashes of passwords and sessions, in which chance spells any short id; the names in them are of those who work here.
# The logbook is searched cell by cell.
_NOT_SEARCHED: Final = (
    ".lock", ".key", ".accounts.json", ".sessions", ".sessions-journal", ".sessions-wal", ".sessions-shm", ".logbook"
)  # fmt: skip
_PAUSE_SECONDS: Final = 0.2


@dataclass(frozen=True)
class Beside:
    """`named`: files that still name the rider, in their text or by their own name. `unclear`: words that may and may not.
    `logbook`: what went out of the logbook, or would go; empty for nothing."""

    named: list[Path] = field(default_factory=list)
    unclear: list[Unclear] = field(default_factory=list)
    logbook: str = ""


def search_beside(warehouse: Path, ids: Iterable[Ids], also: Collection[str], logs: Iterable[Path]) -> Beside:
    """Takes the ids out of the files that the program keeps beside the warehouse, and searches these, the logs, and the names
    of the copies. `ids` are the rider's as each copy knows them."""
    speller = speller_of(warehouse, ids)
    logbook = told_of(warehouse, speller)
    for clean in CLEANERS:
        clean(warehouse, speller)
    takes = takes_words(also)
    named, unclear = [], []
    for file in _files(warehouse, logs):
        text = file.read_text(encoding="utf-8", errors="replace") if file.is_file() else ""
        finds = [find for words in (file.name, text) for find in speller.finds(words, is_prose=False)]
        if any(find.is_clear or takes(find) for find in finds):
            named.append(file)
        left = Counter((find.word, find.is_others) for find in finds if not (find.is_clear or takes(find)))
        unclear += [Unclear(*word, ((file.name, n),)) for word, n in left.items()]
    if n_naming(warehouse, speller):
        named.append(Logbook(warehouse).file)
    named += [copy.path for copy in known_copies(warehouse) if any(find.is_clear for find in speller.finds(copy.path.name))]
    return Beside(list(dict.fromkeys(named)), unclear, logbook)


def wait_for_others(warehouse: Path, seconds: float) -> list[Path]:
    """The folders of other programs that are at work on copies of their own, once they had time to end: what they copied
    before the rider was forgotten goes when they end."""
    until = time.monotonic() + seconds
    while True:
        sweep_all(warehouse)
        at_work = [left.folder for left in folders_of(warehouse) if left.is_at_work]
        if not at_work or time.monotonic() >= until:
            return at_work
        time.sleep(_PAUSE_SECONDS)


def speller_of(warehouse: Path, ids: Iterable[Ids]) -> Speller:
    """Knows the ids as every copy has them, and the keys of others as the warehouse has them."""
    ids = list(ids)
    both = Ids(
        tuple(dict.fromkeys(word for one in ids for word in one.riders)),
        tuple(dict.fromkeys(word for one in ids for word in one.sessions)),
    )
    try:
        opened = open_reading(warehouse)
    except WarehouseError:
        return Speller(both.all)
    try:
        return Names(opened, both).speller
    finally:
        opened.close()


def _files(warehouse: Path, logs: Iterable[Path]) -> list[Path]:
    """Every file whose name begins with that of the warehouse, but its copies, which are proven by themselves; and the logs."""
    copies = {copy.path for copy in known_copies(warehouse)}
    folder = warehouse.absolute().parent
    own = [file for file in sorted(folder.iterdir()) if file.name.startswith(f"{warehouse.name}.")]
    texts = [file for file in own if file.is_file() and not file.name.endswith(_NOT_SEARCHED) and file.resolve() not in copies]
    return [*texts, *(log for log in logs if log.is_file())]
