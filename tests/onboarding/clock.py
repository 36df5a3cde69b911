"""A Spanish studio whose rig writes a file of each visit and side, with a time and no setup; changes, bookings and exams are
told by rider and time, and what stayed as it was is not written again."""

from pathlib import Path
from typing import Any, Final

from tests.onboarding.studios import Tables, comma, day, save

_KIND: Final = {"first": "primera", "follow_up": "seguimiento", "refit": "reajuste"}
_INSOLE: Final = {"none": "ninguna", "low": "baja", "medium": "media", "high": "alta", "custom": "a medida"}
_STATE: Final = {"open": "abierto", "attended": "asistido", "cancelled": "cancelado", "missed": "perdido"}
_ARCH: Final = {"low": "bajo", "medium": "medio", "high": "alto", "": "", "nan": ""}
_SETUP: Final = ("insole_level", "shims_added", "stance_mm")
ABOUT: Final = (
    "a Spanish rig: visit and side in names of files, changes by time, bookings by rider and date, two rows of headings"
)


def write(truth: Tables, folder: Path) -> None:
    """Makes the studio's folder."""
    visits = truth["fit_sessions"].set_index("session_id")
    for (session, side), rows in truth["knee_captures"].groupby(["session_id", "side"]):
        save([
            {"Captura": r.capture_no, "Grabado": moment(r.captured_at), "Inclinación rodilla (°)": comma(r.knee_tilt_deg),
             "Oscilación (mm)": comma(r.knee_sway_mm)}
            for r in rows.itertuples()
        ], folder / f"{session}_{'izq' if side == 'left' else 'der'}.csv", sep=";")  # fmt: skip
    save([
        {"Visita": r.session_id, "Cliente": r.rider_id, "Técnico": r.fitter_id, "Tienda": r.studio_id,
         "Fecha": day(r.session_date), "Motivo": _KIND[r.visit_kind]}
        for r in truth["fit_sessions"].itertuples()
    ], folder / "visitas.csv", sep=";")  # fmt: skip
    save(_changes(truth), folder / "ajustes.csv", sep=";")
    save([
        {"Reserva": r.follow_up_id, "Cliente": visits.at[r.session_id, "rider_id"], "Reservado": day(r.booked_on),
         "Previsto": day(r.due_on), "Estado": _STATE[r.state], "Asistió": day(r.attended_on)}
        for r in truth["follow_ups"].itertuples()
    ], folder / "reservas.csv", sep=";")  # fmt: skip
    _exams(truth, folder / "pies.csv")


def moment(cell: str) -> str:
    """2024-03-19T10:12:00 as 19/03/2024 10:12:00."""
    return f"{day(cell)} {cell[11:19]}"


def _changes(truth: Tables) -> list[dict[str, Any]]:
    """A row of each foot whose setup is another one than at the capture before it, at the rider's last visit too."""
    captures = truth["knee_captures"].set_index(["session_id", "capture_no", "side"])["captured_at"]
    visits = truth["fit_sessions"].set_index("session_id")
    setups = truth["foot_setups"].assign(
        day=truth["foot_setups"]["session_id"].map(visits["session_date"]), no=truth["foot_setups"]["capture_no"].astype(int)
    )
    changes, stood = [], dict[tuple[str, str], tuple[str, ...]]()
    for r in setups.sort_values(["day", "session_id", "no"]).itertuples():
        knee = visits.at[r.session_id, "rider_id"], r.side
        now = tuple(getattr(r, name) for name in _SETUP)
        if now != stood.get(knee):
            changes.append({
                "Visita": r.session_id, "Hora": moment(captures[r.session_id, r.capture_no, r.side]),
                "Pie": {"left": "izq", "right": "der"}[r.side], "Plantilla": _INSOLE[r.insole_level], "Cuñas": r.shims_added,
                "Anchura de apoyo (mm)": comma(r.stance_mm),
            })  # fmt: skip
        stood[knee] = now
    return changes


def _exams(truth: Tables, path: Path) -> None:
    """Two rows of headings: the side above what was looked at."""
    wide = truth["foot_exams"].pivot(index="session_id", columns="side").fillna("").sort_index()
    lines = ["Visita;Izquierda;;Derecha;", ";Arco;Antepié (°);Arco;Antepié (°)"]
    for session, row in wide.iterrows():
        cells = [
            part
            for side in ("left", "right")
            for part in (_ARCH[row["arch_height", side]], comma(row["forefoot_angle_deg", side]))
        ]
        lines.append(";".join([str(session), *cells]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
