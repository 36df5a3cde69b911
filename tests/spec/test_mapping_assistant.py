"""From a foreign export that nobody has mapped to figures equal to the truth; and nothing loaded that nobody confirmed."""

import random
from datetime import date, timedelta
from pathlib import Path

from typer.testing import CliRunner

from dashboard.cli import app
from etl.load import load
from etl.mapping import load_mapping
from shared.warehouse import open_reading
from tests.spec.test_mapping import core
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
    sided = ("Knieneigung {} [°]", "Pendeln {} [cm]", "Keile {}", "Einlage {}", "Standbreite {}")
    lines = [";".join(["Besuch", "Aufnahme Nr", *(one.format(side) for one in sided for side in "LR")])]
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


def test_nothing_unconfirmed_is_in_force(tmp_path: Path) -> None:
    folder = export(tmp_path / "export", Truth())
    printed = run("map", folder, "--no-ask")
    text = (folder / "mapping.toml").read_text(encoding="utf-8")
    active = load_mapping(folder / "mapping.toml")
    # Only what bears no unit, sign or side: people without height and mass, and who fits.
    assert set(active.tables) == {"riders", "fitters"}
    assert active.tables["riders"].ignore == ["Größe (cm)", "Gewicht [kg]"]
    load([folder], tmp_path / "w.duckdb", today=TODAY)
    assert core(tmp_path / "w.duckdb", "riders")[0] == {
        "rider_id": "K01", "birth_year": 1971, "sex": "female", "height_cm": None, "mass_kg": None, "riding": None,
    }  # fmt: skip
    assert '#? knee_tilt_deg = { left = "Knieneigung L [°]", right = "Knieneigung R [°]", unit = "deg" }' in text
    for key in ANNOUNCED:
        assert f'"{key}" = one of' in printed and key in text
    assert "the sides move against each other" in printed


# Each of these stands between a file and the warehouse.
ANNOUNCED = [key for key in ANSWERS if key.endswith((".unit", ".sign", ".sides"))]


def test_one_missing_answer_keeps_its_own_column_out_and_no_other(tmp_path: Path) -> None:
    folder = export(tmp_path / "export", Truth())
    for key in ("knee_captures.knee_tilt_deg.sign", "riders.mass_kg.unit"):
        given = said(tmp_path / "said.toml", {other: one for other, one in ANSWERS.items() if other != key})
        out = tmp_path / f"{key}.toml"
        run("map", folder, "--answers", given, "--out", out, "--no-ask")
        table, column, _ = key.split(".")
        mapped = load_mapping(out).tables[table]
        assert column not in {name for columns in (mapped.columns, *mapped.each) for name in columns}
        assert len(load_mapping(out).tables) == 5


def test_a_side_that_is_not_confirmed_keeps_its_whole_table_out(tmp_path: Path) -> None:
    folder = export(tmp_path / "export", Truth())
    for said_of_side in (None, "no"):
        given = {key: one for key, one in ANSWERS.items() if key != "knee_captures.sides"}
        given |= {"knee_captures.sides": said_of_side} if said_of_side else {}
        out = tmp_path / f"{said_of_side}.toml"
        run("map", folder, "--answers", said(tmp_path / "said.toml", given), "--out", out, "--no-ask")
        assert "knee_captures" not in load_mapping(out).tables


def test_the_dialogue_asks_one_by_one_beside_the_readers_own_cells(tmp_path: Path) -> None:
    truth = Truth()
    folder = export(tmp_path / "export", truth)
    # A first answer that is none is asked again; Enter alone confirms nothing.
    order = ["centimetres", "cm", "yes", "= quayside", "yes", "deg", "flip left", "cm", "yes", "", "mm", "keep"]
    printed = run("map", folder, "--ask", keys="\n".join(order) + "\n")
    assert "'centimetres' is none of the answers" in printed
    first = truth.captures[0]["knee_tilt_deg"]
    assert isinstance(first, float)
    assert f"Knieneigung L [°]: {comma(-first)}  →  {-first}" in printed
    assert "1 answer missing" in printed
    assert "foot_setups is not loaded until these are said: foot_setups.shims_added.sign" in printed
    mapped = load_mapping(folder / "mapping.toml")
    assert mapped.tables["knee_captures"].each[0]["knee_tilt_deg"].flip == "left"
    assert "foot_setups" not in mapped.tables


