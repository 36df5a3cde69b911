"""Proposals of the mapping assistant on columns of a hand's size: what they are, and what they never are."""

import pytest

from etl.mapping_assistant.asking import Asked, is_valid
from etl.mapping_assistant.plan import propose
from etl.mapping_assistant.shapes import SourceColumn, codes_of, date_forms, fit_of, is_ambiguous, unit_of
from etl.mapping_assistant.sides import sides_told
from etl.words import count_of, likeness, side_of, stem, units_in
from shared.catalogue import catalogue

TILT = catalogue()["knee_captures"].column("knee_tilt_deg")
SWAY = catalogue()["knee_captures"].column("knee_sway_mm")


def column(heading: str, *cells: str, file: str = "x.csv") -> SourceColumn:
    return SourceColumn(file, heading, cells)


def files(**tables: dict[str, list[str]]) -> dict[str, list[SourceColumn]]:
    return {
        f"{name}.csv": [SourceColumn(f"{name}.csv", heading, tuple(cells)) for heading, cells in columns.items()]
        for name, columns in tables.items()
    }


@pytest.mark.parametrize(
    ("heading", "side", "rest"),
    [
        ("Tilt L [deg]", "left", "tilt"),
        ("Neigung rechts (°)", "right", "neigung"),
        ("inclinaison gauche", "left", "inclinaison"),
        ("largeur d'appui", None, "largeur d appui"),
        ("Länge der Sohle", None, "lange der sohle"),
    ],
)
def test_a_side_is_a_word_of_its_own(heading: str, side: str | None, rest: str) -> None:
    assert (side_of(heading), stem(heading)) == (side, rest)


@pytest.mark.parametrize(
    ("heading", "name"),
    [
        ("Körpergröße [cm]", "height_cm"),
        ("poids (kg)", "mass_kg"),
        ("fecha", "session_date"),
        ("Knieneigung", "knee_tilt_deg"),
        ("Neigungg", "knee_tilt_deg"),
        ("anchura de apoyo", "stance_mm"),
        ("soletta", "insole_level"),
        ("trapfrequentie", "cadence_rpm"),
    ],
)
def test_headings_of_six_languages_are_found_by_one_way(heading: str, name: str) -> None:
    best = max((likeness(heading, one.name)[0], one.name) for table in catalogue().values() for one in table.columns)
    assert best[1] == name and best[0] >= 0.8


def test_a_heading_of_no_known_word_is_like_nothing() -> None:
    assert max(likeness("Qwzx", one.name)[0] for table in catalogue().values() for one in table.columns) == 0


@pytest.mark.parametrize(
    ("text", "side", "count"),
    [
        ("2 varus", None, 2), ("1 valgus", None, -1), ("keine", None, 0), ("−1", None, -1), ("2 varus L, 1 R", "left", 2),
        ("2 varus L, 1 R", "right", 1), ("2 varus L", "right", 0), ("zwei", None, None), ("1 oder 2", None, None),
    ],
)  # fmt: skip
def test_wedges_in_words_are_counted_or_not_at_all(text: str, side: str | None, count: int | None) -> None:
    assert count_of(text, side) == count


def test_a_unit_is_named_by_heading_or_cells_and_else_told_by_the_limits() -> None:
    assert units_in("Schwankung [cm]") == ("cm",)
    assert unit_of(column("Schwankung", "1,2 cm", "0,8 cm"), SWAY)[0] == "cm"
    assert unit_of(column("Größe", "1,72", "1,80"), catalogue()["riders"].column("height_cm"))[0] == "m"
    # Small angles fit degrees and radians alike: what is likely is asked, never taken.
    assert unit_of(column("Neigung", "0,05", "-0,02"), TILT)[0] == "deg"
    assert fit_of(column("Neigung [kg]", "1", "2"), TILT).share == 0


def test_forms_of_dates_are_found_and_doubt_is_told() -> None:
    assert date_forms(["31.12.2025", "1.2.2026", "03.02.26"]) == ["%d.%m.%Y", "%d.%m.%y"]
    assert date_forms(["2026-01-31"]) == []
    assert date_forms(["yesterday", "today"]) is None
    assert is_ambiguous(["01/02/2026", "03/04/2026"], "%d/%m/%Y") and not is_ambiguous(["13/02/2026"], "%d/%m/%Y")


def test_texts_that_no_list_knows_are_left_to_the_reader() -> None:
    insole = catalogue()["foot_setups"].column("insole_level")
    assert codes_of(column("Einlage", "keine", "hoch", "Q7"), insole) == ({"hoch": "high", "keine": "none"}, ["Q7"])


def test_sides_that_move_against_each_other_are_told_and_a_handful_is_not() -> None:
    left = ["3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14"]
    right = [f"-{cell}" for cell in left]
    visit, number = ["B1"] * 12, [str(no) for no in range(1, 13)]
    found = files(Messungen={"Besuch": visit, "Aufnahme": number, "Neigung L": left, "Neigung R": right})
    (plan,) = propose(found, {})
    told = sides_told(plan, plan.columns["knee_tilt_deg"])
    assert told[0] == "mean left +8.5, right -8.5" and told[-1] == "the sides move against each other (r -1.00)"
    (few,) = propose({name: [SourceColumn(name, one.heading, one.cells[:4]) for one in found[name]] for name in found}, {})
    assert sides_told(few, few.columns["knee_tilt_deg"]) == ()


