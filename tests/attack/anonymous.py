"""Attacks an anonymous export from its files and from what the warehouse truly holds, without the code that measured it.

`rows(folder, warehouse)` is the table of attackers: what each knows, how many riders have fewer than ten alike, how often a
guess is right. An export that gives riders out row by row is attacked as such. Who stands in which row is taken from the
export's own code, since no file says it, and is held against the truth by `members`.
"""

import json
import tempfile
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from dashboard.export.anonymous import known_of
from dashboard.export.group_tables import TABLES, grouped
from dashboard.questions.selection.selection import parse_selection
from etl.load import load
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading
from tests.attack.row_level import attacked, rows_of
from warehouse_demo import EXPORTS

WHO = (
    *("share_female", "share_male", "share_under_30", "share_30_to_44", "share_45_to_59", "share_60_and_over"),
    *(f"share_{riding}" for riding in ("road", "gravel", "mountain", "triathlon", "commuting", "indoor")),
)
COMFORT = ("comfort_arrival", "comfort_departure")
FOLLOW_UP = ("share_booked", "share_attended")
SUPPORTS = tuple(
    f"{name}_{moment}{unit}"
    for moment in ("arrival", "departure")
    for name, unit in (
        *((f"share_insole_{level}", "") for level in ("low", "medium", "high", "custom")),
        ("shims", ""),
        ("stance", "_mm"),
    )
)
EXAM = (
    *(f"share_arch_{height}" for height in ("low", "medium", "high")),
    *(f"share_forefoot_{kind}" for kind in ("valgus", "neutral", "mild_varus", "marked_varus")),
)
FIGURES = tuple(
    f"{name}_{moment}_{unit}"
    for name, unit in (("tilt", "deg"), ("sway", "mm"), ("offset", "mm"))
    for moment in ("arrival", "departure")
)
KNOWS = {
    "who, where, when and why": WHO,
    "and the fitter": WHO,
    "and the follow-up": (*WHO, *FOLLOW_UP),
    "and the captures": WHO,
    "and the comfort said": (*WHO, *COMFORT),
    "supports": SUPPORTS,
    "exam": EXAM,
    "printed figures": FIGURES,
    "everything": (*WHO, *FOLLOW_UP, *COMFORT, *SUPPORTS, *EXAM, *FIGURES),
}
FIRST_FIT = (
    "s.session_id = (SELECT arg_min(session_id, (session_date, session_id)) FROM core.fit_sessions WHERE rider_id = s.rider_id)"
)
# By table and side: the rows as the file tells them, and each rider's own values and row.
Tables = list[tuple[list[dict[str, float]], dict[str, tuple[dict[str, float], int]]]]


def rows(export_folder: Path, warehouse: Path | None = None) -> list[dict[str, Any]]:
    """The table of attackers on an export of `warehouse`, or of the demo studios."""
    if (export_folder / "fits.csv").exists():
        return attacked(export_folder)
    if warehouse is None:
        with tempfile.TemporaryDirectory() as folder:
            load([EXPORTS], Path(folder) / "demo.duckdb")
            return rows(export_folder, Path(folder) / "demo.duckdb")
    tables = members(export_folder, warehouse)
    alone = {words: _attack(tables, columns) for words, columns in KNOWS.items()}
    found = []
    for words, columns in KNOWS.items():
        guesses = [alone[other][1] for other, fewer in KNOWS.items() if set(fewer) <= set(columns)]
        found.append(_row(words, alone[words][0], max(guesses, key=lambda right: sum(right.values()))))
    sizes: dict[str, list[float]] = {}
    for told, riders in tables:
        for rider, (_, place) in riders.items():
            sizes.setdefault(rider, []).append(told[place]["n_riders"])
    alike = {rider: min(several) for rider, several in sizes.items()}
    return [*found, _row("the row itself", alike, {rider: 1 / size for rider, size in alike.items()})]


def _row(words: str, alike: dict[str, float], right: dict[str, float]) -> dict[str, Any]:
    return {
        "attacker": words,
        "knows": words,
        "riders": len(alike),
        "share_below_ten": sum(n < 10 for n in alike.values()) / len(alike),
        "fewest_alike": min(alike.values()),
        "mean_right_guesses": sum(right.values()) / len(right),
        "worst": max(*right.values(), 1 / min(alike.values())),
    }


