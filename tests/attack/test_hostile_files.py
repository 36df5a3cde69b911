"""A bounded part of the table of hostile files; `python -m tests.attack.hostile_files` runs them all."""

from tests.attack.hostile_files import PATTERNS, rows


def test_files_whose_names_are_patterns_are_read_once_and_as_themselves() -> None:
    (row,) = rows([PATTERNS])
    assert row["ok"], row


def test_a_file_that_claims_too_much_ends_in_a_sentence() -> None:
    (row,) = rows(["Parquet of 19,000,000 rows in 30 kB"])
    assert row["ok"], row
    assert "tells of 19,000,000 rows in" in row["outcome"]
