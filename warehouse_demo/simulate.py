"""Writes the demo's exports from its truth, byte for byte the same each time: `python -m warehouse_demo.simulate`."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from shared.catalogue import catalogue
from warehouse_demo import EXPORTS, desk
from warehouse_demo.drawn import drawn_orders
from warehouse_demo.export_files import table_frame, write_exports
from warehouse_demo.fits import Fit, Session
from warehouse_demo.riders import SIDES, Rider, Setup, make_riders
from warehouse_demo.said_later import change_ratings
from warehouse_demo.soil import soil
from warehouse_demo.studio import FITTER_OF, FITTERS, choose_fitter, first_days, is_busy, open_day
from warehouse_demo.truth import Truth, load_truth

__all__ = ["FITTERS", "main", "simulate", "write_exports"]

_BIKES = {
    "road": "road",
    "gravel": "gravel",
    "mountain": "mountain",
    "triathlon": "time trial",
    "commuting": "city",
    "indoor": "road",
}
_REFITS_PER_RETURN = 0.12
_ROOM_BY_LEVEL = {"none": 0.98, "low": 0.97, "medium": 0.94, "high": 0.88, "custom": 0.93}
Rows = dict[str, list[dict[str, Any]]]


def simulate(truth: Truth, seed: int, riders: int | None = None) -> dict[str, pd.DataFrame]:
    """The clean contract tables of the studios: all rows valid, text cells, columns as in the catalogue.

    riders: how many, or as many as the truth says. The same truth, seed and count give the same tables.
    """
    rng = np.random.default_rng(seed)
    people = make_riders(truth, rng, truth.scale.riders if riders is None else riders)
    rows: Rows = {name: [] for name in catalogue()}
    rows["fitters"] = [vars(fitter) for fitter in FITTERS]
    for person, day in zip(people, first_days(truth.scale, rng, len(people)), strict=True):
        rows["riders"].append(vars(person))
        _visits_of(truth, rng, rows, person, day)
    _number_by_day(rows, "fit_sessions", "session_id", lambda row: str(row["session_date"]), "S")
    _number_by_day(rows, "follow_ups", "follow_up_id", lambda row: str(row["booked_on"]), "B")
    tables = {name: table_frame(name, table_rows) for name, table_rows in rows.items()}
    tables["follow_ups"]["change_rating"] = change_ratings(truth, seed, tables)
    if riders is None:
        tables["drawn_orders"] = table_frame("drawn_orders", drawn_orders(tables))
    return tables


def main() -> None:
    """Simulates, adds the dirty rows, writes."""
    truth = load_truth()
    tables, _ = soil(simulate(truth, truth.scale.seed))
    write_exports(tables, EXPORTS)


def _number_by_day(rows: Rows, table: str, key: str, day_of: Callable[[dict[str, Any]], str], letter: str) -> None:
    """Gives the rows of a table ids in the order of their days, and every table's rows that order."""
    rows[table].sort(key=day_of)
    new_id = {row[key]: f"{letter}{number:05d}" for number, row in enumerate(rows[table], start=1)}
    for table_rows in rows.values():
        if table_rows and key in table_rows[0]:
            for row in table_rows:
                row[key] = new_id[row[key]]
                if key == "session_id" and row.get("returned_session_id"):
                    row["returned_session_id"] = new_id[row["returned_session_id"]]
            table_rows.sort(key=lambda row: str(row[key]))


def _visits_of(truth: Truth, rng: np.random.Generator, rows: Rows, person: Rider, day: date) -> None:
    """The first visit, then follow-ups and refits while they last."""
    kind, fitter = "first", choose_fitter(rng, person, day)
    while True:
        session_id, booked = _visit(truth, rng, rows, person, day, kind, fitter)
        has_practice = day >= truth.scale.change_day
        if booked and booked["state"] == "attended":
            answers = desk.return_answers(rng, has_practice)
            comes_to_fit = rng.random() < truth.scale.repeat_visits
            row = {"follow_up_id": f"B{len(rows['follow_ups']) + 1:05d}", "session_id": session_id, **booked, **answers}
            rows["follow_ups"].append(row)
            if comes_to_fit:
                desk.keep_setup(truth, person, answers["setup_kept"])
                row["returned_session_id"] = f"S{len(rows['fit_sessions']) + 1:05d}"
                day, kind = booked["attended_on"], "follow_up"
                continue
        elif booked:
            rows["follow_ups"].append(
                {"follow_up_id": f"B{len(rows['follow_ups']) + 1:05d}", "session_id": session_id, **booked}
            )
        day = open_day(day + timedelta(days=int(rng.integers(120, 420))))
        kind = "refit"
        if rng.random() >= _REFITS_PER_RETURN * truth.scale.repeat_visits or day > truth.scale.last_day:
            return
        desk.keep_setup(truth, person, str(rng.choice(["all", "some", "none"], p=[0.5, 0.3, 0.2])))


