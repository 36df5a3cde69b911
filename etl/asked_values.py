"""Spreads that no knee has, ids that are nearly the same, and one id for two riders."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from etl.asked_lines import Lines, Question, is_kept, kept, key_of
from etl.running_values import names_by_studio, run_up
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.units import UNITS, conversion_factor
from shared.warehouse import Warehouse

SQL: Final = Path(__file__).with_name("sql") / "asked"
_SHOWN: Final = 3
_MOST_CLASHES: Final = 10
_UNITS_OF: Final = {
    "mm": ("mm", "cm", "m", "inch"),
    "cm": ("cm", "mm", "m", "inch"),
    "deg": ("deg", "rad"),
    "kg": ("kg", "lb", "g"),
}


@dataclass(frozen=True)
class _Plausible:
    """Between what the middle of a column, or the width of its middle half, lies in any studio (common practice, no source)."""

    table: str
    column: str
    of: str
    low: float
    high: float


_PLAUSIBLE: Final = (
    _Plausible("knee_captures", "knee_sway_mm", "middle", 4, 60),
    _Plausible("knee_captures", "knee_tilt_deg", "width", 0.3, 12),
    _Plausible("knee_captures", "knee_offset_mm", "width", 1.5, 60),
    _Plausible("foot_exams", "forefoot_angle_deg", "width", 0.5, 20),
    _Plausible("riders", "height_cm", "middle", 140, 200),
    _Plausible("riders", "mass_kg", "middle", 45, 110),
    _Plausible("fit_sessions", "sit_bone_width_mm", "middle", 70, 180),
    _Plausible("fit_sessions", "saddle_width_mm", "middle", 90, 220),
)


def unit_questions(warehouse: Warehouse, settings: Settings, lines: Lines, confirmed: frozenset[str]) -> Iterator[Question]:
    """Columns that lie where no knee does, each with the units in which they would."""
    for plausible in _PLAUSIBLE:
        names = names_by_studio(warehouse, catalogue()[plausible.table])
        rows = _middles(warehouse, plausible, names, settings)
        studios = {name: [row for row in rows if row["studio_id"] == name] for name in [row["studio_id"] for row in rows]}
        if len(studios) > 1 and all(_faulty(plausible, here) for here in studios.values()):
            # One fault of the export, not one of each studio.
            studios = {"": _middles(warehouse, plausible, {"studio": "''", "sessions": ""}, settings)}
        for name, here in studios.items():
            if _faulty(plausible, here) and not is_kept(confirmed, f"{plausible.column} unit", name):
                yield _unit_question(plausible, here, lines)


def _middles(warehouse: Warehouse, plausible: _Plausible, names: dict[str, str], settings: Settings) -> list[dict[str, Any]]:
    table = catalogue()[plausible.table]
    run_up(warehouse, table, plausible.column, "source.side" if "side" in table.column_names else "''", names)
    return warehouse.rows(SQL / "middles.sql", {"least": settings.warnings.ask_riders})


def _faulty(plausible: _Plausible, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row for row in rows if not plausible.low <= _measured(plausible, row) <= plausible.high]


def _unit_question(plausible: _Plausible, rows: list[dict[str, Any]], lines: Lines) -> Question:
    faulty = _faulty(plausible, rows)
    first = faulty[0]
    column = catalogue()[plausible.table].column(plausible.column)
    sign, now = UNITS[column.unit or ""].sign, lines.unit_now(plausible.table, plausible.column)
    others = _units_that_fit(plausible, _measured(plausible, first), now)
    sides = f" of the {first['side']} side" if len(faulty) < len(rows) else ""
    where = f" in studio {first['studio_id']}" if first["studio_id"] else ""
    what = "lie in the middle" if plausible.of == "middle" else "have a middle half as wide as"
    expected = f"expected to {what} {'from' if plausible.of == 'middle' else ''} {plausible.low:g} to {plausible.high:g} {sign}"
    fits = " or ".join(f"{unit} (then {value:.3g} {sign})" for unit, value in others)
    words = (
        f"Is {plausible.column}{sides}{where} really in {now}? Half of its {first['n']:,} values lie from {first['low']:.3g} "
        f"to {first['high']:.3g} {sign}, {' '.join(expected.split())}."
        + (f" It would fit as {fits}." if fits else " No unit that is known makes it fit: look for a lost decimal sign.")
    )
    mend = lines.in_unit(plausible.table, plausible.column, others[0][0]) if others else "export the column again."
    if sides:
        mend += ", for that side alone"
    return Question(
        "unit",
        plausible.table,
        plausible.column,
        first["studio_id"],
        words,
        mend,
        kept(key_of(f"{plausible.column} unit", first["studio_id"])),
    )


def _measured(plausible: _Plausible, row: dict[str, Any]) -> float:
    return float(row["middle"] if plausible.of == "middle" else row["high"] - row["low"])


def _units_that_fit(plausible: _Plausible, measured: float, now: str) -> list[tuple[str, float]]:
    """The other units in which the column would lie where it should, and where that is."""
    unit = catalogue()[plausible.table].column(plausible.column).unit or ""
    fits = []
    for other in _UNITS_OF[unit]:
        factor = conversion_factor(other, UNITS[unit].pint_name) / conversion_factor(now, UNITS[unit].pint_name)
        if abs(factor - 1) > 1e-9 and plausible.low <= measured * factor <= plausible.high:
            fits.append((other, measured * factor))
    return fits


def near_ids(warehouse: Warehouse, lines: Lines, confirmed: frozenset[str]) -> Iterator[Question]:
    """Ids that differ only in zeros, case, spaces or signs."""
    for table, column, one in (("riders", "rider_id", "rider"), ("fitters", "fitter_id", "fitter")):
        groups = warehouse.rows(SQL / "near_ids.sql", table=table, column=column)
        groups = [group for group in groups if _key_of(column, group["ids"]) not in confirmed]
        if not groups:
            continue
        shown = "; ".join(" beside ".join(f'"{name}"' for name in group["ids"]) for group in groups[:_SHOWN])
        more = f"; and {len(groups) - _SHOWN:,} more" if len(groups) > _SHOWN else ""
        words = f"Is it one {one} whose {column} is written in two ways? Found {shown}{more}: as they stand, as many {one}s."
        mend = (
            lines.without_zeros(column)
            if all(group["are_numbers"] for group in groups)
            else f"write {column} alike in all files, and load them again"
        )
        keys = [_key_of(column, group["ids"]) for group in groups[:_MOST_CLASHES]]
        yield Question("near_ids", table, column, "", words, mend, kept(*keys))


def _key_of(column: str, ids: list[str]) -> str:
    return " ".join((column, "apart", *ids))


def clashes(warehouse: Warehouse, load_id: int, confirmed: frozenset[str]) -> Iterator[Question]:
    """Riders of whom this load says that they were born in another year, or are of another sex."""
    rows = warehouse.rows(SQL / "clashes.sql", {"load_id": load_id})
    rows = [row for row in rows if f"rider_id clash {row['rider_id']}" not in confirmed]
    for row in rows[:_MOST_CLASHES]:
        told = " and ".join(
            f"{value} ({file})" if file else f"{value}" for value, file in zip(row["told"], row["files"], strict=True)
        )
        words = (
            f'Are there two riders under the rider_id "{row["rider_id"]}"? Its {row["what"]} is told as {told}; riders of one '
            "id are one rider, of whom the later row holds."
        )
        mend = "give one of the two another rider_id, in every table that names it"
        yield Question("clash", "riders", row["what"], "", words, mend, kept(f"rider_id clash {row['rider_id']}"))
