"""From a foreign export that nobody has mapped to figures equal to the truth; and nothing loaded that nobody confirmed."""

import random
from datetime import date, timedelta
from pathlib import Path

from typer.testing import CliRunner

from dashboard.cli import app
from etl.load import load
from shared.warehouse import open_reading
from tests.spec.workbook import sheet_xml, write_workbook

TODAY = date(2026, 11, 25)
LEVELS = {"none": "keine", "low": "niedrig", "medium": "mittel", "high": "hoch"}
KINDS = {"first": "Erstbesuch", "follow_up": "Nachkontrolle"}

# What the studio knows of its own export.
ANSWERS = {
    "riders.height_cm.unit": "cm",
    "riders.mass_kg.unit": "kg",
    "fit_sessions.studio_id": "= quayside",
    "knee_captures.sides": "yes",
    "knee_captures.knee_tilt_deg.unit": "deg",
    "knee_captures.knee_tilt_deg.sign": "flip left",
    "knee_captures.knee_sway_mm.unit": "cm",
    "foot_setups.sides": "yes",
    "foot_setups.shims_added.sign": "keep",
    "foot_setups.stance_mm.unit": "mm",
    "foot_setups.stance_mm.sign": "keep",
}


class Truth:
    """Twelve visits with three captures each, as the contract would hold them."""

    def __init__(self) -> None:
        draw = random.Random(7)
        self.captures: list[dict[str, object]] = []
        self.visits = []
        for visit in range(1, 13):
            day = date(2026, 3, 9) + timedelta(days=7 * visit)
            self.visits.append(
                (
                    f"B{visit:03}",
                    f"K{visit % 5 + 1:02}",
                    "AM" if visit % 2 else "JB",
                    day,
                    "first" if visit < 6 else "follow_up",
                )
            )
            for capture in (1, 2, 3):
                both = draw.gauss(-2.5, 1.5)
                for side in ("left", "right"):
                    self.captures.append(
                        {
                            "session_id": f"B{visit:03}", "capture_no": capture, "side": side,
                            "knee_tilt_deg": round(both + draw.gauss(0, 0.5), 1), "knee_sway_mm": round(draw.uniform(8, 25), 0),
                            "shims_added": draw.choice([-1, 0, 1, 2]), "insole_level": draw.choice(list(LEVELS)),
                            "stance_mm": draw.choice([0.0, 2.5, 5.0]),
                        }
                    )  # fmt: skip

    def of(self, visit: str, capture: int, side: str) -> dict[str, object]:
        key = {"session_id": visit, "capture_no": capture, "side": side}
        return next(one for one in self.captures if key.items() <= one.items())


def comma(number: object, decimals: int = 1) -> str:
    return f"{number:.{decimals}f}".replace(".", ",")


def wedge(count: object) -> str:
    words = {0: "keine"}
    assert isinstance(count, int)
    return words.get(count) or f"{abs(count)} {'varus' if count > 0 else 'valgus'}"


def export(folder: Path, truth: Truth) -> Path:
    """A workbook of people and visits with a title above its headings, and semicolons with both sides side by side."""
    folder.mkdir()
    people = [["Kundennr", "Geburtsjahr", "Geschlecht", "Größe (cm)", "Gewicht [kg]"]]
    people += [[f"K{no:02}", 1970 + no, "w" if no % 2 else "m", 160 + 4 * no, 60 + 3 * no] for no in range(1, 6)]
    visits: list[list[object]] = [["Werkstatt am Kai, Besuche"], [], ["Besuch", "Kunde", "Bearbeiter", "Datum", "Anlass"]]
    visits += [[no, who, by, f"{day:%d.%m.%Y}", KINDS[kind]] for no, who, by, day, kind in truth.visits]
    write_workbook(folder / "Kartei.xlsx", {"Kunden": sheet_xml(people), "Besuche": sheet_xml(visits)})
    lines = [
        "Besuch;Aufnahme Nr;Knieneigung L [°];Knieneigung R [°];Pendeln L [cm];Pendeln R [cm];Keile L;Keile R;Einlage L;Einlage R;Standbreite L;Standbreite R"
    ]
    for visit, *_ in truth.visits:
        for capture in (1, 2, 3):
            left, right = (truth.of(visit, capture, side) for side in ("left", "right"))
            cells = [visit, str(capture), comma(-float(str(left["knee_tilt_deg"]))), comma(right["knee_tilt_deg"])]
            cells += [comma(float(str(one["knee_sway_mm"])) / 10) for one in (left, right)]
            cells += [wedge(one["shims_added"]) for one in (left, right)]
            cells += [LEVELS[str(one["insole_level"])] for one in (left, right)]
            cells += [comma(one["stance_mm"]) + " mm" for one in (left, right)]
            lines.append(";".join(cells))
    (folder / "Messungen.csv").write_text("\n".join(lines) + "\n", encoding="windows-1252")
    return folder


def said(path: Path, answers: dict[str, str]) -> Path:
    path.write_text("".join(f'"{key}" = "{value}"\n' for key, value in answers.items()), encoding="utf-8")
    return path


def run(*words: object, keys: str | None = None) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], input=keys)
    assert result.exit_code == 0, (result.output, result.exception)
    return result.output


def test_an_export_in_german_becomes_the_truth_by_its_answers(tmp_path: Path) -> None:
    truth = Truth()
    folder = export(tmp_path / "export", truth)
    printed = run("map", folder, "--answers", said(tmp_path / "said.toml", ANSWERS), "--no-ask")
    assert "missing" not in printed
    assert "12 visits with 3 captures" in printed and "0 rows rejected" in printed
    load([folder], tmp_path / "w.duckdb", today=TODAY)
    warehouse = open_reading(tmp_path / "w.duckdb")
    rows = warehouse.rows(
        "SELECT session_id, capture_no, side, knee_tilt_deg, knee_sway_mm, shims_added, insole_level, stance_mm "
        "FROM core.knee_captures JOIN core.foot_setups USING (session_id, capture_no, side) ORDER BY ALL"
    )
    people = warehouse.rows("SELECT rider_id, birth_year, sex, height_cm, mass_kg FROM core.riders ORDER BY ALL")
    visits = warehouse.rows(
        "SELECT session_id, rider_id, fitter_id, session_date, visit_kind FROM core.fit_sessions ORDER BY ALL"
    )
    warehouse.close()
    assert rows == sorted(truth.captures, key=lambda one: (one["session_id"], one["capture_no"], one["side"]))
    assert people[0] == {"rider_id": "K01", "birth_year": 1971, "sex": "female", "height_cm": 164.0, "mass_kg": 63.0}
    assert [tuple(visit.values()) for visit in visits] == truth.visits
