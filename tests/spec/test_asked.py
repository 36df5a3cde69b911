"""What a check asks about, since no program can know it: signs, sides, units, ids. Sound studios are asked nothing."""

import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.pages.data.upload import _questions
from etl.asked_lines import Question
from etl.keeping.watch import _line
from etl.load import check_files, load
from etl.mapping import parse_mapping
from etl.report import LoadReport
from shared.warehouse import write_parquet
from tests.conftest import TODAY
from tests.nothing.studios import loud, nothing, simulated
from tests.spec.tables import write_csv
from tests.spec.test_load import FIRST
from warehouse_demo import EXPORTS

Tables = dict[str, pd.DataFrame]


@pytest.fixture(scope="module")
def studio() -> Tables:
    """Two studios in which supports act."""
    return simulated(loud(200), 1)


def asked(tables: Tables, folder: Path, mapping: str = "") -> tuple[Question, ...]:
    folder.mkdir()
    for name, table in tables.items():
        write_parquet(table, folder / f"{name}.parquet")
    if mapping:
        (folder / "mapping.toml").write_text(mapping, encoding="utf-8")
    report = check_files([folder], folder / "w.duckdb", today=TODAY)
    assert report.findings == []
    return report.questions


def changed(tables: Tables, table: str, **columns: Any) -> Tables:
    return {**tables, table: tables[table].assign(**columns)}


def flipped(tables: Tables, table: str, column: str, *sides: str) -> Tables:
    frame = tables[table]
    return changed(tables, table, **{column: frame[column].where(~frame["side"].isin(sides), -frame[column])})


def is_once_answered(tables: Tables, question: Question, folder: Path) -> bool:
    """Whether each of its two answers, written into a mapping as told, leaves nothing to ask."""
    table, line = re.match(r"under \[(.+?)\] of mapping.toml, (.+)", question.mend).groups()  # type: ignore[union-attr]
    mended = asked(tables, folder / "mended", f"[{table}]\n{line}\n")
    kept = asked(tables, folder / "kept", f"[confirmed]\n{question.keep}\n")
    return mended == kept == ()


def test_the_demo_is_asked_nothing(tmp_path: Path) -> None:
    assert check_files([EXPORTS], tmp_path / "w.duckdb", today=TODAY).questions == ()


@pytest.mark.parametrize("seed", range(10))
def test_sound_studios_are_asked_nothing(seed: int, tmp_path: Path) -> None:
    truth = nothing if seed % 2 else loud
    assert asked(simulated(truth(90), seed), tmp_path / "x") == ()


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_mirrored_side_is_asked_about_once_and_named(side: str, studio: Tables, tmp_path: Path) -> None:
    tables = flipped(studio, "knee_captures", "knee_tilt_deg", side)
    (question,) = asked(tables, tmp_path / "x")
    assert (question.kind, question.table, question.column, question.studio) == (
        "mirrored",
        "knee_captures",
        "knee_tilt_deg",
        "",
    )
    assert question.words.startswith("Has one side of knee_tilt_deg the other sign? As a rule both knees lean alike in a rider")
    assert "over 200 riders" in question.words and question.words.endswith(
        f"it is the {side} one that does not answer as a rule."
    )
    assert question.mend == (
        "under [tables.knee_captures.columns] of mapping.toml, "
        f'knee_tilt_deg = {{ from = "knee_tilt_deg", unit = "deg", flip = "{side}" }}'
    )
    assert is_once_answered(tables, question, tmp_path)


def test_a_studio_of_its_own_is_named(studio: Tables, tmp_path: Path) -> None:
    sessions = studio["fit_sessions"]
    there = studio["foot_exams"]["session_id"].isin(sessions.loc[sessions["studio_id"] == "ropewalk", "session_id"])
    exams = studio["foot_exams"]
    angle = exams["forefoot_angle_deg"]
    turned = angle.where(~(there & (exams["side"] == "left")), -angle)
    (question,) = asked(changed(studio, "foot_exams", forefoot_angle_deg=turned), tmp_path / "x")
    assert (question.kind, question.column, question.studio) == ("mirrored", "forefoot_angle_deg", "ropewalk")
    assert "in studio ropewalk?" in question.words


