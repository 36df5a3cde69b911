"""What every question shares: the selection as SQL, how much it holds, and the selection in words."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.selection import SQL
from dashboard.questions.selection.recorded import EVERYTHING, Recorded, recorded_in
from dashboard.questions.selection.selection import Selection
from shared.clock import spoken_day as spoken_day  # noqa: PLC0414 (its place for questions)
from shared.errors import TooFewError
from shared.freshness import NEWEST_ROW
from shared.settings import Settings
from shared.statistics.wording import counted as counted  # noqa: PLC0414 (its place for questions)
from shared.warehouse import Warehouse, read_sql

_SPOKEN = {
    "visit_kind": "visits: {}",
    "bike_kind": "bicycles: {}",
    "riding": "riding: {}",
    "fitter": "fitter {}",
    "arch_height": "arch: {}",
    "forefoot": "forefoot: {}",
    "side": "{} side",
    "rider": "rider {}",
}
# Ids are said as they are.
_IDS = ("fitter", "rider")
# What is true of a fit; each is one fragment, so that no two questions count it differently.
_TRUE_OF_A_FIT = ("asks_follow_up", "window_closed", "has_returned", "asks_booking", "has_booked", "has_repeat")
# Classes to split by; each is one fragment, so that no two questions draw their limits differently.
_CLASSES = ("age_band", "foot_posture", "hip_flexion", "arrival_direction")

# What a selection asks of an exam, as mart.fits holds it for either foot.
_EXAM_OF_A_FIT = ("arch_height_{side}", "forefoot_angle_{side}_deg")


@dataclass(frozen=True)
class Scope:
    """The fits that a selection holds; `parameters` and `fragments` bind it into a question's SQL. recorded: what the warehouse
    holds nothing of."""

    as_of: date | None
    n_fits: int
    n_riders: int
    words: str
    parameters: dict[str, Any]
    recorded: Recorded = EVERYTHING

    def asked(self) -> tuple[Hashable, ...]:
        """What the parameters ask of fits and feet, to remember by; all None: every fit."""
        values = (self.parameters[word] for word in Selection().parameters())
        return tuple(tuple(value) if isinstance(value, list) else value for value in values)

    def head(self, selection: Selection) -> dict[str, Any]:
        """What an answer about these fits begins with."""
        return {"as_of": self.as_of, "selection": selection.as_dict(), "selection_words": self.words}

    @property
    def counts(self) -> dict[str, Any]:
        """How many fits and riders an answer tells of."""
        return {"n_fits": self.n_fits, "n_riders": self.n_riders}

    def require_fits(self) -> None:
        """Raises TooFewError where the selection is empty."""
        if self.n_fits == 0:
            reach = f" The data reach to {spoken_day(self.as_of)}." if self.as_of else ""
            raise TooFewError(f"No fit matches this selection ({self.words}).{reach} Widen it, or reset it to see all fits.")


@lru_cache(maxsize=1)
def fragments() -> dict[str, str]:
    """The selection's conditions and the classes by the name under which a question's SQL takes them."""
    return {
        "fits_selected": _fits_selected(),
        **{f"{relation}_selected": feet_selected(relation) for relation in ("captures", "knees", "feet", "exams")},
        "facts_selected": _foot_selected("facts.side", *(_by_side(f"fits.{name}") for name in _EXAM_OF_A_FIT)),
        **{name: read_sql(SQL / f"{name}.sql") for name in (*_TRUE_OF_A_FIT, *_CLASSES)},
    }


def feet_selected(relation: str) -> str:
    """SQL that is true for a foot of `relation` (a table with side and exam) that the selection asks for."""
    return _foot_selected(f"{relation}.side", f"{relation}.arch_height", f"{relation}.forefoot_angle_deg")


def _foot_selected(side: str, arch_height: str, angle: str) -> str:
    text = read_sql(SQL / "feet_selected.sql").replace("{side}", side).replace("{arch_height}", arch_height)
    return text.replace("{forefoot_class}", forefoot_class(angle))


def _fits_selected() -> str:
    text = read_sql(SQL / "fits_selected.sql")
    for side in ("left", "right"):
        exam = (f"fits.{name.format(side=side)}" for name in _EXAM_OF_A_FIT)
        text = text.replace(f"{{{side}_selected}}", _foot_selected(f"'{side}'", *exam))
    return text


def _by_side(column: str) -> str:
    """SQL of the column of mart.fits that belongs to the side of a row of `facts`."""
    return f"CASE facts.side WHEN 'left' THEN {column.format(side='left')} ELSE {column.format(side='right')} END"


def forefoot_class(angle: str) -> str:
    """SQL of the forefoot class of an angle column."""
    return read_sql(SQL / "forefoot_class.sql").replace("{angle}", angle)


def scope_of(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember = at_once) -> Scope:
    """Counts the selection and says it in words."""
    whole = replace(selection, split=None)
    scope: Scope = remember(("scope", whole), lambda: _counted(warehouse, whole, settings, remember))
    return scope


def _counted(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember) -> Scope:
    parameters = {**settings.parameters(), **selection.parameters()}
    as_of = remember(("as_of",), lambda: warehouse.value(NEWEST_ROW))
    row = warehouse.rows(SQL / "scope.sql", parameters, **fragments())[0]
    return Scope(
        as_of=as_of,
        n_fits=row["n_fits"],
        n_riders=row["n_riders"],
        words=_words(selection, row),
        parameters={**parameters, "as_of": as_of},
        recorded=recorded_in(warehouse, remember),
    )


def names_of(warehouse: Warehouse, remember: Remember | None) -> dict[str, list[str]]:
    """The ids behind the numbers of fitters and studios, and the kinds of bicycle."""
    names: dict[str, list[str]] = (remember or at_once)(("names",), lambda: warehouse.rows(SQL / "names.sql")[0])
    return names


def sessions_of(warehouse: Warehouse, fit_nos: Iterable[int]) -> dict[int, str]:
    """The ids of a few fits by their numbers: ids of a million fits are slow to carry along."""
    wanted = sorted({int(fit_no) for fit_no in fit_nos})
    return {row["fit_no"]: row["session_id"] for row in warehouse.rows(SQL / "sessions_of.sql", {"fit_nos": wanted})}


def _words(selection: Selection, row: dict[str, Any]) -> str:
    """Says a selection in words, as in: 412 fits, 7 Jan to 30 Jun 2026, both studios, arch: low."""
    parts = [counted(row["n_fits"], "fit")]
    start = row["first_date"] or selection.date_from
    end = row["last_date"] or selection.date_to
    if start and end:
        began = "" if start == end else f"{spoken_day(start, start.year != end.year)} to "
        parts.append(f"{began}{spoken_day(end)}")
    parts.append(_studio_words(row["studios"] or list(selection.studio), selection.studio))
    for name, spoken in _SPOKEN.items():
        if chosen := getattr(selection, name):
            parts.append(spoken.format(" or ".join(code if name in _IDS else code.replace("_", " ") for code in chosen)))
    return ", ".join(part for part in parts if part)


def _studio_words(present: list[str], chosen: tuple[str, ...]) -> str:
    if chosen or len(present) == 1:
        names = chosen or present
        return f"studio{'s' if len(names) > 1 else ''} {' and '.join(names)}"
    return {0: "", 2: "both studios"}.get(len(present), f"all {len(present)} studios")
