"""Looks after a warehouse and what it runs on: each check says what it found and, where something is off, what to do."""

import hashlib
import re
import shutil
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Literal

from etl.keeping.access_log import log_told
from etl.keeping.age import age_told
from etl.keeping.copies import known_copies
from etl.keeping.encryption_checks import encryption_checks
from etl.keeping.leftovers import folders_of, left_by_earlier
from etl.keeping.letters import letters_told
from etl.keeping.logbook import logbook_told
from etl.keeping.marks import marks_of
from etl.keeping.running import running_told
from shared import clock
from shared.catalogue import catalogue
from shared.catalogue.catalogue import DATAPACKAGE
from shared.errors import FitledgerError, WarehouseBusyError, WarehouseDamagedError
from shared.files import beside, held
from shared.settings import Settings, load_settings
from shared.warehouse import WAREHOUSE_VERSION, Warehouse, open_reading
from shared.warehouse_version import version_of

State = Literal["fine", "note", "do"]
SQL = Path(__file__).parents[1] / "sql/keeping"
LOCK = Path(__file__).parents[2] / "requirements.lock"
# What a load needs on the disk, measured on up to 1,000,000 corrected captures (docs/keeping.md); beyond, a bound.
FIRST_LOAD_BYTES = 32_000_000
UNPACKED_TIMES = 5
LOADING_BYTES = 1_000_000_000
PROOF_TIMES = 6
_NEED_WORDS = "its working copy, as much again for what is written anew, and what memory does not hold"
_BRING_BACK = "Do what the sentence says; a backup comes back with fitledger restore."
BROWSERS = ("chromium", "chromium-browser")
# Beyond these a setting is more likely a slip than a choice (common practice).
SENSIBLE: dict[str, tuple[float, float]] = {
    "forefoot_neutral_within_deg": (0.5, 5),
    "forefoot_marked_above_deg": (4, 15),
    "knee_neutral_within_deg": (0.2, 5),
    "knee_side_difference_deg": (0.5, 10),
    "knee_offset_difference_mm": (3, 60),
    "knee_high_sway_quantile": (0.5, 0.95),
    "follow_up_due_after_days": (3, 120),
    "follow_up_returned_within_days": (7, 365),
    "follow_up_curve_days": (14, 730),
    "minimum_rows_shown": (5, 200),
    "minimum_changes_per_type": (5, 200),
    "minimum_sessions_per_fitter": (5, 200),
    "minimum_riders_per_effect": (5, 200),
    "intervals_level": (0.8, 0.99),
    "data_stale_after_days": (1, 60),
    "warnings_spread_sigmas": (3, 12),
    "warnings_jump_deg": (3, 40),
}


_OWNER_ONLY = (".key", ".access", ".accounts.json", ".sessions", ".views.json", ".logbook")


@dataclass(frozen=True)
class Check:
    """One thing looked at: `fine`, a `note` that may be meant, or something to `do`, which `todo` says."""

    name: str
    state: State
    words: str
    todo: str = ""


@dataclass(frozen=True)
class _Place:
    warehouse: Path
    settings: Path | None
    now: datetime
    today: date


def examine(warehouse: Path, settings: Path | None = None, *, now: datetime | None = None) -> list[Check]:
    """Every check in the order in which they are told; nothing is changed. `now` is this moment in UTC."""
    today = now.astimezone().date() if now else clock.today()
    place = _Place(warehouse, settings, now or datetime.now(UTC), today)
    checks: tuple[Callable[[_Place], Iterator[Check]], ...] = (
        _warehouse, _encryption, _logs, _rights, _lock, _working_copies, _copies, _disk, _settings, _libraries, _browser,
    )  # fmt: skip
    return [one for check in checks for one in check(place)]


