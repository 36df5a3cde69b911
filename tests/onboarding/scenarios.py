"""Four invented studios that come with files of their own: what they export, what they know of it, and the truth behind it.

The truth is a simulated studio in the contract's form, with the columns that the export carries. Each scenario writes the same
rows as its studio would have them: other headings, words, units, signs, dates and files.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd

from tests.onboarding import clock
from tests.onboarding.sheets import write_book
from tests.onboarding.studios import Tables, comma, day, save
from warehouse_demo.simulate import simulate
from warehouse_demo.truth import load_truth

_RIDERS: Final = 40


@dataclass(frozen=True)
class Scenario:
    """One studio. write: makes its folder from the truth. knows: what its reader answers, by the words a question begins with
    or its key. columns: of each table of the truth, those that the export carries. proposes: what the assistant must find by
    itself and ask, by the key of its question."""

    name: str
    about: str
    columns: Mapping[str, tuple[str, ...]]
    write: Callable[[Tables, Path], None]
    knows: Mapping[str, str]
    proposes: Mapping[str, str] = field(default_factory=dict)

    def truth(self) -> Tables:
        tables = simulate(load_truth(), seed=11, riders=_RIDERS)
        kept = {
            name: tables[name][list(columns)].astype(object).fillna("").astype(str) for name, columns in self.columns.items()
        }
        if "fitters" in kept:
            # No studio here lists its fitters: they are known from the visits, by their ids.
            known = kept["fitters"][kept["fitters"]["fitter_id"].isin(kept["fit_sessions"]["fitter_id"])]
            kept["fitters"] = known.assign(fitter_name=known["fitter_id"])
        if "capture_no" in self.columns["knee_captures"] and self.name == "workbook":
            kept["knee_captures"] = _ends(kept["knee_captures"])
        if self.name in {"rig", "clock"}:
            # A log tells of the feet whose knees were recorded.
            keys = ["session_id", "capture_no", "side"]
            kept["foot_setups"] = kept["foot_setups"].merge(kept["knee_captures"][keys])
        return kept


def _ends(captures: pd.DataFrame) -> pd.DataFrame:
    """The first and the last capture of each visit, as 1 and 2; of a single one the first."""
    number = captures["capture_no"].astype(int)
    by_visit = number.groupby(captures["session_id"])
    is_first, is_last = number == by_visit.transform("min"), number == by_visit.transform("max")
    kept = captures[is_first | is_last].copy()
    kept["capture_no"] = is_first[kept.index].map({True: "1", False: "2"})
    return kept


def _scaled(cell: str, factor: float, digits: int) -> str:
    return "" if cell in ("", "nan") else f"{float(cell) * factor:.{digits}f}"


def _wide(table: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Left and right of each key in one row, columns as (name, side)."""
    return table.pivot(index=keys, columns="side").fillna("").sort_index()


# --- A French export: semicolons, decimal commas, left and right as columns, sway in centimetres, inward counted as plus ------
_KIND = {"first": "première", "follow_up": "suivi", "refit": "reprise"}
_ARCH = {"low": "plat", "medium": "moyen", "high": "creux", "": "", "nan": ""}
_INSOLE = {"none": "aucune", "low": "basse", "medium": "moyenne", "high": "haute", "custom": "sur mesure"}
_STATE = {"open": "ouvert", "attended": "venu", "cancelled": "annulé", "missed": "manqué"}


def _french(truth: Tables, folder: Path) -> None:
    def keep(name: str, rows: list[dict[str, Any]]) -> None:
        save(rows, folder / name, sep=";", encoding="cp1252")

    keep("clients.csv", [
        {"Client": r.rider_id, "Année de naissance": r.birth_year, "Taille (cm)": r.height_cm, "Poids (kg)": comma(r.mass_kg)}
        for r in truth["riders"].itertuples()
    ])  # fmt: skip
    keep("seances.csv", [
        {"Séance": r.session_id, "Client": r.rider_id, "Technicien": r.fitter_id, "Magasin": r.studio_id,
         "Date": day(r.session_date), "Motif": _KIND[r.visit_kind]}
        for r in truth["fit_sessions"].itertuples()
    ])  # fmt: skip
    wide = _wide(truth["knee_captures"], ["session_id", "capture_no"])
    keep("mesures.csv", [
        {"Séance": session, "Essai": no}
        | {f"Inclinaison genou {word} (°)": comma(_scaled(row["knee_tilt_deg", side], -1, 3)) for side, word in _SIDES}
        | {f"Oscillation {word} (cm)": comma(_scaled(row["knee_sway_mm", side], 0.1, 4)) for side, word in _SIDES}
        for (session, no), row in wide.iterrows()
    ])  # fmt: skip
    wide = _wide(truth["foot_exams"], ["session_id"])
    keep("examens.csv", [
        {"Séance": session}
        | {f"Voûte {word}": _ARCH[row["arch_height", side]] for side, word in _SIDES}
        | {f"Avant-pied {word} (°)": comma(row["forefoot_angle_deg", side]) for side, word in _SIDES}
        for session, row in wide.iterrows()
    ])  # fmt: skip
    wide = _wide(truth["foot_setups"], ["session_id", "capture_no"])
    keep("reglages.csv", [
        {"Séance": session, "Essai": no}
        | {f"Semelle {word}": _INSOLE[row["insole_level", side]] for side, word in _SIDES}
        | {f"Cales {word}": row["shims_added", side] for side, word in _SIDES}
        | {f"Largeur d'appui {word} (mm)": comma(row["stance_mm", side]) for side, word in _SIDES}
        for (session, no), row in wide.iterrows()
    ])  # fmt: skip
    keep("suivis.csv", [
        {"Suivi": r.follow_up_id, "Séance": r.session_id, "Réservé le": day(r.booked_on), "Prévu le": day(r.due_on),
         "Statut": _STATE[r.state], "Venu le": day(r.attended_on)}
        for r in truth["follow_ups"].itertuples()
    ])  # fmt: skip