def _attack(tables: Tables, columns: tuple[str, ...]) -> tuple[dict[str, float], dict[str, float]]:
    """Rider by rider: the rows in the order in which they come near to what is known of the rider."""
    alike: dict[str, float] = {}
    right: dict[str, float] = {}
    for told, riders in tables:
        known = [name for name in columns if name in told[0] and np.std([row[name] for row in told]) > 0]
        cells = np.array([[row[name] for name in known] for row in told]).reshape(len(told), len(known))
        n = np.array([row["n_riders"] for row in told])
        spread = cells.std(axis=0)
        for rider, (own, place) in riders.items():
            far = ((cells - np.array([own[name] for name in known])) ** 2 / spread**2).sum(axis=1)
            as_near = n[far <= far[place] + 1e-7].sum()
            nearest = far <= far.min() + 1e-7
            alike[rider] = min(alike.get(rider, as_near), as_near)
            right[rider] = max(right.get(rider, 0.0), 1 / n[nearest].sum() if nearest[place] else 0.0)
    return alike, right


def members(folder: Path, path: Path) -> Tables:
    """The rows of the files with the riders who stand in them, held against what the warehouse holds."""
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    selection = parse_selection({word: described["selection"][word] for word in ("from", "to")})
    assert selection.date_from is not None and selection.date_to is not None
    few = described["anonymity"]["smallest_group"]
    warehouse = open_reading(path)
    tables: Tables = []
    for table in TABLES:
        known = known_of(warehouse, table, selection, Settings())
        truth = _true_riders(warehouse, selection.date_from, selection.date_to)
        for side in ("left", "right") if table.by_side else (None,):
            if side:
                truth = _true_knees(warehouse, side, selection.date_from, selection.date_to)
            told = [
                {name: float(cell or "nan") for name, cell in row.items() if name != "side"}
                for row in rows_of(folder / f"{table.name}.csv")
                if row.get("side") == side
            ]
            one = grouped(table, side, known, few)
            places = dict(zip(one.rider_ids, one.row_of.tolist(), strict=True))
            riders = {rider: (truth[rider], place) for rider, place in places.items()}
            _require_truth(told, riders)
            tables.append((told, riders))
    warehouse.close()
    return tables


