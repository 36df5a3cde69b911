"""Exports a selection: marts and results as CSV and Parquet in one folder, described by datapackage.json."""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from dashboard.export import answers_shown
from dashboard.export.anonymous import TEXT, Anonymity, about, made_anonymous, write_text
from dashboard.export.attackers import AttackerRow, ToldRow
from dashboard.export.descriptor import Resource, write_descriptor
from dashboard.export.tables import make_marts, write_groups, write_marts, write_result
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl.keeping.leftovers import working_elsewhere
from shared.errors import StatisticsError, UsageError
from shared.warehouse import Warehouse, open_reading

_CAUTION: Final = (
    "These figures describe what followed in one studio's riders. They are no medical advice and no prescription. "
    "Local rules on health data apply to them, without ids as well."
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
    anonymous: bool = False,
    progress: Callable[[int, int, str], None] = lambda done, total, words: None,
) -> Exported:
    """Writes the export to a new or empty folder, all or nothing.

    Raises UsageError where the folder holds something or an anonymous export is asked for with a selection that it does not
    allow, TooFewError where the selection is empty or too few can be shown, PromiseError where an anonymous export would not
    keep what it promises.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder}: found something here, expected a new or empty folder. Name another one, or empty it.")
    folder.parent.mkdir(parents=True, exist_ok=True)
    warehouse = open_reading(asker.path)
    try:
        with working_elsewhere(asker.path, folder.parent) as place:
            written = place / "export"
            written.mkdir(mode=0o700)
            done = _written(asker, warehouse, selection, written, anonymous, progress)
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
    anonymous: bool,
    progress: Callable[[int, int, str], None],
) -> Exported:
    asked = tuple(answers_shown.LISTS) if anonymous else QUESTIONS
    progress(0, len(asked) + 1, "groups of riders" if anonymous else "fits, knees and captures")
    anonymity = made_anonymous(warehouse, selection, asker.settings) if anonymous else None
    if anonymity is None:
        make_marts(warehouse, selection, asker.settings)
        resources, refused = write_marts(warehouse, folder), []
    else:
        selection, refused = anonymity.selection, list(anonymity.refused)
        resources = _written_groups(warehouse, anonymity, folder)
    held_back = 0
    for place, question in enumerate(asked, start=1):
        progress(place, len(asked) + 1, question)
        try:
            answer = asker.ask(question, selection, **(answers_shown.ASKED_WITH.get(question, {}) if anonymity else {}))
        except StatisticsError as refusal:
            # The sentence tells how few there are.
            refused.append(f"{question}: {refusal if anonymity is None else 'too few to be told.'}")
            continue
        for name, row in type(answer).lists().items():
            rows = list(getattr(answer, name))
            if anonymity is None:
                resources.append(write_result(warehouse, question, name, row, folder, rows))
            elif name in answers_shown.LISTS[question]:
                most = anonymity.most_fits_in_a_quarter if question in answers_shown.ASKED_WITH else anonymity.most_fits
                given_out = answers_shown.shown(question, name, rows, anonymity.alike, most)
                held_back += len(rows) - len(given_out)
                resources.append(write_result(warehouse, question, name, row, folder, given_out, answers_shown.LEFT_OUT))
    description = _about(selection, anonymity, refused)
    write_descriptor(
        folder, resources, title="Fits of a bicycle-fitting studio, and what fitledger makes of them", about=description
    )
    return Exported(folder, tuple(resource.name for resource in resources), tuple(refused), held_back, anonymity)


def _written_groups(warehouse: Warehouse, anonymity: Anonymity, folder: Path) -> list[Resource]:
    """The tables of groups, the attackers and what the rows tell, as tables and as a text."""
    resources = [write_groups(warehouse, name, frame, folder) for name, frame in anonymity.tables.items()]
    for name, kind, rows in (("attackers", AttackerRow, anonymity.attackers), ("told", ToldRow, anonymity.told)):
        resources.append(write_result(warehouse, "anonymity", name, kind, folder, list(rows)))
    write_text(folder / TEXT, anonymity)
    return resources


def _about(selection: Selection, anonymity: Anonymity | None, refused: list[str]) -> dict[str, Any]:
    description: dict[str, Any] = {
        "description": _CAUTION,
        "selection": {word: str(value) if isinstance(value, date) else value for word, value in selection.as_dict().items()},
        "results": "One list of one answer a table; `fitledger show QUESTION --json` prints the same answer with its method.",
        "refused": refused,
    }
    return description if anonymity is None else description | {"anonymity": about(anonymity)}
