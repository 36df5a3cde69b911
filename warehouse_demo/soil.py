"""A few dirty rows of every kind that the contract rejects, so that the demo's list of rejects has something true to show.

Of riders that nobody fitted a cell is at fault, and the rest of the row is kept; no dirty row changes a figure.
"""

from dataclasses import dataclass

import pandas as pd

from shared.catalogue import catalogue

Cells = dict[str, str | None]


@dataclass(frozen=True)
class Spot:
    """One dirty row: its table, the one rule it breaks (or `waiting`, for a row whose session never came), its cells.

    `is_stored`: only a cell is rejected that might as well be empty.
    """

    table: str
    rule: str
    cells: Cells
    is_stored: bool = False


def soil(tables: dict[str, pd.DataFrame]) -> tuple[dict[str, pd.DataFrame], list[Spot]]:
    """The tables with dirty rows added at their ends, and the list of them; the clean rows stay as they are."""
    session = str(tables["fit_sessions"]["session_id"].iloc[-1])
    rider = str(tables["riders"]["rider_id"].iloc[0])
    spots = [*_riders(), *_sessions(rider), *_exams(session), *_captures(session), *_setups(session), *_desk(session)]
    dirty = {}
    for name, frame in tables.items():
        added = pd.DataFrame([spot.cells for spot in spots if spot.table == name], columns=frame.columns, dtype=object)
        dirty[name] = pd.concat([frame, added], ignore_index=True) if len(added) else frame
    assert {spot.table for spot in spots} <= set(catalogue())
    return dirty, spots


def _riders() -> list[Spot]:
    def rider(number: int, rule: str, **cells: str | None) -> Spot:
        own = {"rider_id": f"R9{number:03d}", "birth_year": "1985", "sex": "female", **cells}
        return Spot("riders", rule, own, is_stored=rule != "duplicate_key")

    return [
        rider(1, "range", height_cm="17.2"),
        rider(2, "range", height_cm="1720"),
        rider(3, "range", mass_kg="7.1"),
        rider(4, "range", birth_year="1885"),
        rider(5, "whole_number", birth_year="1985.5"),
        rider(6, "code", sex="unknown"),
        rider(7, "number", mass_kg="seventy"),
        rider(8, "duplicate_key", birth_year="1990"),
        rider(8, "duplicate_key", birth_year="1991"),
        Spot("riders", "required", {"rider_id": None, "birth_year": "1979", "sex": "male"}),
    ]


def _sessions(rider: str) -> list[Spot]:
    def session(number: int, rule: str, **cells: str | None) -> Spot:
        usual = {
            "rider_id": rider,
            "fitter_id": "F1",
            "studio_id": "quayside",
            "session_date": "2025-03-04",
            "visit_kind": "refit",
        }
        return Spot("fit_sessions", rule, {"session_id": f"S9{number:04d}", **usual, **cells})

    return [
        session(1, "orphan", rider_id="R8888"),
        session(2, "orphan", fitter_id="F88"),
        session(3, "date", session_date="2062-03-04"),
        session(4, "date", session_date="1925-03-04"),
        session(5, "date", session_date="04.03.2025"),
        session(6, "code", visit_kind="second"),
        session(7, "required", fitter_id=None),
    ]


def _exams(session: str) -> list[Spot]:
    exam = {"session_id": session, "side": "right", "arch_height": "medium"}
    return [
        Spot("foot_exams", "code", {**exam, "side": "both"}),
        Spot("foot_exams", "required", {**exam, "side": None}),
        Spot("foot_exams", "required", {**exam, "session_id": None}),
    ]


def _captures(session: str) -> list[Spot]:
    def capture(number: int, rule: str, **cells: str | None) -> Spot:
        at = {"session_id": session, "capture_no": str(number), "side": "left", "captured_at": "2025-03-04T10:00:00"}
        return Spot("knee_captures", rule, {**at, "knee_tilt_deg": "1.5", **cells})

    return [
        capture(71, "range", knee_tilt_deg="45"),
        capture(72, "range", knee_tilt_deg="-31.5"),
        capture(73, "range", knee_tilt_deg=None, knee_sway_mm="-4"),
        capture(74, "range", knee_tilt_deg=None, knee_sway_mm="412"),
        capture(75, "range", knee_tilt_deg=None, knee_offset_mm="180"),
        capture(76, "number", knee_tilt_deg="n/a"),
        capture(77, "number", knee_tilt_deg=None, knee_sway_mm="NaN"),
        capture(78, "number", knee_tilt_deg=None, knee_offset_mm="inf"),
        capture(79, "no_outcome", knee_tilt_deg=None),
        capture(0, "range"),
        capture(120, "range"),
        capture(80, "code", side="both"),
        capture(81, "whole_number", capture_no="2.5"),
        capture(82, "required", side=None),
        *(capture(1, "waiting", session_id="S80001", side=side) for side in ("left", "right")),
    ]


def _setups(session: str) -> list[Spot]:
    def setup(number: int, rule: str, **cells: str | None) -> Spot:
        usual = {"insole_level": "none", "shims_added": "0", "shims_built_in": "0", "stance_mm": "0"}
        return Spot("foot_setups", rule, {"session_id": session, "capture_no": str(number), "side": "left", **usual, **cells})

    return [
        setup(71, "range", shims_added="9"),
        setup(72, "range", shims_built_in="-7"),
        setup(73, "whole_number", shims_added="1.5"),
        setup(74, "range", stance_mm="90"),
        setup(75, "code", insole_level="extra high"),
        setup(76, "required", stance_mm=None),
        setup(77, "code", side="both"),
    ]


def _desk(session: str) -> list[Spot]:
    def follow_up(number: int, rule: str, **cells: str | None) -> Spot:
        usual = {"session_id": session, "booked_on": "2025-03-04", "due_on": "2025-03-18", "state": "attended"}
        return Spot("follow_ups", rule, {"follow_up_id": f"B9{number:04d}", **usual, **cells})

    rating = {"session_id": session, "capture_no": "1", "topic": "comfort", "body_part": "seat"}
    measure = {"session_id": session, "moment": "arrival", "measure": "stem_length"}
    return [
        follow_up(1, "attended_date"),
        follow_up(2, "booked_order", attended_on="2025-02-18"),
        follow_up(3, "date", attended_on="2025-03-18", due_on="18.03.2025"),
        follow_up(4, "waiting", attended_on="2025-03-18", returned_session_id="S80001"),
        Spot("rider_ratings", "range", {**rating, "score": "12"}),
        Spot("rider_ratings", "number", {**rating, "body_part": "hand", "score": "good"}),
        Spot("bike_measures", "number", {**measure, "value_mm": "ninety"}),
    ]