_SIDES: Final = (("left", "gauche"), ("right", "droite"))
_VISITS: Final = ("session_id", "rider_id", "fitter_id", "studio_id", "session_date", "visit_kind")

FRENCH = Scenario(
    "french",
    "CSV with French headings, left and right side by side, decimal commas, sway in cm, inward counted as plus",
    {
        "riders": ("rider_id", "birth_year", "height_cm", "mass_kg"),
        "fitters": ("fitter_id",),
        "fit_sessions": _VISITS,
        "foot_exams": ("session_id", "side", "arch_height", "forefoot_angle_deg"),
        "knee_captures": ("session_id", "capture_no", "side", "knee_tilt_deg", "knee_sway_mm"),
        "foot_setups": ("session_id", "capture_no", "side", "insole_level", "shims_added", "stance_mm"),
        "follow_ups": ("follow_up_id", "session_id", "booked_on", "due_on", "state", "attended_on"),
    },
    _french,
    {
        ".sides": "yes",
        ".dates": "%d/%m/%Y",
        "knee_captures.knee_tilt_deg.sign": "flip",
        "knee_captures.knee_tilt_deg.unit": "deg",
        "knee_captures.knee_sway_mm.unit": "cm",
        ".sign": "keep",
        "foot_exams.forefoot_angle_deg.unit": "deg",
        "foot_setups.stance_mm.unit": "mm",
        "riders.height_cm.unit": "cm",
        "riders.mass_kg.unit": "kg",
    },
)


# --- A rig: a file of each visit named by it, a list of visits, a log of changes and a list of bookings ----------------
def _rig(truth: Tables, folder: Path) -> None:
    days = dict(zip(truth["fit_sessions"]["session_id"], truth["fit_sessions"]["session_date"], strict=True))
    for session, rows in truth["knee_captures"].groupby("session_id"):
        save([
            {"Take": r.capture_no, "Leg": r.side[0].upper(), "Knee tilt [deg]": r.knee_tilt_deg,
             "Knee sway [mm]": r.knee_sway_mm}
            for r in rows.itertuples()
        ], folder / f"{session}_{days[session]}.csv")  # fmt: skip
    save([
        {"Visit": r.session_id, "Client": r.rider_id, "Staff": r.fitter_id, "Shop": r.studio_id, "Day": r.session_date,
         "Reason": {"first": "new", "follow_up": "check", "refit": "again"}[r.visit_kind]}
        for r in truth["fit_sessions"].itertuples()
    ], folder / "visits.csv")  # fmt: skip
    save(_changes(truth["foot_setups"]), folder / "changes.csv")
    save([
        {"Booking": r.follow_up_id, "Visit": r.session_id, "Booked on": r.booked_on, "Due": r.due_on,
         "Status": {"open": "open", "attended": "came", "cancelled": "cancelled", "missed": "missed"}[r.state],
         "Came on": "" if r.attended_on in ("nan", "NaT") else r.attended_on}
        for r in truth["follow_ups"].itertuples()
    ], folder / "bookings.csv")  # fmt: skip


def _changes(setups: pd.DataFrame) -> list[dict[str, Any]]:
    """What was changed at which take of which foot: a row where a setup is another one than that of the take before."""
    changes = []
    for (session, side), rows in setups.groupby(["session_id", "side"]):
        before = None
        for r in rows.sort_values("capture_no", key=lambda no: no.astype(int)).itertuples():
            now = (r.insole_level, r.shims_added, r.stance_mm)
            if now != before:
                changes.append({
                    "Visit": session, "From take": r.capture_no, "Leg": side[0].upper(), "Insole": r.insole_level,
                    "Wedges": r.shims_added, "Stance [mm]": r.stance_mm,
                })  # fmt: skip
            before = now
    return changes


