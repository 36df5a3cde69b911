"""Writes the demo's exports from its truth, byte for byte the same each time: `python -m warehouse_demo.simulate`."""

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from shared.catalogue import catalogue
from shared.warehouse import write_parquet
from warehouse_demo import EXPORTS, desk
from warehouse_demo.fits import Fit, Session
from warehouse_demo.riders import SIDES, Rider, make_riders
from warehouse_demo.soil import soil
from warehouse_demo.truth import Truth, load_truth

# Invented fitters: share of the fits, what they add to the comfort gained, and the day their training ended.
FITTERS = (
    ("F1", "Fitter Alder", "2019-04-12", 0.24, 0.0),
    ("F2", "Fitter Birch", "2020-02-28", 0.22, 0.1),
    ("F3", "Fitter Cedar", "2021-09-17", 0.20, -0.2),
    ("F4", "Fitter Hazel", "2022-05-06", 0.15, 0.0),
    ("F5", "Fitter Rowan", "2023-11-03", 0.11, -0.1),
    ("F6", "Fitter Willow", "2026-07-01", 0.0, 0.0),  # new: few cases, all at the end
    ("F7", "Fitter Plover", "2017-06-23", 0.08, 0.4),  # takes the riders who are referred with hard cases
)
_NEW_FITTER_FROM = date(2026, 8, 3)
_STUDIO_OF = {
    "F1": "quayside",
    "F2": "quayside",
    "F3": "ropewalk",
    "F4": "ropewalk",
    "F5": "quayside",
    "F6": "ropewalk",
    "F7": "quayside",
}
_HARD_CASE_DEG = 3.6
# Relative number of first visits by month: busy in spring.
_SEASON = (0.7, 0.9, 1.5, 1.8, 1.6, 1.1, 0.9, 0.8, 0.9, 0.8, 0.7, 0.5)
_BUSY_MONTHS = (3, 4, 5)
_BIKES = {
    "road": "road",
    "gravel": "gravel",
    "mountain": "mountain",
    "triathlon": "time trial",
    "commuting": "city",
    "indoor": "road",
}
Rows = dict[str, list[dict[str, Any]]]


def simulate(truth: Truth, seed: int, riders: int | None = None) -> dict[str, pd.DataFrame]:
    """The clean contract tables of the studios: all rows valid, columns as in the catalogue."""
    rng = np.random.default_rng(seed)
    people = make_riders(truth, rng, riders or truth.scale.riders)
    rows: Rows = {name: [] for name in catalogue()}
    rows["fitters"] = [{"fitter_id": key, "fitter_name": name, "trained_on": day} for key, name, day, *_ in FITTERS]
    visits = [
        (day, index, person)
        for index, (day, person) in enumerate(zip(_first_days(truth, rng, len(people)), people, strict=True))
    ]
    for day, _, person in sorted(visits, key=lambda visit: visit[:2]):
        rows["riders"].append(_rider_row(person))
        _visits_of(truth, rng, rows, person, day)
    return {name: _frame(name, found) for name, found in rows.items()}


