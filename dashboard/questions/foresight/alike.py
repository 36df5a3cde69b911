"""The knees most like those of a rider: what was changed for them, what followed, and whether it held."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, became_of, followed_fits
from dashboard.questions.foresight import SQL
from dashboard.questions.foresight.answers_foresight import AlikeRow
from dashboard.questions.foresight.knees import SIDES, Form, forefoot_of
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted, forefoot_class, scope_of
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse

SUPPORTS: Final = ("insole", "shims", "stance")


def alike_knees(
    warehouse: Warehouse, form: Form, settings: Settings, remember: Remember, rider: str, fitters: tuple[str, ...]
) -> list[AlikeRow]:
    """The twenty knees most like each of the form, of other riders; of these fitters' fits, where any are named. None of a knee
    whose foot type or arrival is not known."""
    became = remember(("what became of fits",), lambda: _became(warehouse, settings, remember))
    return [row for side in SIDES for row in _of_side(warehouse, form, side, settings, rider, fitters, became)]


def _became(warehouse: Warehouse, settings: Settings, remember: Remember) -> NDArray[np.int8]:
    """What became of each fit by its number, as its place in BECAME; -1 where it asks for no follow-up."""
    scope = scope_of(warehouse, Selection(), settings, remember)
    tilt = noise.row_of("tilt", noise.pairs_of(warehouse, scope, remember), settings)
    fits = followed_fits(warehouse, scope, remember)
    numbers = fits["fit_no"].astype(np.int64)
    found = np.full(int(numbers.max(initial=-1)) + 1, -1, dtype=np.int8)
    found[numbers] = became_of(fits, tilt.mdc95)
    return found


def _of_side(
    warehouse: Warehouse,
    form: Form,
    side: str,
    settings: Settings,
    rider: str,
    fitters: tuple[str, ...],
    became: NDArray[np.int8],
) -> Iterator[AlikeRow]:
    knee = form.knee(side)
    tilt, forefoot = next(iter(knee.tilt_deg), None), forefoot_of(knee.forefoot_angle_deg, settings.forefoot)
    if tilt is None or forefoot is None or knee.arch_height is None:
        return
    asked = {
        "rider": rider,
        "fitters": list(fitters),
        "arch_height": knee.arch_height,
        "forefoot": forefoot,
        "tilt_deg": tilt,
        "angle_deg": knee.forefoot_angle_deg,
        "visit_kind": form.visit_kind,
        "bike_kind": form.bike_kind,
        "riding": form.riding,
    }
    fragments = {"forefoot_of_exam": forefoot_class("feet.forefoot_angle_deg")}
    for row in warehouse.rows(SQL / "alike_knees.sql", {**settings.parameters(), **asked}, **fragments):
        told = {name: row[name] for name in AlikeRow.__dataclass_fields__ if name in row}
        place = int(became[row["fit_no"]]) if row["fit_no"] < len(became) else -1
        changed = dict(_changes(row))
        yield AlikeRow(
            **{**told, "side": side, "changed": ", ".join(changed.values()) or "nothing", "supports": ", ".join(changed)},
            became=BECAME[place] if place >= 0 else None,
        )


def _changes(row: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Each support that was changed, and how."""
    if row["insole_arrival"] != row["insole_departure"]:
        yield "insole", f"insole {row['insole_arrival'] or 'not recorded'} to {row['insole_departure']}"
    for name, column, unit in (("shims", "shims_{}", ""), ("stance", "stance_{}_mm", "mm")):
        first, last = (row[column.format(when)] for when in ("arrival", "departure"))
        if first is not None and last is not None and first != last:
            yield name, f"{name} {spoken(first, 0)} to {spoken(last, 0, unit)}"


def alike_words(rows: Sequence[AlikeRow]) -> Iterator[str]:
    """A sentence a side: what was changed for the most alike knees, what followed, and how many of their fits held."""
    for side in SIDES:
        of_side = [row for row in rows if row.side == side]
        if not of_side:
            continue
        changed = [f"{name} {sum(name in row.supports.split(', ') for row in of_side)}" for name in SUPPORTS]
        both = [row for row in of_side if row.tilt_departure_deg is not None]
        first, last = ([abs(getattr(row, f"tilt_{when}_deg")) for row in both] for when in ("arrival", "departure"))
        moved = f" {_mean(first)} from neutral at arrival, {_mean(last)} at departure on average." if both else ""
        held, lost = (sum(row.became == one for row in of_side) for one in (HELD, NOT_HELD))
        yield (
            f"{counted(len(of_side), 'knee')} most like the {side} one: changed were {', '.join(changed)}.{moved} "
            f"{counted(held, 'fit')} held, {lost} did not; of {len(of_side) - held - lost} it is not known."
        )


def _mean(values: Sequence[float]) -> str:
    return spoken(float(np.mean(values)), 1, "°")
