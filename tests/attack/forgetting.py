"""Forgetting a rider: the id at any boundary and in any case, in notes, in the names of files; and riders with longer ids."""

from pathlib import Path
from tempfile import TemporaryDirectory

from shared.warehouse import open_reading
from tests.attack.commands import here, write
from tests.attack.rows import Row, row

RIDER = "RVICTIM77"
SPELLINGS = (
    "see-RVICTIM77",
    "rider_RVICTIM77",
    "RVICTIM77_scan",
    "rvictim77",
    "RVictim77",
    "(RVICTIM77)",
    "RVICTIM77.",
    "#RVICTIM77's",
    "scan/RVICTIM77/3",
)
NAMES = (f"riders-{RIDER}", f"riders-{RIDER.lower()}-2026")
# Another rider's, and no part of the one to forget.
LONGER = "RVICTIM778"


def rows() -> list[Row]:
    return [_in_text(), _in_names(*NAMES), _longer()]


def bounded() -> list[Row]:
    """What CI runs."""
    return [_in_text(), _in_names(NAMES[0])]


def _forgotten(
    folder: Path, notes: dict[str, str], name: str = "riders", others: tuple[str, ...] = ()
) -> tuple[set[str], bool]:
    """What a warehouse that forgot the rider holds in all its texts, and whether the command said that all is gone."""
    files = write(
        folder / "x",
        riders=[f"{RIDER},road", "R0002,road", *(f"{other},road" for other in others)],
        fitters=["F1,Alder"],
        fit_sessions=[
            f"S0001,{RIDER},F1,quay,2026-03-02,first,stiff",
            *(f"{session},R0002,F1,quay,2026-03-03,first,{note}" for session, note in notes.items()),
            *(f"SX{n},{other},F1,quay,2026-03-03,first," for n, other in enumerate(others)),
        ],
    )
    (files / "riders.csv").rename(files / f"{name}.csv")
    assert here(folder, "load", files).returncode == 0
    done = here(folder, "forget", RIDER, "--yes")
    return texts_of(folder / "fitledger.duckdb"), done.returncode == 0


def texts_of(warehouse: Path) -> set[str]:
    """Every text in every column of every table."""
    opened = open_reading(warehouse)
    columns = opened.rows(
        "SELECT table_schema, table_name, column_name FROM information_schema.columns WHERE data_type LIKE 'VARCHAR%'"
    )
    found = set()
    for one in columns:
        name = f'"{one["table_schema"]}"."{one["table_name"]}"'
        texts = opened.rows(f'SELECT DISTINCT CAST("{one["column_name"]}" AS VARCHAR) AS text FROM {name}')
        found |= {text["text"] for text in texts if text["text"]}
    opened.close()
    return found


def _in_text() -> Row:
    notes = {f"S1{n:03}": f"as {spelling}" for n, spelling in enumerate(SPELLINGS)}
    with TemporaryDirectory() as folder:
        left, is_certified = _forgotten(Path(folder), notes)
    remaining = [spelling for spelling in SPELLINGS if any(spelling.lower() in text.lower() for text in left)]
    failures = [f"{spelling} stays and all is said to be gone" for spelling in remaining] if is_certified else []
    told = "taken out" if not remaining else f"{len(remaining)} shown, and not certified"
    return row("forget: the id in notes", f"{len(SPELLINGS)} spellings", failures, told)


def _in_names(*names: str) -> Row:
    failures, told = [], []
    for name in names:
        with TemporaryDirectory() as folder:
            left, is_certified = _forgotten(Path(folder), {"S0009": ""}, name)
        remains = any(RIDER.lower() in text.lower() for text in left)
        told.append("shown" if remains else "taken out")
        if remains and is_certified:
            failures.append(f"{name}.csv stays in the warehouse and all is said to be gone")
    return row("forget: the id in the name of a file", f"{len(names)} names", failures, ", ".join(dict.fromkeys(told)))


def _longer() -> Row:
    with TemporaryDirectory() as folder:
        left, _ = _forgotten(Path(folder), {"S0009": ""}, others=(LONGER,))
    failures = [] if LONGER in left else [f"{LONGER} went with {RIDER}"]
    return row("forget: a rider with a longer id", "1 rider", failures, "stays")