def _warehouse(place: _Place) -> Iterator[Check]:
    path = place.warehouse
    try:
        opened = open_reading(path, may_be_older=True)
    except FitledgerError as fault:
        yield Check("warehouse", "do", str(fault), _BRING_BACK)
        return
    try:
        warehouse_version = version_of(opened, path)
        if warehouse_version < WAREHOUSE_VERSION:
            words = f"version {warehouse_version}, and this fitledger writes {WAREHOUSE_VERSION}."
            yield Check("warehouse", "do", words, f"Run fitledger migrate --warehouse {path}.")
            return
        yield Check("newest row", *age_told(opened, place.settings, place.today))
        yield Check("warehouse", "fine", f"{path} opens; version {warehouse_version}.")
        yield _blocks(opened)
        yield _columns(opened)
        yield from _loads(opened, place.now)
        yield _key(opened, path)
    except WarehouseDamagedError as fault:
        yield Check("blocks", "do", str(fault), _BRING_BACK)
    finally:
        opened.close()


def _encryption(place: _Place) -> Iterator[Check]:
    yield from (Check("encryption", *state_words_todo) for state_words_todo in encryption_checks(place.warehouse))


def _logs(place: _Place) -> Iterator[Check]:
    for name, told in (("log of access", log_told), ("logbook", logbook_told), ("letters", letters_told)):
        if state_words_todo := told(place.warehouse):
            yield Check(name, *state_words_todo)
    yield from (Check(*one) for one in running_told(place.warehouse, place.settings, place.now))


def _blocks(opened: Warehouse) -> Check:
    """Reads every value, since a block is held to its checksum only when it is read. Raises WarehouseDamagedError."""
    tables = opened.rows(SQL / "tables.sql")
    for row in tables:
        opened.value(f'SELECT bit_xor(hash(t)) FROM "{row["schema_name"]}"."{row["table_name"]}" AS t')
    return Check("blocks", "fine", f"every row of {len(tables)} tables was read, each block as it was written.")


def _columns(opened: Warehouse) -> Check:
    digest = hashlib.sha256(DATAPACKAGE.read_bytes()).hexdigest()[:12]
    columns = {(row["table_name"], row["column_name"]) for row in opened.rows(SQL / "columns.sql")}
    missing = [
        f"{table.name}.{name}"
        for table in catalogue().values()
        for name in table.column_names
        if (table.name, name) not in columns
    ]
    if missing:
        words = f"the catalogue ({digest}) knows columns that the warehouse lacks: {', '.join(missing)}."
        return Check("catalogue", "do", words, "Use the fitledger that wrote the file, or load the exports into a new one.")
    return Check("catalogue", "fine", f"every table and column of the catalogue ({digest}) is in the warehouse.")


def _loads(opened: Warehouse, now: datetime) -> Iterator[Check]:
    last = opened.rows(SQL / "last_load.sql")[0]
    if last["load_id"] is None:
        yield Check("last load", "note", "nothing has been loaded yet.", "Run fitledger load FOLDER.")
        return
    rejects = f"; {last['n_rejects']} rejected rows stand" if last["n_rejects"] else ""
    words = f"load {last['load_id']} on {last['loaded_at']:%Y-%m-%d %H:%M} UTC; data up to {last['last_date']}{rejects}."
    if last["latest_at"] > now.replace(tzinfo=None):
        what = f"Load {last['latest_id']} says that it ran on {last['latest_at']:%Y-%m-%d %H:%M} UTC"
    elif last["last_date"] is not None and last["last_date"] > now.date():
        what = f"The last fit is of {last['last_date']}"
    else:
        yield Check("last load", "fine", words)
        return
    todo = "Set the clock of this machine right; if it is right, mend the dates in the export and load again."
    yield Check("clock", "do", f"{what}, which lies in the future. Now is {now:%Y-%m-%d %H:%M} UTC.", todo)
    yield Check("last load", "note", words, "See the clock.")


def _key(opened: Warehouse, path: Path) -> Check:
    try:
        marks = marks_of(opened, path)
    except FitledgerError as fault:
        if isinstance(fault, WarehouseDamagedError):
            raise
        return Check("forgotten riders", "do", str(fault), "Put the key back, or lift every mark, as the sentence says.")
    n_riders = len(set(marks.rider_of.values())) if marks else 0
    return Check("forgotten riders", "fine", f"{n_riders} are left out of later loads.")