def test_unit_sign_and_side_wait_however_sure_the_heading_is() -> None:
    found = files(
        knee_captures={
            "session_id": ["a", "a"],
            "capture_no": ["1", "1"],
            "side": ["left", "right"],
            "knee_tilt_deg": ["1", "2"],
        }
    )
    asked = Asked(found, {})
    assert [one.key for one in asked.questions if one.must] == [
        "knee_captures.sides", "knee_captures.knee_tilt_deg.unit", "knee_captures.knee_tilt_deg.sign",
    ]  # fmt: skip
    (plan,) = asked.plans
    assert asked.waiting(plan, plan.columns["knee_tilt_deg"]) and asked.waiting(plan, plan.columns["side"])
    said = Asked(found, {"knee_captures.sides": "swap", "knee_captures.knee_tilt_deg.unit": "deg"})
    assert said.waiting(plan, plan.columns["knee_tilt_deg"]) == ["knee_captures.knee_tilt_deg.sign"]
    assert said.spec(plan, plan.columns["side"])["codes"] == {"left": "right", "right": "left"}
    question = next(one for one in asked.questions if one.key.endswith(".unit"))
    assert is_valid(question, "rad") and not is_valid(question, "degrees") and not is_valid(question, "")


def test_sides_in_signs_of_the_studios_own_are_asked_sign_by_sign() -> None:
    found = files(
        Messungen={
            "Besuch": ["a", "a"],
            "Aufnahme": ["1", "1"],
            "Bein": ["1", "2"],
            "Neigung": ["1", "2"],
            "Pendeln": ["1", "2"],
        }
    )
    asked = Asked(found, {"knee_captures.sides": "yes", "knee_captures.side": "Bein"})
    (plan,) = asked.plans
    assert asked.waiting(plan, plan.columns["side"]) == ["knee_captures.side.codes.1", "knee_captures.side.codes.2"]


def test_numbers_of_visits_that_begin_anew_are_joined_with_the_rider() -> None:
    found = files(
        Besuche={"Kunde": ["K1", "K1", "K2"], "Besuch": ["1", "2", "1"], "Datum": ["1.2.2026", "2.3.2026", "3.3.2026"]},
        Messungen={
            "Kunde": ["K1", "K2"],
            "Besuch": ["1", "1"],
            "Aufnahme": ["1", "1"],
            "Neigung L": ["1", "2"],
            "Neigung R": ["1", "2"],
        },
    )
    plans = {plan.table.name: plan for plan in propose(found, {})}
    assert [plans[name].columns["session_id"].candidate.headings for name in ("fit_sessions", "knee_captures")] == [  # type: ignore[union-attr]
        "Kunde | Besuch", "Kunde | Besuch",
    ]  # fmt: skip


def test_a_riders_name_is_no_fitters_name() -> None:
    found = files(Kunden={"Nr": ["1", "2"], "Name": ["A", "B"], "Geburtsjahr": ["1980", "1990"]})
    assert [plan.table.name for plan in propose(found, {})] == ["riders"]


def test_ids_that_differ_in_leading_zeros_are_asked_about() -> None:
    found = files(
        Kunden={"Kunde": ["0202", "0203"], "Geburtsjahr": ["1980", "1990"]},
        Besuche={"Besuch": ["a", "b"], "Kunde": ["202", "203"], "Datum": ["1.2.2026", "2.3.2026"]},
    )
    asked = Asked(found, {})
    assert next(one for one in asked.questions if one.key == "rider_id.zeros").words.startswith("'0202' stands beside '202' (2")
    plan = asked.plans[0]
    assert "without_zeros" not in asked.spec(plan, plan.columns["rider_id"])
    assert Asked(found, {"rider_id.zeros": "yes"}).spec(plan, plan.columns["rider_id"])["without_zeros"] is True


def test_days_that_could_be_months_wait_for_their_answer() -> None:
    found = files(
        Besuche={
            "Besuch": ["a", "b"], "Kunde": ["K1", "K2"], "Bearbeiter": ["A", "B"], "Datum": ["01/02/2026", "03/04/2026"],
        }
    )  # fmt: skip
    asked = Asked(found, {})
    plan = next(plan for plan in asked.plans if plan.table.name == "fit_sessions")
    assert asked.waiting(plan, plan.columns["session_date"]) == ["fit_sessions.session_date.dates"]
    said = Asked(found, {"fit_sessions.session_date.dates": "%m/%d/%Y"})
    assert said.waiting(plan, plan.columns["session_date"]) == []
    assert said.spec(plan, plan.columns["session_date"])["date_form"] == "%m/%d/%Y"


def test_wedges_of_both_sides_in_one_cell_are_taken_apart_by_side() -> None:
    cells = ["2 varus L, 1 R", "1 valgus R"]
    found = files(
        Messungen={"Besuch": ["a", "b"], "Aufnahme": ["1", "1"], "Neigung L": ["1", "2"], "Neigung R": ["1", "2"],
                   "Keile": cells, "Einlage L": ["keine", "hoch"], "Einlage R": ["keine", "hoch"]}
    )  # fmt: skip
    asked = Asked(found, {})
    plan = next(plan for plan in asked.plans if plan.table.name == "foot_setups")
    codes = [asked.spec(plan, plan.columns["shims_added"], side)["codes"] for side in ("left", "right")]
    assert codes == [{"1 valgus R": 0, "2 varus L, 1 R": 2}, {"1 valgus R": -1, "2 varus L, 1 R": 1}]