def write_exports(tables: dict[str, pd.DataFrame], folder: Path) -> None:
    """One CSV a table; the knee captures in two CSV files and one Parquet file by year."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in tables.items():
        if name == "knee_captures":
            year = frame["captured_at"].str[:4].fillna("2025")
            for part in ("2024", "2025"):
                _write_csv(frame[year == part], folder / f"{name}-{part}.csv")
            _write_captures_parquet(frame[year >= "2026"], folder / f"{name}-2026.parquet")
        else:
            _write_csv(frame, folder / f"{name}.csv")


def main() -> None:
    """Simulates, adds the dirty rows, writes."""
    truth = load_truth()
    tables, _ = soil(simulate(truth, truth.scale.seed))
    write_exports(tables, EXPORTS)


def _write_csv(frame: pd.DataFrame, path: Path) -> None:
    frame.to_csv(path, index=False, lineterminator="\n")


def _write_captures_parquet(frame: pd.DataFrame, path: Path) -> None:
    typed = frame.copy()
    for column in catalogue()["knee_captures"].columns:
        if column.type == "number":
            typed[column.name] = pd.to_numeric(typed[column.name])
        elif column.type == "integer":
            typed[column.name] = pd.to_numeric(typed[column.name]).astype("Int64")
    write_parquet(typed, path)


def _first_days(truth: Truth, rng: np.random.Generator, n: int) -> list[date]:
    first, last = truth.scale.first_day, truth.scale.last_day
    days = [first + timedelta(days=offset) for offset in range((last - first).days + 1)]
    open_days = [day for day in days if day.weekday() < 6]
    weights = np.array([_SEASON[day.month - 1] for day in open_days])
    picked = rng.choice(len(open_days), size=n, p=weights / weights.sum())
    return [open_days[int(index)] for index in picked]


def _rider_row(person: Rider) -> dict[str, Any]:
    return {name: getattr(person, name) for name in ("rider_id", "birth_year", "sex", "height_cm", "mass_kg", "riding")}


def _visits_of(truth: Truth, rng: np.random.Generator, rows: Rows, person: Rider, day: date) -> None:
    """The first visit, then follow-ups and refits while they last."""
    kind, fitter = "first", _fitter(rng, person, day)
    for _ in range(6):
        session_id, booked = _visit(truth, rng, rows, person, day, kind, fitter)
        has_practice = day >= truth.scale.change_day
        if booked and booked["state"] == "attended":
            answers = desk.return_answers(rng, has_practice)
            comes_to_fit = rng.random() < 0.86 * min(1.0, truth.scale.repeat_visits / 0.62)
            row = {"follow_up_id": f"B{len(rows['follow_ups']) + 1:05d}", "session_id": session_id, **booked, **answers}
            rows["follow_ups"].append(row)
            if comes_to_fit:
                desk.keep_setup(rng, person, answers["setup_kept"])
                row["returned_session_id"] = f"S{len(rows['fit_sessions']) + 1:05d}"
                day, kind = booked["attended_on"], "follow_up"
                continue
        elif booked:
            rows["follow_ups"].append(
                {"follow_up_id": f"B{len(rows['follow_ups']) + 1:05d}", "session_id": session_id, **booked}
            )
        day += timedelta(days=int(rng.integers(120, 420)))
        kind = "refit"
        if rng.random() >= 0.10 * truth.scale.repeat_visits / 0.62 or day > truth.scale.last_day:
            return
        desk.keep_setup(rng, person, str(rng.choice(["all", "some", "none"], p=[0.5, 0.3, 0.2])))


def _fitter(rng: np.random.Generator, person: Rider, day: date) -> str:
    if day >= _NEW_FITTER_FROM and rng.random() < 0.28:
        return "F6"
    if person.severity > _HARD_CASE_DEG and rng.random() < 0.35:
        return "F7"
    regular = [fitter for fitter in FITTERS if fitter[3] > 0]
    shares = np.array([fitter[3] for fitter in regular])
    return regular[int(rng.choice(len(regular), p=shares / shares.sum()))][0]


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
    fit = Session(truth, rng, person, has_practice=has_practice, is_busy=day.month in _BUSY_MONTHS, is_follow_up=kind == "follow_up").run()
    _record(rng, rows, fit, session_id, day)
    skill = next(added for key, *_, added in FITTERS if key == fitter)
    rows["rider_ratings"] += [{"session_id": session_id, **row} for row in desk.ratings(truth, rng, fit, skill, has_practice)]
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
        "studio_id": _STUDIO_OF[fitter],
        "session_date": day.isoformat(),
        "visit_kind": kind,
        "bike_kind": _BIKES[person.riding],
        "sit_bone_width_mm": person.sit_bone_width_mm if rng.random() < 0.9 else None,
        "saddle_width_mm": float(rng.choice([130, 138, 143, 150, 155, 168])),
        "saddle_condition": str(rng.choice(["sound", "bent", "broken", "crooked"], p=[0.9, 0.04, 0.02, 0.04])),
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
            rows["foot_setups"].append({**at, "side": side, **vars(setup), "foot_room_ok": bool(rng.random() < 0.93)})
            seen = {name: _rig(rng, name, value) for name, value in fit.measured[index][side].items()}
            # Now and then a marker is lost: a value, or the whole side.
            if rng.random() < 0.994 and any(value is not None for value in seen.values()):
                rows["knee_captures"].append({**at, "side": side, **seen, **how})


def _rig(rng: np.random.Generator, name: str, value: float) -> float | None:
    """The value as the capture rig writes it."""
    return None if rng.random() < 0.004 else round(value, 2 if name.endswith("_deg") else 1)


def _frame(name: str, found: list[dict[str, Any]]) -> pd.DataFrame:
    """Rows as text cells in the catalogue's columns; empty cells are missing."""
    table = catalogue()[name]
    columns = {column.name: [_cell(row.get(column.name), column.type) for row in found] for column in table.columns}
    return pd.DataFrame(columns, dtype=object)


def _cell(value: Any, kind: str) -> str | None:
    if value is None:
        return None
    if kind == "boolean":
        return str(value).lower()
    if kind == "number":
        return f"{value:g}" if abs(value) < 1e5 else str(value)
    return str(value)


if __name__ == "__main__":
    main()