def _rights(place: _Place) -> Iterator[Check]:
    own = [beside(place.warehouse, ending) for ending in _OWNER_ONLY]
    files = [place.warehouse, *own, *(copy.path for copy in known_copies(place.warehouse))]
    for file in (file for file in files if file.is_file()):
        mode = stat.S_IMODE(file.stat().st_mode)
        if mode & stat.S_IRWXO:
            words = f"{file} is not for everybody, and may be read by every user of this machine (mode {mode:o})."
            yield Check("rights", "do", words, f"Run chmod 600 {file} (640 where a group shares it).")
        elif mode & stat.S_IRWXG:
            yield Check("rights", "note", f"{file} may be read by its group (mode {mode:o}).", "Fine where that is meant.")
        elif file == place.warehouse:
            yield Check("rights", "fine", f"{file} is its owner's alone (mode {mode:o}).")


def _lock(place: _Place) -> Iterator[Check]:
    wal = beside(place.warehouse, ".wal")
    if wal.exists():
        todo = "Open and close the warehouse with the program that wrote to it."
        yield Check("leftovers", "do", f"{wal} holds changes that another program has not put into the file.", todo)
    if not place.warehouse.parent.is_dir():
        return
    if not beside(place.warehouse, ".lock").exists():
        yield Check("lock", "fine", "no load is at work.")
        return
    try:
        with held(place.warehouse):
            yield Check("lock", "fine", "no load is at work.")
    except WarehouseBusyError:
        yield Check("lock", "note", "a load is at work now.", "Wait for it to end.")
    except FitledgerError as fault:
        yield Check("lock", "do", str(fault), "Give this user the right to write in that folder, or run as the one who loads.")


def _working_copies(place: _Place) -> Iterator[Check]:
    n_at_work = 0
    for left in folders_of(place.warehouse):
        if left.is_at_work:
            n_at_work += 1
            continue
        words = f"{left.folder} ({_mb(left.n_bytes)}) was left by a program that was killed, and may hold riders' data."
        yield Check(
            "working copies", "do", words, "Any other command of fitledger removes it as it starts, if it may: run one."
        )
    for path in left_by_earlier(place.warehouse):
        words = f"{path} was left by an earlier fitledger that was killed, and may hold riders' data."
        yield Check(
            "working copies", "do", words, "Any other command of fitledger removes it as it starts, if it may: run one."
        )
    if n_at_work:
        words = f"{n_at_work} {'programs are' if n_at_work > 1 else 'program is'} at work, on copies of their own."
        yield Check("working copies", "note", words, "A check, a load, a backup, or files that lie on the Data page.")
    else:
        yield Check("working copies", "fine", "no program is at work.")


def _copies(place: _Place) -> Iterator[Check]:
    copies = known_copies(place.warehouse)
    backups = [copy for copy in copies if copy.kind == "backup" and copy.path.is_file()]
    if backups:
        newest = max(backups, key=lambda copy: copy.made_at)
        yield Check("backup", "fine", f"the newest of {len(backups)} is {newest.path} of {newest.made_at}.")
    elif place.warehouse.is_file():
        yield Check("backup", "note", "no backup is known.", "Run fitledger backup FOLDER/, best on another disk.")
    gone = [str(copy.path) for copy in copies if not copy.path.exists()]
    if gone:
        todo = "Where they were moved, forgetting a rider does not reach them: keep in mind where they are."
        yield Check("backup", "note", f"no longer where they were made: {', '.join(gone)}.", todo)