def test_a_whole_column_turned_over_disagrees_with_supports_and_exam(studio: Tables, tmp_path: Path) -> None:
    tables = flipped(studio, "knee_captures", "knee_tilt_deg", "left", "right")
    (question,) = asked(tables, tmp_path / "x")
    assert question.kind == "reversed"
    assert question.words.startswith(
        "Is the sign of knee_tilt_deg turned over? As a rule a varus shim (+) moves the knee outward"
    )
    assert question.words.endswith("shims_added agrees with what else was recorded.")
    assert question.mend.endswith("flip = true }")
    assert is_once_answered(tables, question, tmp_path)
    tables = flipped(studio, "knee_captures", "knee_offset_mm", "left", "right")
    (question,) = asked(tables, tmp_path / "y")
    assert question.words.startswith("Is the sign of knee_offset_mm or of stance_mm turned over?")


def test_a_flip_that_the_mapping_makes_is_turned_back(studio: Tables, tmp_path: Path) -> None:
    line = 'knee_tilt_deg = { from = "Knie", unit = "deg", flip = true }'
    captures = studio["knee_captures"].rename(columns={"knee_tilt_deg": "Knie"})
    (question,) = asked({**studio, "knee_captures": captures}, tmp_path / "x", f"[tables.knee_captures.columns]\n{line}\n")
    assert question.mend.endswith('knee_tilt_deg = { from = "Knie", unit = "deg" }')


def test_exchanged_sides_are_asked_about_from_the_rig(studio: Tables, tmp_path: Path) -> None:
    sides = studio["knee_captures"]["side"].map({"left": "right", "right": "left"})
    tables = changed(studio, "knee_captures", side=sides)
    questions = asked(tables, tmp_path / "x")
    assert [(question.kind, question.studio) for question in questions] == [
        ("exchanged", "quayside"),
        ("exchanged", "ropewalk"),
    ]
    assert is_once_answered(
        {**tables, "fit_sessions": tables["fit_sessions"].assign(studio_id="one")},
        asked({**tables, "fit_sessions": tables["fit_sessions"].assign(studio_id="one")}, tmp_path / "y")[0],
        tmp_path,
    )


@pytest.mark.parametrize(("column", "of", "unit"), [("knee_sway_mm", 10, "cm"), ("knee_tilt_deg", 57.29578, "rad")])
def test_a_spread_that_no_knee_has_is_asked_about(column: str, of: float, unit: str, studio: Tables, tmp_path: Path) -> None:
    tables = changed(studio, "knee_captures", **{column: studio["knee_captures"][column] / of})
    (question,) = asked(tables, tmp_path / "x")
    assert (question.kind, question.column) == ("unit", column)
    assert f"It would fit as {unit} (then " in question.words
    assert question.mend.endswith(f'{column} = {{ from = "{column}", unit = "{unit}" }}')
    assert is_once_answered(tables, question, tmp_path)


NEAR = {
    **FIRST,
    "riders": "rider_id | birth_year\n0202 | 1980\n202 | 1980\nR-7 | 1990\nr7 | 1991\n1-23 | 1970\n12-3 | 1971",
}


def test_ids_written_in_two_ways_are_asked_about_until_each_pair_is_confirmed(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "x", riders=NEAR["riders"])
    (question,) = check_files([folder], tmp_path / "w.duckdb", today=TODAY).questions
    assert 'Found "0202" beside "202"; "R-7" beside "r7": as they stand' in question.words
    assert question.mend == "write rider_id alike in all files, and load them again"
    one, other = question.keep.split("; ")
    assert one == '"rider_id apart 0202 202" = "looked at, and why it is right"'
    (folder / "mapping.toml").write_text(f"[confirmed]\n{one}\n", encoding="utf-8")
    (question,) = check_files([folder], tmp_path / "w.duckdb", today=TODAY).questions
    assert "0202" not in question.words and 'Found "R-7" beside "r7":' in question.words
    (folder / "mapping.toml").write_text(f"[confirmed]\n{one}\n{other}\n", encoding="utf-8")
    assert check_files([folder], tmp_path / "w.duckdb", today=TODAY).questions == ()


