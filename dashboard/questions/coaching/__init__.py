"""Agreement with the exam, and where a fitter deserves a second pair of eyes."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