def _visit(
    truth: Truth, rng: np.random.Generator, rows: Rows, person: Rider, day: date, kind: str, fitter: str
) -> tuple[str, dict[str, Any] | None]:
    session_id = f"S{len(rows['fit_sessions']) + 1:05d}"
    has_practice = day >= truth.scale.change_day
    rows["fit_sessions"].append(_session_row(rng, person, day, kind, fitter, session_id))
    if rng.random() < truth.practice.exam_complete[has_practice]:
        rows["foot_exams"] += [
            {"session_id": session_id, "side": side, **_exam(rng, person, index)} for index, side in enumerate(SIDES)
        ]
    fit = Session(truth, rng, person, has_practice=has_practice, is_busy=is_busy(day), is_follow_up=kind == "follow_up").run()
    _record(rng, rows, fit, session_id, day)
    skill = FITTER_OF[fitter].skill
    said = desk.ratings(truth, rng, person, fit, skill, has_practice)
    rows["rider_ratings"] += [{"session_id": session_id, **row} for row in said]
    rows["bike_measures"] += [{"session_id": session_id, **row} for row in desk.bicycle(truth, rng, person, has_practice)]
    # A follow-up visit seldom asks for another one.
    if kind == "follow_up" and rng.random() < 0.95:
        return session_id, None
    return session_id, desk.booking(truth, rng, day, has_practice)


def _session_row(rng: np.random.Generator, person: Rider, day: date, kind: str, fitter: str, session_id: str) -> dict[str, Any]:
    return {
        "session_id": session_id,
        "rider_id": person.rider_id,
        "fitter_id": fitter,
        "studio_id": FITTER_OF[fitter].studio_id,
        "session_date": day.isoformat(),
        "visit_kind": kind,
        "bike_kind": _BIKES[person.riding],
        "sit_bone_width_mm": person.sit_bone_width_mm if rng.random() < 0.9 else None,
        "saddle_width_mm": person.bike.saddle_width_mm,
        "saddle_condition": person.bike.saddle_condition,
        "notes": desk.note(rng),
    }


def _exam(rng: np.random.Generator, person: Rider, index: int) -> dict[str, Any]:
    knee = person.knees[SIDES[index]]
    return {
        "arch_height": knee.arch_height,
        "arch_collapse": knee.arch_collapse if rng.random() < 0.96 else None,
        "heel_posture": knee.heel_posture,
        "forefoot_angle_deg": knee.forefoot_angle_deg,
        "squat_knee_path": knee.squat_knee_path,
        "hip_flexion_deg": person.hip_flexion_deg[index],
        "foot_posture_index": knee.foot_posture_index,
    }


def _record(rng: np.random.Generator, rows: Rows, fit: Fit, session_id: str, day: date) -> None:
    start = datetime(day.year, day.month, day.day, int(rng.integers(9, 17)), int(rng.integers(0, 60)))
    for index in range(fit.n_captures):
        at = {"session_id": session_id, "capture_no": index + 1}
        how = {
            "crank_cycles": int(rng.integers(24, 41)),
            "cadence_rpm": round(float(rng.normal(86, 5)), 0),
            "power_w": round(float(rng.normal(155, 25)), 0),
            "captured_at": (start + timedelta(minutes=11 * index + int(rng.integers(0, 6)))).isoformat(),
        }
        for side in SIDES:
            setup = fit.setups[index][side]
            rows["foot_setups"].append({**at, "side": side, **vars(setup), "foot_room_ok": _has_room(rng, setup)})
            seen = {name: _rig(rng, name, value) for name, value in fit.measured[index][side].items()}
            # Now and then a marker is lost: a value, or the whole side.
            if rng.random() < 0.994 and any(value is not None for value in seen.values()):
                rows["knee_captures"].append({**at, "side": side, **seen, **how})


def _has_room(rng: np.random.Generator, setup: Setup) -> bool:
    """A thick insole and shims in the shoe take room from the foot."""
    return bool(rng.random() < _ROOM_BY_LEVEL[setup.insole_level] - (0.05 if setup.shim_place == "in_shoe" else 0.0))


def _rig(rng: np.random.Generator, name: str, value: float) -> float | None:
    """The value as the capture rig writes it."""
    return None if rng.random() < 0.004 else round(value, 2 if name.endswith("_deg") else 1)


if __name__ == "__main__":
    main()