def test_a_mapping_that_stands_is_never_written_over_and_wrong_answers_are_refused(tmp_path: Path) -> None:
    folder = export(tmp_path / "export", Truth())
    (folder / "mapping.toml").write_text("about = 'mine'\n", encoding="utf-8")
    result = CliRunner().invoke(app, ["map", str(folder), "--no-ask"])
    assert result.exit_code != 0 and "stands there already" in str(result.exception)
    assert (folder / "mapping.toml").read_text(encoding="utf-8") == "about = 'mine'\n"
    odd = said(tmp_path / "odd.toml", {"riders.height_cm.unit": "parsec"})
    result = CliRunner().invoke(app, ["map", str(folder), "--no-ask", "--answers", str(odd), "--out", str(tmp_path / "m.toml")])
    assert "found 'parsec', expected one of cm, m, mm, in, no" in str(result.exception)
    for key, one, words in (
        ("riders.heigth_cm.unit", "cm", "is no question of these files"),
        ("riders.sex", "Farbe", "found 'Farbe', expected one of Kundennr, Geburtsjahr"),
    ):
        given = said(odd, {key: one})
        result = CliRunner().invoke(
            app, ["map", str(folder), "--no-ask", "--answers", str(given), "--out", str(tmp_path / "m")]
        )
        assert words in str(result.exception)


def test_a_name_of_a_sheet_cannot_go_on_as_a_line_of_the_mapping(tmp_path: Path) -> None:
    folder = tmp_path / "export"
    folder.mkdir()
    sheet = 'Kunden\n[tables.fitters]\nfiles = "x.csv"'
    rows = sheet_xml([["Kundennr", "Geburtsjahr"], ["K1", 1980], ["K2", 1990]])
    write_workbook(folder / "a.xlsx", {sheet: rows})
    run("map", folder, "--no-ask")
    assert set(load_mapping(folder / "mapping.toml").tables) == {"riders"}


def test_a_workbook_of_another_maker_equals_the_same_fits_in_contract_form(tmp_path: Path) -> None:
    samples = Path(__file__).parents[2] / "etl" / "mappings" / "samples"
    unit = {"riders.height_cm": "in", "riders.mass_kg": "lb", "knee_captures.knee_tilt_deg": "rad"}
    unit |= {"knee_captures.knee_sway_mm": "cm", "knee_captures.knee_offset_mm": "cm", "foot_setups.stance_mm": "cm"}
    sign = {"knee_captures.knee_tilt_deg": "flip", "knee_captures.knee_offset_mm": "keep", "foot_setups.shims_added": "flip"}
    answers = {f"{key}.unit": one for key, one in unit.items()} | {f"{key}.sign": one for key, one in sign.items()}
    answers |= {"foot_setups.stance_mm.sign": "keep", "fit_sessions.studio_id": "= quayside", "fit_sessions.visit_kind": "type"}
    answers |= {f"{table}.sides": "yes" for table in ("knee_captures", "foot_setups")} | {"foot_setups.insole_level": "insole"}
    codes = {"fit_sessions.visit_kind": {"1": "first", "2": "follow_up", "3": "refit"}}
    codes |= {f"{table}.side": {"1": "left", "2": "right"} for table in ("knee_captures", "foot_setups")}
    codes |= {"foot_setups.insole_level": {"A": "none", "B": "low", "C": "medium", "D": "high"}}
    answers |= {f"{key}.codes.{cell}": one for key, meant in codes.items() for cell, one in meant.items()}
    answers |= {"ignore_files": "yes"}
    out = tmp_path / "b.toml"
    run("map", samples / "maker_b", "--answers", said(tmp_path / "said.toml", answers), "--out", out, "--no-ask")
    load([samples / "maker_b"], tmp_path / "b.duckdb", today=TODAY, mapping=out)
    load([samples / "native"], tmp_path / "native.duckdb", today=TODAY)
    for table in ("riders", "fitters", "fit_sessions", "knee_captures", "foot_setups"):
        assert core(tmp_path / "b.duckdb", table) == core(tmp_path / "native.duckdb", table), table
