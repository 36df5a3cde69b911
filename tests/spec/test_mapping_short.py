"""What a mapping says in short: known headings and words, left and right in one line, ids from the visits, a log alone."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from etl.known_words import known_codes, known_headings
from etl.load import check_files, load
from etl.mapping import parse_mapping
from shared.catalogue import catalogue
from shared.errors import UsageError
from tests.spec.test_mapping import core

VISITS = "Besuch;Kunde;Berater;Filiale;Datum;Anlass\nB1;K1;AM;kai;1.2.2026;Erstbesuch\nB2;K1;AM;kai;3.2.2026;Nachkontrolle\n"
MEASURES = "Besuch;Aufnahme;Neigung li;Neigung re;Pendeln\nB1;1;-1,5;2,5;\nB2;1;;3,0;4\n"
SHORT = """
words = true
from_visits = { riders = "Kunde", fitters = "Berater" }
form = { decimal = ",", date_form = "%d.%m.%Y" }
[tables.fit_sessions]
files = "besuche.csv"
[tables.knee_captures]
files = "messungen.csv"
knee_tilt_deg = { left = { from = "Neigung li", flip = true }, right = "Neigung re", unit = "deg" }
"""


def folder_of(place: Path, mapping: str, **files: str) -> Path:
    place.mkdir()
    for name, text in {**files, "mapping.toml": mapping}.items():
        (place / (name if "." in name else f"{name}.csv")).write_text(text, encoding="utf-8")
    return place


def test_known_headings_and_words_need_no_line_but_units_and_signs_do(tmp_path: Path) -> None:
    load([folder_of(tmp_path / "in", SHORT, besuche=VISITS, messungen=MEASURES)], tmp_path / "w.duckdb")
    assert [tuple(row.values())[:6] for row in core(tmp_path / "w.duckdb", "fit_sessions")] == [
        ("B1", "K1", "AM", "kai", date(2026, 2, 1), "first"),
        ("B2", "K1", "AM", "kai", date(2026, 2, 3), "follow_up"),
    ]
    assert [row["rider_id"] for row in core(tmp_path / "w.duckdb", "riders")] == ["K1"]
    assert [(row["fitter_id"], row["fitter_name"]) for row in core(tmp_path / "w.duckdb", "fitters")] == [("AM", "AM")]
    # "Pendeln" is a word for the sway, and says no unit: without its line it is not loaded.
    knees = [
        (row["session_id"], row["side"], row["knee_tilt_deg"], row["knee_sway_mm"])
        for row in core(tmp_path / "w.duckdb", "knee_captures")
    ]
    assert knees == [("B1", "left", 1.5, None), ("B1", "right", 2.5, None), ("B2", "right", 3.0, None)]


def test_short_and_long_say_the_same() -> None:
    short = parse_mapping(SHORT.encode(), "short.toml")
    long = """
words = true
form = { decimal = ",", date_form = "%d.%m.%Y" }
[tables.riders]
files = "besuche.csv"
ignore = "*"
columns = { rider_id = "Kunde" }
[tables.fitters]
files = "besuche.csv"
ignore = "*"
columns = { fitter_id = "Berater", fitter_name = "Berater" }
[tables.fit_sessions]
files = "besuche.csv"
[tables.knee_captures]
files = "messungen.csv"
[[tables.knee_captures.each]]
side = { value = "left" }
knee_tilt_deg = { from = "Neigung li", unit = "deg", flip = true }
[[tables.knee_captures.each]]
side = { value = "right" }
knee_tilt_deg = { from = "Neigung re", unit = "deg" }
"""
    assert short.tables == parse_mapping(long.encode(), "long.toml").tables


def test_a_log_alone_is_of_the_captures_that_the_mapping_names() -> None:
    said = """
[tables.knee_captures]
files = "c*.csv"
session_id = "visit"
side = "leg"
knee_tilt_deg = { from = "tilt", unit = "deg" }
[tables.foot_setups.log]
files = "changes.csv"
shims_added = "wedges"
"""
    setups = parse_mapping(said.encode(), "m.toml").tables["foot_setups"]
    assert setups.files == ["c*.csv"] and set(setups.columns) == {"session_id", "side"}
    assert setups.log is not None and setups.log.files == ["changes.csv"] and set(setups.log.columns) == {"shims_added"}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('[tables.riders]\nrider_id = "a"\n[tables.riders.columns]\nrider_id = "b"', "tables.riders.rider_id is said twice"),
        (
            '[tables.knee_captures]\nside = "leg"\nknee_tilt_deg = { left = "a", right = "b", unit = "deg" }',
            "left and right make a row a side, and so does side",
        ),
        ('from_visits = { riders = "Kunde" }', "there is no [tables.fit_sessions]"),
        ('from_visits = { knees = "Kunde" }\n[tables.fit_sessions]\nfiles = "a.csv"', "expected { riders ="),
        (
            'from_visits = { riders = "Kunde" }\n[tables.fit_sessions]\nfiles = "a.csv"\n[tables.riders]\nfiles = "b.csv"',
            "both say where the riders come from",
        ),
        ('[tables.riders]\nheigth_cm = "a"', "tables.riders.heigth_cm is no key of a mapping"),
        ('word = true', "the nearest one is words"),
    ],
)  # fmt: skip
def test_what_is_said_twice_or_wrongly_is_refused(said: str, words: str) -> None:
    with pytest.raises(UsageError) as refused:
        parse_mapping(said.encode(), "m.toml")
    assert words in str(refused.value)


def test_two_headings_for_one_column_are_refused_and_one_of_them_may_be_left_out(tmp_path: Path) -> None:
    visits = (
        VISITS.replace("Anlass", "Grund")
        .replace("Datum", "Tag;Datum")
        .replace("1.2.2026", ";1.2.2026")
        .replace("3.2.2026", ";3.2.2026")
    )
    folder = folder_of(tmp_path / "in", SHORT, besuche=visits, messungen=MEASURES)
    report = check_files([folder], tmp_path / "w.duckdb")
    refused: Any = next(file for file in report.files if file.table == "fit_sessions" or file.refused)
    assert "'Tag' and 'Datum' are both words for session_date" in str(refused)
    (folder / "mapping.toml").write_text(SHORT.replace('"besuche.csv"', '"besuche.csv"\nignore = "Tag"'), encoding="utf-8")
    load([folder], tmp_path / "w.duckdb")
    assert [str(row["session_date"]) for row in core(tmp_path / "w.duckdb", "fit_sessions")] == ["2026-02-01", "2026-02-03"]


def test_no_word_tells_a_unit_a_sign_or_a_side() -> None:
    for table in catalogue().values():
        words = tuple(f"{column.name}" for column in table.columns)
        for name in known_headings(table, words):
            column = table.column(name)
            assert not column.unit and not column.sign and name != "side"
    # "na" is "after" in Dutch, and nothing recorded elsewhere.
    assert "na" not in known_codes("capture_no") and known_codes("capture_no")["nachher"] == "2"