RIG = Scenario(
    "rig",
    "a capture rig's file of each visit, named by it; a list of visits, a log of changes by take, a list of bookings",
    {
        "riders": ("rider_id",),
        "fitters": ("fitter_id",),
        "fit_sessions": _VISITS,
        "knee_captures": ("session_id", "capture_no", "side", "knee_tilt_deg", "knee_sway_mm"),
        "foot_setups": ("session_id", "capture_no", "side", "insole_level", "shims_added", "stance_mm"),
        "follow_ups": ("follow_up_id", "session_id", "booked_on", "due_on", "state", "attended_on"),
    },
    _rig,
    {
        ".sides": "yes",
        "knee_captures.knee_tilt_deg.unit": "deg",
        "knee_captures.knee_sway_mm.unit": "mm",
        "foot_setups.stance_mm.unit": "mm",
        ".sign": "keep",
        "foot_setups.log": "yes",
    },
    proposes={"knee_captures.session_id": "@file part 1", "foot_setups.log": "yes"},
)


# --- A workbook kept by hand: arrival and departure, tilt in radians, sway in inches, mass in pounds -------------------------
def _workbook(truth: Tables, folder: Path) -> None:
    title = ["Fit book of the studio, one sheet a list"]
    riders = [["Rider no", "Born", "Height [in]", "Weight [lb]"]] + [
        [r.rider_id, r.birth_year, _scaled(r.height_cm, 1 / 2.54, 4), _scaled(r.mass_kg, 1 / 0.45359237, 4)]
        for r in truth["riders"].itertuples()
    ]
    visits = [["Visit", "Rider", "Fitted by", "Shop", "Visit date", "Why"]] + [
        [r.session_id, r.rider_id, r.fitter_id, r.studio_id, day(r.session_date),
         {"first": "New", "follow_up": "Check", "refit": "Again"}[r.visit_kind]]
        for r in truth["fit_sessions"].itertuples()
    ]  # fmt: skip
    knees = [title, ["Visit", "When", "Leg", "Tilt [rad]", "Sway [in]"]] + [
        [r.session_id, {"1": "before", "2": "after"}[r.capture_no], r.side.title(),
         _scaled(r.knee_tilt_deg, 0.017453292519943295, 6), _scaled(r.knee_sway_mm, 1 / 25.4, 5)]
        for r in truth["knee_captures"].itertuples()
    ]  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    write_book(folder / "fit book.xlsx", {"Riders": riders, "Visits": visits, "Knees": knees})


WORKBOOK = Scenario(
    "workbook",
    "an English workbook with arrival and departure alone, tilt in radians, sway in inches, bodies in inches and pounds",
    {
        "riders": ("rider_id", "birth_year", "height_cm", "mass_kg"),
        "fitters": ("fitter_id",),
        "fit_sessions": _VISITS,
        "knee_captures": ("session_id", "capture_no", "side", "knee_tilt_deg", "knee_sway_mm"),
    },
    _workbook,
    {
        ".sides": "yes",
        ".dates": "%d/%m/%Y",
        "riders.height_cm.unit": "in",
        "riders.mass_kg.unit": "lb",
        "knee_captures.knee_tilt_deg.unit": "rad",
        "knee_captures.knee_sway_mm.unit": "in",
        ".sign": "keep",
    },
)

CLOCK = Scenario(
    "clock",
    clock.ABOUT,
    {
        "riders": ("rider_id",),
        "fitters": ("fitter_id",),
        "fit_sessions": _VISITS,
        "foot_exams": ("session_id", "side", "arch_height", "forefoot_angle_deg"),
        "knee_captures": ("session_id", "capture_no", "side", "knee_tilt_deg", "knee_sway_mm", "captured_at"),
        "foot_setups": ("session_id", "capture_no", "side", "insole_level", "shims_added", "stance_mm"),
        "follow_ups": ("follow_up_id", "session_id", "booked_on", "due_on", "state", "attended_on"),
    },
    clock.write,
    {
        ".sides": "yes",
        ".sign": "keep",
        "foot_exams.headings": "yes",
        "foot_exams.forefoot_angle_deg.unit": "deg",
        "knee_captures.knee_tilt_deg.unit": "deg",
        "knee_captures.knee_sway_mm.unit": "mm",
        "foot_setups.stance_mm.unit": "mm",
        "foot_setups.log": "yes",
        "foot_setups.carry": "rider",
    },
    proposes={
        "knee_captures.session_id": "@file part 1",
        "knee_captures.sides": "yes",
        "follow_ups.session_id": "14 days",
        "foot_exams.headings": "yes",
        "foot_setups.log": "yes",
        "foot_setups.carry": "rider",
    },
)

SCENARIOS: Final = (FRENCH, RIG, WORKBOOK, CLOCK)