def _require_truth(told: list[dict[str, float]], riders: dict[str, tuple[dict[str, float], int]]) -> None:
    """Every row is of the riders who are said to stand in it: as many, each kind within a rider, each mean within its step."""
    ends = {}
    for name in told[0]:
        if name != "n_riders":
            ordered = sorted(values[name] for values, _ in riders.values())
            last = min(10, len(ordered) // 20) - 1
            ends[name] = (ordered[last], ordered[-1 - last]) if last > 0 else (ordered[0], ordered[-1])
    for place, row in enumerate(told):
        own = [values for values, of in riders.values() if of == place]
        assert len(own) == row["n_riders"], (len(own), row["n_riders"])
        for name, cell in row.items():
            if name.startswith("share"):
                assert abs(cell * len(own) - sum(values[name] for values in own)) <= 1.01, name
            elif name != "n_riders":
                # Half a step, and of a scale what its ends are drawn in by.
                spread = np.std([values[name] for values, _ in riders.values()])
                allowed = 0.06 + 0.05 * spread + (5 / len(own) if name in COMFORT else 0)
                inside = (-np.inf, np.inf) if name in COMFORT else ends[name]
                assert abs(cell - np.mean([np.clip(values[name], *inside) for values in own])) <= allowed, name


def _true_riders(warehouse: Warehouse, first: date, last: date) -> dict[str, dict[str, float]]:
    found = warehouse.rows(
        "SELECT s.rider_id, r.sex, r.riding, year(s.session_date) - r.birth_year AS age, s.session_id FROM core.fit_sessions s "
        "JOIN core.riders r USING (rider_id) WHERE s.session_date BETWEEN $first AND $last "
        f"AND {FIRST_FIT}",
        {"first": first, "last": last},
    )
    comfort = {
        row["session_id"]: row
        for row in warehouse.rows(
            "SELECT session_id, avg(score) FILTER (capture_no = first) AS arrival, "
            "avg(score) FILTER (capture_no = last) AS departure FROM core.rider_ratings "
            "JOIN (SELECT session_id, min(capture_no) AS first, max(capture_no) AS last "
            "FROM core.knee_captures GROUP BY 1) USING (session_id) WHERE topic = 'comfort' GROUP BY 1"
        )
    }
    follow = {
        row["session_id"]: float(row["came"])
        for row in warehouse.rows("SELECT session_id, bool_or(state = 'attended') AS came FROM core.follow_ups GROUP BY 1")
    }
    riders = {}
    for row in found:
        said = comfort.get(row["session_id"], {})
        age = row["age"] if row["age"] is not None else -1
        bands = {"under_30": 0 <= age < 30, "30_to_44": 30 <= age < 45, "45_to_59": 45 <= age < 60, "60_and_over": age >= 60}
        riders[row["rider_id"]] = {
            **{f"share_{band}": float(is_in) for band, is_in in bands.items()},
            **{f"share_{sex}": float(row["sex"] == sex) for sex in ("female", "male")},
            **{name: float(row["riding"] == name.removeprefix("share_")) for name in WHO[6:]},
            "comfort_arrival": said.get("arrival", float("nan")),
            "comfort_departure": said.get("departure", float("nan")),
            "share_booked": float(row["session_id"] in follow),
            "share_attended": follow.get(row["session_id"], 0.0),
        }
    return riders


def _true_knees(warehouse: Warehouse, side: str, first: date, last: date) -> dict[str, dict[str, float]]:
    """By rider: the knee's first and last capture of the first fit, from the tables as they were loaded."""
    limits = Settings().forefoot
    found = warehouse.rows(
        "SELECT s.rider_id, c.capture_no, c.knee_tilt_deg, c.knee_sway_mm, c.knee_offset_mm, f.insole_level, f.stance_mm, "
        "f.shims_added + coalesce(f.shims_built_in, 0) AS shims, e.arch_height, e.forefoot_angle_deg "
        "FROM core.fit_sessions s JOIN core.knee_captures c USING (session_id) "
        "JOIN core.foot_setups f ON f.session_id = c.session_id AND f.capture_no = c.capture_no AND f.side = c.side "
        "LEFT JOIN core.foot_exams e ON e.session_id = c.session_id AND e.side = c.side "
        "WHERE c.side = $side AND s.session_date BETWEEN $first AND $last "
        f"AND {FIRST_FIT} ORDER BY c.capture_no",
        {"side": side, "first": first, "last": last},
    )
    riders: dict[str, dict[str, float]] = {}
    for row in found:
        angle = row["forefoot_angle_deg"]
        kind = None if angle is None else _forefoot(angle, limits.neutral_within_deg, limits.marked_above_deg)
        own = riders.setdefault(row["rider_id"], {})
        own |= {f"share_arch_{height}": float(row["arch_height"] == height) for height in ("low", "medium", "high")}
        own |= {name: float(kind == name.removeprefix("share_forefoot_")) for name in EXAM[3:]}
        for moment in ("arrival", "departure") if "shims_arrival" not in own else ("departure",):
            levels = ("low", "medium", "high", "custom")
            own |= {f"share_insole_{level}_{moment}": float(row["insole_level"] == level) for level in levels}
            own |= {f"shims_{moment}": float(row["shims"]), f"stance_{moment}_mm": float(row["stance_mm"])}
            for name, unit in (("tilt", "deg"), ("sway", "mm"), ("offset", "mm")):
                value = row[f"knee_{name}_{unit}"]
                own[f"{name}_{moment}_{unit}"] = float("nan") if value is None else float(value)
    return riders


def _forefoot(angle: float, neutral: float, marked: float) -> str:
    if angle < -neutral:
        return "valgus"
    return "neutral" if angle <= neutral else "mild_varus" if angle <= marked else "marked_varus"