def test_one_id_for_two_riders_of_two_files_is_asked_about(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    one = write_csv(tmp_path / "x", riders="rider_id | birth_year | sex\nR1 | 1980 | female\nR2 | 1981 | male")
    assert load([one], path, today=TODAY).questions == ()
    other = write_csv(tmp_path / "y", riders__new="rider_id | birth_year | sex\nR1 | 1991 | female\nR2 | 1981 | male")
    (question,) = check_files([other], path, today=TODAY).questions
    assert question.words.startswith(
        'Are there two riders under the rider_id "R1"? Its birth_year is told as 1980 (riders.csv) and 1991 (riders-new.csv);'
    )
    (other / "mapping.toml").write_text(f"[confirmed]\n{question.keep}\n", encoding="utf-8")
    assert check_files([other], path, today=TODAY).questions == ()
    # Within one load both rows are rejected, and the question says why that may be.
    both = write_csv(tmp_path / "z", riders="rider_id | sex\nR8 | male\nR9 | female", riders__2="rider_id | sex\nR9 | male")
    report = check_files([both], path, today=TODAY)
    assert [finding.rule for finding in report.findings] == ["duplicate_key", "duplicate_key"]
    assert "told as female (riders.csv) and male (riders-2.csv)" in report.questions[0].words


def test_the_commands_print_the_question_and_both_answers(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "x", riders="rider_id\n07\n7")
    words = (str(folder), "--warehouse", str(tmp_path / "w.duckdb"))
    told = CliRunner().invoke(app, ["check", *words]).output
    assert (
        "\nAsked, since no sign, side, unit or id is guessed:\n  1. Is it one rider whose rider_id is written in two ways?"
        in told
    )
    assert (
        '     If so: under [tables.riders.columns] of mapping.toml, rider_id = { from = "rider_id", without_zeros = true };'
        in told
    )
    assert '     If it is right as it is, under [confirmed] of mapping.toml: "rider_id apart 07 7" = "looked at' in told
    assert "guessed; all is loaded as it stands:" in CliRunner().invoke(app, ["load", *words]).output


def test_files_that_are_known_are_asked_about_at_each_check(tmp_path: Path) -> None:
    folder, path = write_csv(tmp_path / "x", riders="rider_id\n07\n7"), tmp_path / "w.duckdb"
    (question,) = load([folder], path, today=TODAY).questions
    assert load([folder], path, today=TODAY).questions == ()
    assert check_files([folder], path, today=TODAY).questions == (question,)


def test_what_is_confirmed_is_not_kept_with_rejected_rows() -> None:
    """A line of [confirmed] may name a rider, who may be forgotten later; a warehouse keeps how rows were read, and no more."""
    reading = '[tables.riders.columns]\nrider_id = { from = "No" }\n'
    confirmed = '[confirmed]\n"rider_id apart 07 7" = "two brothers"\n# [not a table]\n'
    for text in (confirmed + reading, reading + confirmed, 'confirmed."rider_id clash 7" = "no"\n' + reading):
        mapping = parse_mapping(text.encode(), "mapping.toml")
        assert mapping.confirmed and mapping.reading_text == reading


def test_the_data_page_shows_the_question_and_both_answers() -> None:
    question = Question("unit", "knee_captures", "knee_sway_mm", "", "Is it in mm?", "under [x], y = 1", '"z" = "why"')
    shown = str(_questions(LoadReport(questions=(question,))))
    assert "Is it in mm?" in shown and "If so: under [x], y = 1" in shown and "If it is right as it is" in shown
    assert _questions(LoadReport()) == []


def test_a_watched_folder_says_that_something_is_asked_and_names_no_id() -> None:
    question = Question("near_ids", "riders", "rider_id", "", 'Found "07" beside "7"', "", "")
    line = _line(LoadReport(questions=(question,)))
    assert line.endswith("; asked: 1, told by fitledger check") and "07" not in line
    assert "asked" not in _line(LoadReport())