def _disk(place: _Place) -> Iterator[Check]:
    if not place.warehouse.is_file():
        return
    size, free = place.warehouse.stat().st_size, shutil.disk_usage(place.warehouse.parent).free
    need = needed_bytes(size)
    words = f"{_mb(free)} free; the warehouse has {_mb(size)}, and the next load needs {_mb(need)} beside it ({_NEED_WORDS})."
    if free < need:
        yield Check(
            "disk", "do", words, f"Free {_mb(need - free)} or more on the disk of {place.warehouse.parent}{_to_free(place)}."
        )
    elif free < PROOF_TIMES * size:
        todo = f"Forgetting a rider may need {_mb(PROOF_TIMES * size)}, since it searches a copy without compression."
        yield Check("disk", "note", words, todo)
    else:
        yield Check("disk", "fine", words)


def needed_bytes(size: int) -> int:
    """What a load may need beside a warehouse of `size` bytes: its working copy, as much again for what it writes anew before
    the old is let go, what a load of a hundred thousand rows adds to an empty one, and what memory does not hold."""
    return 2 * size + FIRST_LOAD_BYTES + max(0, UNPACKED_TIMES * size - LOADING_BYTES)


def _to_free(place: _Place) -> str:
    """What may go from the same disk, in words."""
    disk = place.warehouse.stat().st_dev
    there = [copy for copy in known_copies(place.warehouse) if copy.path.is_file() and copy.path.stat().st_dev == disk]
    newest = max((copy.made_at for copy in there if copy.kind == "backup"), default="")
    groups = {
        "left by programs that were killed": [left.n_bytes for left in folders_of(place.warehouse) if not left.is_at_work],
        "warehouses that a restored one replaced": [copy.path.stat().st_size for copy in there if copy.kind == "replaced"],
        "backups older than the newest": [
            copy.path.stat().st_size for copy in there if copy.kind == "backup" and copy.made_at < newest
        ],
    }
    amounts = [f"{_mb(sum(sizes))} of {words}" for words, sizes in groups.items() if sizes]
    return f"; there are {', '.join(amounts)}" if amounts else ""


def _mb(n_bytes: float) -> str:
    return f"{n_bytes / 1e6:,.1f} MB"


def _settings(place: _Place) -> Iterator[Check]:
    try:
        settings = load_settings(place.settings)
    except FitledgerError as fault:
        yield Check("settings", "do", str(fault), "Correct the settings file.")
        return
    odd = [
        f"{name} = {value} (usual: {low:g} to {high:g})"
        for name, value in settings.parameters().items()
        for low, high in [SENSIBLE.get(name, (float("-inf"), float("inf")))]
        if isinstance(value, int | float) and not low <= value <= high
    ]
    if odd:
        yield Check("settings", "note", f"far from the usual: {'; '.join(odd)}.", "Check that they are meant.")
    else:
        words = "the defaults." if settings == Settings() else "read, all known and within the usual."
        yield Check("settings", "fine", words)


def _libraries(_: _Place) -> Iterator[Check]:
    if not LOCK.is_file():
        yield Check("libraries", "note", "there is no lock file to compare with.", "Install from the lock, as the README says.")
        return
    # One name may stand in several versions, each for its Python.
    locked: dict[str, set[str]] = {}
    for name, wanted in re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)", LOCK.read_text(encoding="utf-8"), re.MULTILINE):
        locked.setdefault(name, set()).add(wanted)
    installed = {name: installed_version for name in locked if (installed_version := _installed(name))}
    other = [
        f"{name} {installed_version} (locked: {' or '.join(sorted(locked[name]))})"
        for name, installed_version in installed.items()
        if installed_version not in locked[name]
    ]
    if other:
        todo = "Install the locked versions: python -m pip install --require-hashes -r requirements.lock."
        yield Check("libraries", "do", f"other versions than were tested: {', '.join(other)}.", todo)
    else:
        yield Check("libraries", "fine", f"{len(installed)}, each as locked.")


def _installed(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None  # of another system, or for contributors only


def _browser(_: _Place) -> Iterator[Check]:
    browser = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if browser:
        yield Check("browser", "fine", f"{browser} can print pages.")
    else:
        todo = "Needed only to print to PDF from the command line: install the package chromium."
        yield Check("browser", "note", "no Chromium was found.", todo)
