"""Exports a selection: marts and results as CSV and Parquet in one folder, described by datapackage.json."""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from dashboard.export.anonymous import Anonymity, release
from dashboard.export.descriptor import Resource, write_descriptor
from dashboard.export.tables import SQL, make_marts, write_marts, write_result
from dashboard.questions.asking import QUESTIONS, Asker
from dashboard.questions.selection import Selection
from etl.keeping.leftovers import working_elsewhere
from shared.errors import StatisticsError, TooFewError, UsageError
from shared.warehouse import Warehouse, open_reading

# What an anonymous export gives out of each answer: lists of groups only, none of which names a rider, a fit or a fitter.
_OF_GROUPS: Final[dict[str, tuple[str, ...]]] = {
    "studio": ("figures", "trend"),
    "effects": ("effects", "families", "dose", "off_neutral", "responders"),
    "noise": ("noise",),
    "periods": ("periods", "changes"),
    "returns": ("figures", "curve", "at_risk", "comparisons", "lasting", "said"),
    "trends": ("trend", "charts"),
    "asymmetry": ("prevalence", "change", "patterns", "flow", "curve"),
    "ratings": ("ratings",),
    "types": ("types", "alike"),
    "agreement": ("agreement", "months", "rules", "outcomes"),
}
# Columns that count what a row rests on.
_RESTS_ON: Final = ("n", "total", "n_riders", "n_fits", "n_knees", "n_feet", "n_pairs", "n_changes", "n_judged", "n_at_risk")
_CAUTION: Final = (
    "These figures describe what followed in one studio's riders. They are no medical advice and no prescription. "
    "Local rules on health data apply to them, with codes in place of ids as well."
)


@dataclass(frozen=True)
class Exported:
    """What was written, and what an anonymous export held back."""

    folder: Path
    tables: tuple[str, ...]
    refused: tuple[str, ...]
    rows_held_back: int
    anonymity: Anonymity | None


def export(
    asker: Asker,
    selection: Selection,
    folder: Path,
    *,
    key: bytes | None = None,
    progress: Callable[[int, int, str], None] = lambda done, total, words: None,
) -> Exported:
    """Writes the export to a new or empty folder, all or nothing; with `key` it is anonymous.

    Raises UsageError where the folder holds something, TooFewError where the selection is empty or too few can be shown.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder}: found something here, expected a new or empty folder. Name another one, or empty it.")
    folder.parent.mkdir(parents=True, exist_ok=True)
    warehouse = open_reading(asker.path)
    try:
        with working_elsewhere(asker.path, folder.parent) as place:
            written = place / "export"
            written.mkdir(mode=0o700)
            done = _written(asker, warehouse, selection, written, key, progress)
            if folder.exists():
                folder.rmdir()
            written.rename(folder)
    finally:
        warehouse.close()
    return dataclasses.replace(done, folder=folder)


def _written(
    asker: Asker,
    warehouse: Warehouse,
    selection: Selection,
    folder: Path,
    key: bytes | None,
    progress: Callable[[int, int, str], None],
) -> Exported:
    smallest = asker.settings.minimum.riders_shown
    asked = QUESTIONS if key is None else tuple(_OF_GROUPS)
    progress(0, len(asked) + 1, "fits, knees and captures")
    make_marts(warehouse, selection, asker.settings)
    anonymity = None if key is None else _made_anonymous(warehouse, key, smallest)
    resources = write_marts(warehouse, folder)
    refused, held_back = [], 0
    for place, question in enumerate(asked, start=1):
        progress(place, len(asked) + 1, question)
        try:
            answer = asker.ask(question, selection)
        except StatisticsError as refusal:
            refused.append(f"{question}: {refusal}")
            continue
        for name, row in type(answer).lists().items():
            if key is not None and name not in _OF_GROUPS[question]:
                continue
            rows = list(getattr(answer, name))
            shown = rows if key is None else [one for one in rows if _rests_on_enough(one, smallest)]
            held_back += len(rows) - len(shown)
            resources.append(write_result(warehouse, question, name, row, folder, shown))
    about = _about(selection, anonymity, refused)
    write_descriptor(folder, resources, title="Fits of a bicycle-fitting studio, and what fitledger makes of them", about=about)
    return Exported(folder, _names(resources), tuple(refused), held_back, anonymity)


def _names(resources: list[Resource]) -> tuple[str, ...]:
    return tuple(resource.name for resource in resources)


def _made_anonymous(warehouse: Warehouse, key: bytes, smallest: int) -> Anonymity:
    known = warehouse.frame(SQL / "riders_known.sql")
    fitters = warehouse.frame("SELECT session_id, fitter_id FROM out_fits").set_index("session_id")["fitter_id"]
    released, anonymity = release(known, fitters, key, smallest)
    if released.empty:
        raise TooFewError(
            f"Anonymous export: found {anonymity.held_back} riders in this selection, expected at least {smallest}, among "
            "whom each can be hidden. Widen the selection."
        )
    warehouse.put("released", released)
    warehouse.run(SQL / "anonymous.sql")
    return anonymity


def _rests_on_enough(row: Any, smallest: int) -> bool:
    """False where one of a row's counts lies between nothing and the smallest that is shown."""
    return not any(0 < getattr(row, name) < smallest for name in _RESTS_ON if getattr(row, name, None) is not None)


def _about(selection: Selection, anonymity: Anonymity | None, refused: list[str]) -> dict[str, Any]:
    told: dict[str, Any] = {
        "description": _CAUTION,
        "selection": selection.as_dict(),
        "results": "One list of one answer a table; `fitledger show QUESTION --json` prints the same answer with its method.",
        "refused": refused,
    }
    if anonymity is not None:
        told["anonymity"] = dataclasses.asdict(anonymity) | {"words": anonymity.words}
    return told
